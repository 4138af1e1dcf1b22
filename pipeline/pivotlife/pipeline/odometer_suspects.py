"""Odd stretches of odometer values that a person should look at.

Each suspicion is reported with the rows it rests on and changes nothing by itself: a stretch
that climbs as if it were counted in kilometres, one instrument that reads apart from the others,
a unit number that seems to be on two trucks.

Not here: choosing the believed values; a suspected second meter (`true_miles` keeps it, because
without it the rest of that unit's history would be guesswork).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from pivotlife.pipeline.odometer_chain import longest_chain

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

#: Kilometres in a mile.
KM_PER_MILE: Final = 1.609344
#: How near to that ratio a slope must lie, and how many values make a stretch.
KM_TOLERANCE: Final = 0.05
STRETCH: Final = 5
LEVEL_TOLERANCE: Final = 0.1
#: A single value in kilometres stands this near to that ratio; a truck's days differ little.
SINGLE_TOLERANCE: Final = 0.02
#: Number and share of left-out values that must agree to look like a second truck: five
#: scattered typing errors agree by chance in about one unit of a hundred.
SECOND_TRUCK_VALUES: Final = 8
SECOND_TRUCK_SHARE: Final = 0.8
#: Relative distance of one instrument from the others that is worth a word.
OFFSET_SHARE: Final = 0.005
LARGEST_OFFSET: Final = 0.1


class Suspicion(NamedTuple):
    """What looks odd, in words, and the positions of the values it rests on."""

    kind: str
    detail: str
    rows: npt.NDArray[np.int64]


def slope(day: Floats, miles: Floats) -> float:
    """Miles a day by least squares; NaN when all values share a day."""
    centred = day - day.mean()
    spread = float(centred @ centred)
    return float(centred @ miles) / spread if spread > 0 else float("nan")


def looks_like_km(own_rate: float, stretch_rate: float) -> bool:
    """Say whether a stretch climbs about 1.609 times as fast as the unit otherwise does."""
    return bool(own_rate > 0 and abs(stretch_rate / own_rate / KM_PER_MILE - 1.0) <= KM_TOLERANCE)


def stands_like_km(
    track: tuple[Floats, Floats], own_rate: float, stretch: tuple[Floats, Floats]
) -> bool:
    """Say whether a stretch also stands about 1.609 times as high as the unit's own track.

    A slope alone may be chance or a new meter; kilometres in the miles column show both.

    Parameters
    ----------
    track, stretch : pair of ndarray, days and miles
        The unit's other values, and those of the stretch, each in order of time.
    own_rate : float, miles a day
        Carries the track beyond its ends.
    """
    (day, miles), (days, values) = track, stretch
    beyond = np.maximum(days - day[-1], 0.0) - np.maximum(day[0] - days, 0.0)
    expected = np.maximum(np.interp(days, day, miles) + own_rate * beyond, 1.0)
    ratio = float(np.median(values / expected)) / KM_PER_MILE
    return abs(ratio - 1.0) <= LEVEL_TOLERANCE


def km_stretches(day: Floats, miles: Floats, kept: Mask) -> list[Suspicion]:
    """Find runs of left-out values, unbroken by kept ones, that climb like kilometres.

    Parameters
    ----------
    day, miles : ndarray, shape (n,)
        Values of one unit in order of time.
    kept : ndarray of bool, shape (n,)
        The believed ones.
    """
    found: list[Suspicion] = []
    left_out = np.flatnonzero(~kept)
    if len(left_out) < STRETCH or kept.sum() < 2:
        return found
    own = slope(day[kept], miles[kept])
    for run in np.split(left_out, np.flatnonzero(np.diff(left_out) > 1) + 1):
        if len(run) < STRETCH or not looks_like_km(own, slope(day[run], miles[run])):
            continue
        if stands_like_km((day[kept], miles[kept]), own, (day[run], miles[run])):
            detail = (
                f"{len(run)} values in a row climb {slope(day[run], miles[run]) / own:.2f} times "
                "as fast as the unit's own: written in kilometres?"
            )
            found.append(Suspicion("kilometres", detail, run))
    return found


def believed_km(day: Floats, miles: Floats, kept: Mask) -> list[Suspicion]:
    """Find kilometres among the believed values: a last stretch that is all 1.609 times too high.

    The daily maximum is far above what most trucks drive, so a jump from miles to kilometres can
    pass as driving.

    Parameters
    ----------
    day, miles, kept
        As in `km_stretches`.
    """
    rows = np.flatnonzero(kept)
    if len(rows) < 2 * STRETCH:
        return []
    steps = np.diff(miles[rows]) / (np.diff(day[rows]) + 1.0)
    cut = int(np.argmax(steps)) + 1
    early, late = rows[:cut], rows[cut:]
    if min(len(early), len(late)) < STRETCH:
        return []
    own = slope(day[early], miles[early])
    if not looks_like_km(own, slope(day[late], miles[late])):
        return []
    if not stands_like_km((day[early], miles[early]), own, (day[late], miles[late])):
        return []
    detail = f"the last {len(late)} values lie and climb 1.6 times as high: kilometres?"
    return [Suspicion("kilometres", detail, late)]


def scattered_km(day: Floats, miles: Floats, kept: Mask) -> list[Suspicion]:
    """Find single left-out values, here and there, that stand 1.609 times as high as they should.

    Parameters
    ----------
    day, miles, kept
        As in `km_stretches`.
    """
    if kept.sum() < 2:
        return []
    track = np.maximum(np.interp(day, day[kept], miles[kept]), 1.0)
    high = np.abs(miles / track / KM_PER_MILE - 1.0) <= SINGLE_TOLERANCE
    rows = np.flatnonzero(high & ~kept)
    if len(rows) < STRETCH:
        return []
    detail = f"{len(rows)} single values stand 1.6 times too high: written in kilometres?"
    return [Suspicion("kilometres", detail, rows)]


def second_truck(
    day: Floats, miles: Floats, kept: Mask, daily_maximum: float, explained: Mask
) -> list[Suspicion]:
    """Find left-out values that agree among themselves all through the unit's time.

    Parameters
    ----------
    day, miles, kept
        As in `km_stretches`.
    daily_maximum : float, miles a day
    explained : ndarray of bool, shape (n,)
        Left-out values that something else explains: kilometres agree among themselves, too.
    """
    left_out = np.flatnonzero(~kept & ~explained)
    if len(left_out) < SECOND_TRUCK_VALUES:
        return []
    chain = left_out[longest_chain(day[left_out], miles[left_out], daily_maximum)]
    among = kept[chain[0] : chain[-1]].sum()
    if len(chain) < max(SECOND_TRUCK_VALUES, SECOND_TRUCK_SHARE * len(left_out)) or among < STRETCH:
        return []
    detail = (
        f"{len(chain)} values contradict the unit's others but agree among themselves between "
        "the same dates: is the number on two units?"
    )
    return [Suspicion("number-used-twice", detail, chain)]


def source_offsets(
    day: Floats, miles: Floats, kept: Mask, source: npt.NDArray[np.str_]
) -> list[Suspicion]:
    """Find an instrument whose values lie to one side of the others'.

    Parameters
    ----------
    day, miles, kept
        As in `km_stretches`.
    source : ndarray of str, shape (n,)
        Instrument of each value; "" when not said.
    """
    found: list[Suspicion] = []
    # An offset is a few per cent; what lies further off is a mistake of another kind.
    track = np.interp(day, day[kept], miles[kept])
    near = np.abs(miles - track) <= LARGEST_OFFSET * track
    source = np.where(near, source, "")
    names, counts = np.unique(source[source != ""], return_counts=True)
    # Of several instruments the most used one is the yardstick for the others.
    for name in names[np.argsort(counts, kind="stable")][:-1]:
        mine = np.flatnonzero(source == name)
        # Values of no named instrument stand beside the yardstick: most are read off the dash.
        others = np.flatnonzero((source != name) & near & (kept | (source != "")))
        if len(mine) < STRETCH or len(others) < STRETCH:
            continue
        expected = np.interp(day[mine], day[others], miles[others], left=np.nan, right=np.nan)
        apart = (miles[mine] / np.where(expected > 0, expected, np.nan) - 1.0)[expected > 0]
        same_side = np.abs(np.mean(np.sign(apart))) if len(apart) else 0.0
        if len(apart) >= STRETCH and abs(np.median(apart)) > OFFSET_SHARE and same_side > 0.8:
            detail = f"{name} values lie {np.median(apart):+.1%} from the unit's others"
            found.append(Suspicion("instrument-offset", detail, mine))
    return found
