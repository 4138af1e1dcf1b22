"""How many replacements a pivot has had by a given mileage, on average.

A pivot is watched over one or more stretches of miles, (start, end]; stretches may begin late and
end anywhere. With Y(m) stretches watched at m and dN(m) replacements there, the mean cumulative
number of replacements by m is

    M(m) = sum of dN / Y over the miles up to m

(Nelson 1995, Technometrics 37, 147-157; from memory). It supposes nothing of how replacements
follow each other, only that the stretches were not chosen for what happened in them.

Limits come from the spread between units, not from a Poisson law: pivots of one truck are alike.
Each unit u contributes the residual

    R_u(m) = sum over its replacements of 1 / Y - A(end or m) + A(start) over its stretches,
    A(m) = sum of dN / Y^2 up to m,     variance of M(m) = sum over units of R_u(m)^2

(Lawless & Nadeau 1995, Technometrics 37, 158-168; from memory), and the limits are
M exp(-+ z se / M), so that they stay above 0.

R_u(m) is w - n A(m), with n the stretches of u watched at m and w constant between happenings, so
the variance is a sum of products of A whose coefficients change only at a start, an end or a
replacement: all mileages cost one sort.

Not here: the rate of replacement by calendar time, comparison of two groups, any model of wear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.errors import PivotlifeError

#: A fault names this many rows.
ROWS_SHOWN: Final = 5


class RecurrenceError(PivotlifeError, ValueError):
    """Stretches or replacements that contradict themselves; the text names the pivots."""


@dataclass(frozen=True, eq=False)
class MeanCumulative:
    """Mean cumulative number of replacements per pivot.

    Attributes
    ----------
    table : DataFrame, one row per mileage at which something was replaced
        ``miles``, ``at_risk`` (pivots watched there), ``events`` (replacements there),
        ``mean_cumulative`` (replacements per pivot up to and including it), ``lower``, ``upper``
        (NaN from the first row at which fewer than two units are watched: one unit tells nothing
        of the spread), ``standard_error``, ``units_at_risk``.
    n_pivots, n_units, n_events : int
        What the curve rests on.
    outside : DataFrame
        ``pivot_id``, ``miles`` of replacements outside every watched stretch of their pivot; not
        counted.
    last_miles : float, miles
        Nobody is watched beyond.
    """

    table: pd.DataFrame
    n_pivots: int
    n_units: int
    n_events: int
    outside: pd.DataFrame
    last_miles: float

    def mean_at(self, miles: FloatArray | float) -> FloatArray:
        """Return the mean number of replacements by each mileage; NaN beyond the last watched.

        Parameters
        ----------
        miles : float or ndarray of float64, miles

        Returns
        -------
        ndarray of float64, of the same shape
        """
        asked = np.asarray(miles, dtype=np.float64)
        steps = np.concatenate([[0.0], self.table["mean_cumulative"].to_numpy()])
        found = steps[np.searchsorted(self.table["miles"].to_numpy(), asked, side="right")]
        return np.where(asked <= self.last_miles, found, np.nan)


@dataclass(frozen=True, eq=False)
class _Watch:
    """Stretches (start, end] of positive length, and each event's stretch."""

    start: FloatArray
    end: FloatArray
    unit: IntArray
    event: FloatArray
    event_unit: IntArray


def mean_cumulative(
    windows: pd.DataFrame,
    events: pd.DataFrame,
    *,
    from_miles: float = 0.0,
    level: float = 0.95,
) -> MeanCumulative:
    """Estimate the mean cumulative number of replacements.

    Parameters
    ----------
    windows : DataFrame, one row per watched stretch
        ``pivot_id``, ``start_miles``, ``end_miles``; optional ``unit_id`` (pivots of one unit count
        as one witness for the limits; absent: every pivot its own). A stretch holds its end, not
        its start.
    events : DataFrame, one row per replacement
        ``pivot_id``, ``miles``. Several rows at one mileage are several replacements.
    from_miles : float, miles
        Counting starts here, replacements up to here are not counted. With late starts, choose a
        mileage at which enough pivots are watched.
    level : float, between 0 and 1
        How often such limits hold the true mean, at one mileage.

    Returns
    -------
    MeanCumulative

    Raises
    ------
    RecurrenceError
        A column is missing; a mileage is missing, infinite or no number; a stretch has no pivot or
        unit, or ends before it starts; stretches of one pivot overlap; nothing is watched beyond
        ``from_miles``.
    """
    stretches = _checked_windows(windows)
    happened = _numbers(events, "replacements", ["miles"])[["pivot_id", "miles"]]
    row = _stretch_of(stretches, happened)
    watch = _watch(stretches, happened["miles"].to_numpy(), row, from_miles)
    if not watch.start.size:
        raise RecurrenceError(
            f"no pivot is watched beyond {from_miles:,.0f} miles; check starts and ends"
        )
    return MeanCumulative(
        table=_curve(watch, level),
        n_pivots=int(stretches.loc[stretches["end_miles"] > from_miles, "pivot_id"].nunique()),
        n_units=int(np.unique(watch.unit).size),
        n_events=int(watch.event.size),
        outside=happened[row < 0].reset_index(drop=True),
        last_miles=float(watch.end.max()),
    )


def _watch(stretches: pd.DataFrame, event: FloatArray, row: IntArray, from_miles: float) -> _Watch:
    """Return what is watched beyond the first counted mileage."""
    unit = pd.factorize(stretches["unit_id"])[0].astype(np.int64)
    end = stretches["end_miles"].to_numpy()
    counted = (row >= 0) & (event > from_miles)
    return _Watch(
        start=np.maximum(stretches["start_miles"].to_numpy(), from_miles)[end > from_miles],
        end=end[end > from_miles],
        unit=unit[end > from_miles],
        event=event[counted],
        event_unit=unit[row[counted]],
    )


def _curve(watch: _Watch, level: float) -> pd.DataFrame:
    """Return the table of the curve."""
    miles, place, count = np.unique(watch.event, return_inverse=True, return_counts=True)
    at_risk = np.searchsorted(np.sort(watch.start), miles) - np.searchsorted(
        np.sort(watch.end), miles
    )
    mean = np.cumsum(count / at_risk)
    variance, units_at_risk = _spread_between_units(watch, miles, at_risk, count, place)
    error = np.sqrt(np.maximum(variance, 0.0))
    z = float(stats.norm.ppf(0.5 + level / 2.0))
    known = np.logical_and.accumulate(units_at_risk > 1)
    factor = np.where(known, np.exp(z * error / mean), np.nan)
    return pd.DataFrame(
        {
            "miles": miles,
            "at_risk": at_risk,
            "events": count,
            "mean_cumulative": mean,
            "lower": mean / factor,
            "upper": mean * factor,
            "standard_error": error,
            "units_at_risk": units_at_risk,
        }
    )


def _spread_between_units(
    watch: _Watch, miles: FloatArray, at_risk: IntArray, count: IntArray, place: IntArray
) -> tuple[FloatArray, IntArray]:
    """Return the sum of squared residuals of the units, and the units watched, at each mileage.

    Every start, end and replacement changes (w, n) of its unit, whose residual is w - n A. Summed
    over units, w^2, w n and n^2 are step functions of the miles.
    """
    drift = np.concatenate([[0.0], np.cumsum(count / at_risk**2)])

    def drift_at(m: FloatArray) -> FloatArray:
        return drift[np.searchsorted(miles, m, side="right")]

    unit = np.concatenate([watch.unit, watch.unit, watch.event_unit])
    when = np.concatenate([watch.start, watch.end, watch.event])
    jump = np.concatenate([drift_at(watch.start), -drift_at(watch.end), 1.0 / at_risk[place]])
    count_jump = np.repeat([1.0, -1.0, 0.0], [watch.start.size, watch.end.size, watch.event.size])
    order = np.lexsort((when, unit))
    unit, when = unit[order], when[order]
    w, n = _running(jump[order], unit), _running(count_jump[order], unit)
    terms = np.column_stack([w * w, w * n, n * n, n > 0])
    is_first = np.concatenate([[True], np.diff(unit) > 0])
    before = np.where(is_first[:, None], 0.0, np.roll(terms, 1, axis=0))
    by_miles = np.argsort(when, kind="stable")
    sums = np.vstack([np.zeros(4), np.cumsum((terms - before)[by_miles], axis=0)])
    # Residuals count what happens at the mileage; who is watched there was so just before it.
    ww, wn, nn, _ = sums[np.searchsorted(when[by_miles], miles, side="right")].T
    watched = sums[np.searchsorted(when[by_miles], miles, side="left"), 3]
    a = drift[1:]
    return ww - 2.0 * wn * a + nn * a * a, np.rint(watched).astype(np.int64)


def _running(values: FloatArray, group: IntArray) -> FloatArray:
    """Return running sums that start anew at each group; groups are contiguous."""
    total = pd.Series(values).groupby(group).cumsum()
    return np.asarray(total, dtype=np.float64)


def _stretch_of(stretches: pd.DataFrame, happened: pd.DataFrame) -> IntArray:
    """Return the row of the stretch that holds each event, -1 when none does."""
    codes, pivots = pd.factorize(stretches["pivot_id"])
    starts = pd.DataFrame(
        {
            "pivot": codes,
            "miles": stretches["start_miles"],
            "end": stretches["end_miles"],
            "row": np.arange(codes.size),
        }
    )
    asked = pd.DataFrame(
        {
            "pivot": pivots.get_indexer(pd.Index(happened["pivot_id"])),
            "miles": happened["miles"].to_numpy(),
            "place": np.arange(len(happened)),
        }
    )
    found = pd.merge_asof(
        asked.sort_values("miles"),
        starts.sort_values("miles"),
        on="miles",
        by="pivot",
        allow_exact_matches=False,
    ).sort_values("place")
    row = found["row"].where(found["miles"] <= found["end"], -1)
    return row.to_numpy(dtype=np.int64)


def _checked_windows(windows: pd.DataFrame) -> pd.DataFrame:
    """Return the stretches of positive length with their unit, or raise on contradictions."""
    checked = _numbers(windows, "watched stretches", ["start_miles", "end_miles"])
    if "unit_id" not in checked.columns:
        checked["unit_id"] = checked["pivot_id"]
    names = checked[["pivot_id", "unit_id"]]
    unnamed = (names.isna() | (names == "")).any(axis=1)
    _refuse(checked, unnamed, "watched stretches lack their pivot or unit", "Name them")
    backwards = checked["end_miles"] < checked["start_miles"]
    _refuse(checked, backwards, "watched stretches end before they start", "Correct their miles")
    checked = checked[checked["end_miles"] > checked["start_miles"]].reset_index(drop=True)
    ordered = checked.sort_values(["pivot_id", "start_miles"], kind="stable")
    earlier_end = ordered.groupby("pivot_id")["end_miles"].shift()
    overlap = ordered["start_miles"] < earlier_end
    _refuse(ordered, overlap, "watched stretches overlap another of their pivot", "Join them")
    return checked


def _numbers(frame: pd.DataFrame, what: str, columns: list[str]) -> pd.DataFrame:
    """Return the frame with float columns, or raise when one is missing or not finite."""
    missing = [name for name in ["pivot_id", *columns] if name not in frame.columns]
    if missing:
        raise RecurrenceError(f"the {what} lack the column {' and '.join(missing)}; add it")
    try:
        numeric = frame.astype(dict.fromkeys(columns, np.float64))
    except (TypeError, ValueError) as error:
        raise RecurrenceError(
            f"{' or '.join(columns)} of the {what} holds text that is no number; correct it"
        ) from error
    wild = ~numeric[columns].apply(np.isfinite).all(axis=1)
    _refuse(numeric, wild, f"{what} have missing or infinite miles", "Leave these out")
    return numeric


def _refuse(frame: pd.DataFrame, wrong: pd.Series[bool], what: str, remedy: str) -> None:
    """Raise `RecurrenceError` when a row is wrong, with how many and the first pivots."""
    if wrong.any():
        names = ", ".join(frame.loc[wrong, "pivot_id"].astype(str).head(ROWS_SHOWN))
        raise RecurrenceError(f"{int(wrong.sum())} of {len(frame)} {what}: pivot {names}. {remedy}")
