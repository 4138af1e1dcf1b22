"""Last odometer values of a unit that climb far faster than the unit drives.

Nothing later contradicts a last value, and the daily maximum is far above what most trucks drive.
So a last value in kilometres, or one mistyped digit, passes as a month of racing, and the truck's
miles of today, every visit and every chance would rest on it. Such a value waits: it is left out
until a later one confirms it. A few last values that agree among themselves are left out only
where they stand as kilometres would.

Not here: values that others contradict (`odometer_chain`), longer stretches (`odometer_suspects`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from pivotlife.pipeline.odometer_suspects import KM_PER_MILE, SINGLE_TOLERANCE, STRETCH

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Integers = npt.NDArray[np.int64]

#: Times its own pace at which a unit climbs to doubt a last value, and over how long that pace
#: must be known (common practice, no source: trucks change jobs, but seldom to thrice the miles).
STEEP: Final = 3.0
PACE_DAYS: Final = 60.0
#: Miles a day below which a unit stood still, and whatever it drives next is steep.
DRIVES: Final = 20.0
#: Days at the daily maximum that the climb must exceed the pace by: one long haul is no mistake.
HAUL_DAYS: Final = 4.0


def steep_units(unit: Integers, day: Floats, miles: Floats, daily_maximum: float) -> Integers:
    """Units among whose last values one climbs far faster than the unit drives.

    Parameters
    ----------
    unit : ndarray of int, shape (n,)
        In rising order; values in order of day within a unit.
    day, miles : ndarray, shape (n,)
    daily_maximum : float, miles a day

    Returns
    -------
    ndarray of int
        The units, each once. All units are looked at in one pass.
    """
    if not len(unit):
        return np.empty(0, dtype=np.int64)
    starts = np.flatnonzero(np.diff(unit, prepend=unit[0] - 1))
    counts = np.diff(np.append(starts, len(unit)))
    first = np.repeat(starts, counts)
    from_end = np.repeat(starts + counts, counts) - np.arange(len(unit))
    at = np.flatnonzero((np.arange(len(unit)) > first) & (from_end < STRETCH))
    steep = _is_steep(day, miles, first[at], at, daily_maximum)
    return np.unique(unit[at[steep]])


def without_steep_end(day: Floats, miles: Floats, kept: Mask, daily_maximum: float) -> Mask:
    """Leave out the last believed values where they climb far faster than the unit drives.

    Parameters
    ----------
    day, miles : ndarray, shape (n,)
        Values of one unit in order of time.
    kept : ndarray of bool, shape (n,)
        The believed ones so far.
    daily_maximum : float, miles a day

    Returns
    -------
    ndarray of bool, shape (n,)
        `kept` itself where nothing is to be doubted.
    """
    rows = np.flatnonzero(kept)
    for many in range(1, min(STRETCH, len(rows))):
        at = len(rows) - many
        days, values = day[rows], miles[rows]
        if not _is_steep(days, values, np.array([0]), np.array([at]), daily_maximum)[0]:
            continue
        if len(np.unique(days[at:])) == 1 or _as_km(days, values, at):
            out = kept.copy()
            out[rows[at:]] = False
            return out
    return kept


def _is_steep(day: Floats, miles: Floats, first: Integers, at: Integers, most: float) -> Mask:
    """Say whether each value races away from the one before it, and from the track before that."""
    pace, beyond = _beyond(day, miles, first, at - 1, at)
    steep = beyond > np.maximum(HAUL_DAYS * most, (STEEP - 1.0) * pace * (day[at] - day[at - 1]))
    # Where only the value before was too low, this one lies on the track that led up to both.
    _, beyond = _beyond(day, miles, first, np.maximum(at - 2, first), at)
    known = (day[at - 1] - day[first] >= PACE_DAYS) & (at - first >= STRETCH) & (pace >= DRIVES)
    return np.asarray(known & steep & (beyond > HAUL_DAYS * most))


def _beyond(
    day: Floats, miles: Floats, first: Integers, start: Integers, at: Integers
) -> tuple[Floats, Floats]:
    """Miles a day up to `start`, and what the step to `at` climbs beyond that pace."""
    pace = (miles[start] - miles[first]) / np.maximum(day[start] - day[first], 1.0)
    return pace, miles[at] - miles[start] - pace * (day[at] - day[start] + 1.0)


def _as_km(day: Floats, miles: Floats, at: int) -> bool:
    """Say whether the values from `at` on lie on the unit's track once read as kilometres."""
    pace = (miles[at - 1] - miles[0]) / (day[at - 1] - day[0])
    expected = miles[at - 1] + pace * (day[at:] - day[at - 1])
    ratio = float(np.median(miles[at:] / np.maximum(expected, 1.0)))
    return abs(ratio / KM_PER_MILE - 1.0) <= SINGLE_TOLERANCE
