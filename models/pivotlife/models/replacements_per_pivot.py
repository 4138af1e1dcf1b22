"""How often a pivot's bushing is replaced by a given mileage of the truck, by bushing type.

The records of lives, cut for `recurrences`: a pivot is watched with one type while that type is in
it, between the start of its unit's records and the last odometer, on the truck's own miles. A
bushing that was taken out and followed by another was replaced. Two counts: every replacement, and
those after a failure alone.

Counting begins at the mileage from which at least ten pivots of five units are watched together,
and ends where fewer than five units are left: beyond, one truck would decide.

A pivot that is converted to another type leaves the one and joins the other. If the worst pivots
are converted first, the curve of the old type looks better than it was: this table describes, it
does not compare.

Not here: the estimate itself (`recurrences`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.recurrences import MeanCumulative, mean_cumulative

COLUMNS: Final = (
    *("bushing_type", "counted", "from_miles", "miles", "at_risk", "units_at_risk"),
    *("replacements", "mean_cumulative", "lower", "upper"),
)
FEWEST_PIVOTS: Final = 10
FEWEST_UNITS: Final = 5


def replacements_table(lives: pd.DataFrame, *, level: float = 0.95) -> pd.DataFrame:
    """Tabulate the mean cumulative replacements per pivot, by bushing type.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives, those of unknown age included.
    level : float
        Of the limits.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; ``counted`` is "all" or "failed", ``miles`` the truck's, counting from
        ``from_miles``. One row where something was replaced; types that are never watched on
        enough pivots at once are absent.
    """
    spans = _spans(lives)
    tables = []
    for kind, of_type in spans.groupby("bushing_type", sort=True):
        start = _from_miles(of_type)
        if start is None:
            continue
        for counted in ("all", "failed"):
            happened = of_type["replaced"] & ((counted == "all") | of_type["failed"])
            curve = _curve(of_type, happened, start, level)
            names = {"bushing_type": kind, "counted": counted, "from_miles": start}
            lasting = np.logical_and.accumulate(curve.table["units_at_risk"] >= FEWEST_UNITS)
            tables.append(curve.table[lasting].assign(**names))
    if not tables:
        return pd.DataFrame(columns=list(COLUMNS))
    table = pd.concat(tables, ignore_index=True).rename(columns={"events": "replacements"})
    return table[list(COLUMNS)]


def _curve(
    spans: pd.DataFrame, happened: pd.Series[bool], start: float, level: float
) -> MeanCumulative:
    """Return the curve of one type."""
    events = spans[happened].rename(columns={"end_miles": "miles"})[["pivot_id", "miles"]]
    windows = spans[["pivot_id", "unit_id", "start_miles", "end_miles"]]
    return mean_cumulative(windows, events, from_miles=start, level=level)


def _spans(lives: pd.DataFrame) -> pd.DataFrame:
    """Return, for each life, where it was watched on the truck's miles and whether it ended."""
    fitted = lives["fitted_odometer_miles"].astype(float)
    removed = lives["removed_odometer_miles"].astype(float)
    begins = (fitted + lives["records_begin_miles"]).groupby(lives["unit_id"]).transform("median")
    seen = (fitted + lives["last_seen_miles"]).groupby(lives["unit_id"]).transform("max")
    number = lives["life_id"].str.rsplit("#", n=1).str[-1].astype(int)
    last = number.groupby(lives["pivot_id"]).transform("max")
    spans = pd.DataFrame(
        {
            "pivot_id": lives["pivot_id"],
            "unit_id": lives["unit_id"],
            "bushing_type": lives["bushing_type"],
            "start_miles": np.fmax(fitted.fillna(begins), begins),
            "end_miles": removed.fillna(seen),
            "replaced": removed.notna() & (number < last),
            "failed": lives["mode"] != "",
        }
    )
    spans = spans.iloc[np.lexsort((number, lives["pivot_id"]))]
    known = spans[spans["start_miles"].notna() & spans["end_miles"].notna()]
    # Wrong odometers can let a bushing begin before the last one ended.
    by_pivot = known.groupby("pivot_id")["end_miles"]
    before = by_pivot.cummax().groupby(known["pivot_id"]).shift()
    known = known.assign(start_miles=np.fmax(known["start_miles"], before))
    return known[known["end_miles"] > known["start_miles"]].reset_index(drop=True)


def _from_miles(spans: pd.DataFrame) -> float | None:
    """Return the smallest mileage with enough pivots of enough units watched together."""
    for start in np.sort(spans["start_miles"].unique()):
        watched = spans[(spans["start_miles"] <= start) & (spans["end_miles"] > start)]
        if len(watched) >= FEWEST_PIVOTS and watched["unit_id"].nunique() >= FEWEST_UNITS:
            return float(start)
    return None
