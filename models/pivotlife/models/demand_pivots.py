"""The pivots whose renewals are drawn: where they stand, when their unit comes, what is known.

Pivots of units without a miles record have no visit to be renewed at; they are left out.

Not here: the draws (`demand_rounds`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

_PLACES: Final = (
    *("pivot_id", "unit_id", "depot", "duty", "axle", "side", "node", "bushing_type"),
    "holding_odometer_miles",
)
_VISITS: Final = (
    *("unit_id", "miles_now", "miles_per_day", "visit_date", "visit_miles", "next_visit_date"),
    "next_visit_miles",
)
#: How `growth_table` names the method of pivots whose play announces their end.
_BY_PLAY: Final = "growth"


def demand_pivots(
    in_service: pd.DataFrame,
    chances: pd.DataFrame,
    visits: pd.DataFrame,
    gap_miles: Mapping[str, float],
    as_of: pd.Timestamp,
    listed: Mapping[str, int] | None = None,
) -> pd.DataFrame:
    """Put together what the draws need of every pivot.

    Parameters
    ----------
    in_service : DataFrame, one row per pivot
        pivot_id, unit_id, depot, duty, axle, side, node, bushing_type, holding_odometer_miles.
    chances : DataFrame
        pivot_id, age_miles, method and the chances, as `growth_table.growth_table` gives them.
    visits : DataFrame, one row per unit
        unit_id, miles_now, miles_per_day, visit_date, visit_miles, next_visit_date,
        next_visit_miles.
    gap_miles : mapping of duty to miles
        Service interval.
    as_of : Timestamp
    listed : mapping of pivot_id to the visit at which the shortlist renews it, optional
        0 the next one, 1 the one after.

    Returns
    -------
    DataFrame
        Sorted by unit, axle, side, node, fresh index; as `demand_rounds.draw_renewals` and
        `demand_lives.prospects` take them.
    """
    told = [name for name in chances.columns if name.startswith("chance_")]
    table = in_service[list(_PLACES)].merge(
        chances[["pivot_id", "age_miles", "method", *told]], on="pivot_id"
    )
    table = table.merge(visits[list(_VISITS)], on="unit_id")
    table = table[table["miles_now"].notna() & (table["miles_per_day"] > 0)]
    table = table.sort_values(["unit_id", "axle", "side", "node"], kind="stable", ignore_index=True)
    for name, date in (("first_day", "visit_date"), ("second_day", "next_visit_date")):
        table[name] = (table[date] - as_of).dt.days.astype(float)
    table["gap_miles"] = table["duty"].map(dict(gap_miles)).astype(float)
    table["sale_miles"] = table["holding_odometer_miles"].astype(float).fillna(np.inf)
    table["announces"] = table["method"].astype(str).str.startswith(_BY_PLAY)
    table["listed"] = table["pivot_id"].map(dict(listed or {})).fillna(-1).astype(np.int64)
    return table


def listed_visits(shortlist: pd.DataFrame) -> dict[str, int]:
    """Visit at which the shortlist renews each pivot: 0 the next, 1 the one after if put off.

    Parameters
    ----------
    shortlist : DataFrame
        pivot_id, decision, postponed.
    """
    work = shortlist[shortlist["decision"].isin(["replace", "park"]) & shortlist["pivot_id"].ne("")]
    later = work["postponed"].eq("yes").astype(int)
    return dict(zip(work["pivot_id"].astype(str), later.tolist(), strict=True))
