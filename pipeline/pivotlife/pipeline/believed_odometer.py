"""Which odometer values of a unit are believed, and what looks suspicious about the rest.

A value that stands on several rows of one day is one observation: six pivots measured at one
stop do not outvote six services. Units without any contradiction, most of a fleet, are
recognised all at once; only the others are searched one by one.

A meter that was replaced without a record shows as two runs of at least five values that follow
each other in time but contradict each other. Both are kept: the second is shifted so that it
continues where the first one leads at the unit's own rate, because its differences are still
miles driven. It is reported, and so is a second run that climbs like kilometres; that one is
left out instead.

Not here: the miles of the values left out.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.odometer_chain import ROUNDING_MILES, Split, best_split, longest_chain
from pivotlife.pipeline.odometer_ends import steep_units, without_steep_end
from pivotlife.pipeline.odometer_suspects import (
    STRETCH,
    Suspicion,
    believed_km,
    km_stretches,
    looks_like_km,
    scattered_km,
    second_truck,
    slope,
    source_offsets,
    stands_like_km,
)

#: Neighbouring values among which a second meter shows at least a stretch of left-out ones.
CLOSE_TOGETHER: Final = 8

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


class Believed(NamedTuple):
    """Belief in the values of one unit: the kept ones, what is added to each, what looks odd."""

    kept: Mask
    shift: Floats
    suspicions: list[Suspicion]


def believe_all(points: pd.DataFrame, daily_maximum: float) -> tuple[Mask, Floats, pd.DataFrame]:
    """Choose the believed values of every unit.

    Parameters
    ----------
    points : DataFrame
        From `collect_points`, any order.
    daily_maximum : float, miles a day

    Returns
    -------
    kept : ndarray of bool, shape (n_points,)
    shift : ndarray, shape (n_points,), miles
        Added to `continuous_miles` of the kept points (a suspected second meter).
    suspects : DataFrame
        Columns `unit_id, kind, detail, source_rows`.
    """
    day = points["day"].to_numpy()
    miles = points["continuous_miles"].to_numpy()
    stray = points["stray"].to_numpy()
    usable = np.flatnonzero(np.isfinite(day) & np.isfinite(miles) & (miles >= 0.0) & ~stray)
    unit, names = pd.factorize(points["unit_id"])
    order = usable[np.lexsort((miles[usable], day[usable], unit[usable]))]
    source = points["source"].to_numpy(dtype=str)
    kept, shift = np.zeros(len(points), dtype=bool), np.zeros(len(points))
    starts = np.flatnonzero(np.diff(unit[order], prepend=-1))
    doubtful = _doubtful(unit[order], day[order], miles[order], daily_maximum)
    suspects = _strays(points)
    for rows in np.split(order, starts[1:]) if len(order) else []:
        odd: list[Suspicion] = []
        kept[rows] = True
        if doubtful[unit[rows[0]]]:
            kept[rows], shift[rows], odd = believe(day[rows], miles[rows], daily_maximum)
        if (source[rows] != "").sum() >= 2 * STRETCH:
            whole = miles[rows] + shift[rows]
            apart = source_offsets(day[rows], whole, kept[rows], source[rows])
            # An instrument that reads apart explains what looked like another truck.
            odd = apart + [s for s in odd if not apart or s.kind != "number-used-twice"]
        suspects += [(names[unit[rows[0]]], s._replace(rows=rows[s.rows])) for s in odd]
    return kept, shift, _suspect_table(suspects, points)


def believe(day: Floats, miles: Floats, daily_maximum: float) -> Believed:
    """Choose the believed values of one unit.

    Parameters
    ----------
    day, miles : ndarray, shape (n,)
        In order of day, then miles.
    daily_maximum : float, miles a day
    """
    first = np.ones(len(day), dtype=bool)
    first[1:] = (np.diff(day) != 0) | (np.diff(miles) != 0)
    back = np.cumsum(first) - 1
    days, values = day[first], miles[first]
    copies = np.bincount(back)
    kept = _agreeing(days, values, daily_maximum, copies)
    shift, odd = np.zeros(len(days)), []
    if (~kept).sum() >= STRETCH:
        odd = km_stretches(days, values, kept)
        split = None if odd else _second_run(days, values, kept, daily_maximum)
        if split is not None:
            kept, shift, suspicion = _follow(days, values, kept, split)
            odd = [suspicion]
        odd = odd or _km_or_second_truck(days, values, kept, daily_maximum)
    odd = odd or believed_km(days, values, kept)
    rows = [s._replace(rows=np.flatnonzero(np.isin(back, s.rows))) for s in odd]
    return Believed(kept[back], shift[back], rows)


def _agreeing(
    day: Floats, miles: Floats, daily_maximum: float, copies: npt.NDArray[np.int64]
) -> Mask:
    """Longest agreeing run whose end does not race away from the unit's own pace."""
    kept = longest_chain(day, miles, daily_maximum, copies)
    end = without_steep_end(day, miles, kept, daily_maximum)
    doubted = kept & ~end
    if not doubted.any():
        return kept
    # Without them, values that they contradicted may agree.
    rest = ~doubted
    kept = np.zeros(len(day), dtype=bool)
    kept[rest] = longest_chain(day[rest], miles[rest], daily_maximum, copies[rest])
    return kept


def _km_or_second_truck(
    day: Floats, miles: Floats, kept: Mask, daily_maximum: float
) -> list[Suspicion]:
    """Explain scattered left-out values: kilometres first, another truck by what then is left."""
    single = scattered_km(day, miles, kept)
    explained = np.zeros(len(day), dtype=bool)
    for suspicion in single:
        explained[suspicion.rows] = True
    return single + second_truck(day, miles, kept, daily_maximum, explained)


def _second_run(day: Floats, miles: Floats, kept: Mask, daily_maximum: float) -> Split | None:
    """Return two runs, one after the other, that keep five more values than one run does."""
    # Scattered errors are no second meter: its values stand close together, nearly all left out.
    if np.convolve(~kept, np.ones(CLOSE_TOGETHER)).max() < STRETCH:
        return None
    wanted = int(kept.sum()) + STRETCH
    split = best_split(day, miles, daily_maximum, wanted)
    if split is None or min(split.before.sum(), split.after.sum()) < STRETCH:
        return None
    return split if split.before.sum() + split.after.sum() >= wanted else None


def _follow(day: Floats, miles: Floats, kept: Mask, split: Split) -> tuple[Mask, Floats, Suspicion]:
    """Let the second run continue the first one, unless it climbs like kilometres."""
    first, second = np.flatnonzero(split.before), np.flatnonzero(split.after)
    nothing = np.zeros(len(day))
    rates = slope(day[first], miles[first]), slope(day[second], miles[second])
    count = f"{len(second)} values after {len(first)} others"
    parts = [(day[rows], miles[rows]) for rows in (first, second)]
    for km, own, rows in ((1, 0, second), (0, 1, first)):
        if looks_like_km(rates[own], rates[km]) and stands_like_km(
            parts[own], rates[own], parts[km]
        ):
            detail = f"{count}: {len(rows)} of them climb 1.6 times as fast, kilometres?"
            return kept, nothing, Suspicion("kilometres", detail, rows)
    driven = np.ptp(miles[first]) + np.ptp(miles[second])
    rate = driven / max(np.ptp(day[first]) + np.ptp(day[second]), 1.0)
    end, start = first[-1], second[0]
    head = second[:STRETCH]
    # The middle of several, because the very first value may be a mistake that happens to fit.
    added = float(np.median(miles[end] + rate * (day[head] - day[end]) - miles[head]))
    shift = np.where(split.after, max(added, miles[end] - miles[start]), 0.0)
    detail = f"{count} contradict them from {miles[start]:,.0f} miles on: a meter change?"
    return split.before | split.after, shift, Suspicion("meter-change", detail, second)


def _doubtful(
    unit: npt.NDArray[np.int64], day: Floats, miles: Floats, daily_maximum: float
) -> Mask:
    """Say for each unit whether any two of its values contradict, or its last ones race away."""
    falls = np.diff(miles, prepend=0.0) < 0
    headroom = pd.Series(daily_maximum * day - miles)
    drop = headroom.groupby(unit).cummax() - headroom > daily_maximum + ROUNDING_MILES
    same = np.diff(unit, prepend=-1) == 0
    doubtful = np.zeros(int(unit.max(initial=-1)) + 1, dtype=bool)
    doubtful[unit[(falls & same) | drop.to_numpy()]] = True
    # Six pivots of one stop copy one odometer: that is one value.
    first = np.concatenate([[True], np.any(np.diff([unit, day, miles]) != 0, axis=0)])[: len(unit)]
    doubtful[steep_units(unit[first], day[first], miles[first], daily_maximum)] = True
    return doubtful


def _strays(points: pd.DataFrame) -> list[tuple[str, Suspicion]]:
    """Report units with rows outside their time in service."""
    stray = points["stray"].to_numpy()
    found = points[stray].groupby("unit_id", sort=False).indices
    places = np.flatnonzero(stray)
    detail = "{} rows lie outside the unit's time in service: is the number on two units?"
    return [
        (str(unit), Suspicion("number-used-twice", detail.format(len(rows)), places[rows]))
        for unit, rows in found.items()
        if len(rows) >= STRETCH
    ]


def _suspect_table(suspects: list[tuple[str, Suspicion]], points: pd.DataFrame) -> pd.DataFrame:
    tables, ids, numbers = (points[c].to_numpy() for c in ("table", "row_id", "row_number"))
    rows = [
        (
            unit,
            odd.kind,
            odd.detail,
            ";".join(f"{tables[r]}:{ids[r] or f'row {numbers[r]}'}" for r in odd.rows),
        )
        for unit, odd in suspects
    ]
    return pd.DataFrame(rows, columns=["unit_id", "kind", "detail", "source_rows"], dtype=object)
