"""What the work on the shortlist costs, unit by unit, cash apart from downtime.

One row for each unit with pivots to replace, parked ones included: kits, labour, one alignment
per opened axle, and the planned days off the road. Downtime is opportunity cost and stays in
columns of its own. Pivots that are only measured cost nothing here: they are read at a visit that
happens anyway.

Not here: the choice of pivots (`decision`), what comes after these visits.
"""

from __future__ import annotations

import pandas as pd

from pivotlife.models.decision_costs import CostItems

PLANNED_COST_COLUMNS = [
    *("unit_id", "depot", "visit_date", "pivots", "labour_hours", "parts", "labour"),
    *("alignment", "cash", "downtime_days", "downtime"),
]


def planned_work(shortlist: pd.DataFrame, costs: CostItems) -> pd.DataFrame:
    """Price the replacements of a shortlist.

    Parameters
    ----------
    shortlist : DataFrame
        Columns `unit_id, depot, visit_date, pivot_id, axle, bushing_type, decision,
        labour_hours` (hours).
    costs : CostItems
        Prices in one currency.

    Returns
    -------
    DataFrame
        Columns `PLANNED_COST_COLUMNS`, one row per unit in the order of the shortlist; amounts in
        the currency of `costs`.
    """
    work = shortlist[shortlist["decision"].isin(["replace", "park"]) & shortlist["pivot_id"].ne("")]
    if work.empty:
        return pd.DataFrame(columns=PLANNED_COST_COLUMNS)
    priced = work.assign(part=work["bushing_type"].map(dict(costs.parts)).fillna(0.0))
    jobs = priced.groupby("unit_id", sort=False).agg(
        depot=("depot", "first"),
        visit_date=("visit_date", "first"),
        pivots=("pivot_id", "size"),
        labour_hours=("labour_hours", "sum"),
        parts=("part", "sum"),
        axles=("axle", "nunique"),
    )
    jobs["labour"] = jobs["labour_hours"] * costs.shop_rate
    jobs["alignment"] = jobs["axles"] * costs.alignment
    jobs["cash"] = jobs["parts"] + jobs["labour"] + jobs["alignment"]
    jobs["downtime_days"] = costs.downtime_days_planned
    jobs["downtime"] = costs.downtime_days_planned * costs.downtime_per_day
    return jobs.reset_index()[PLANNED_COST_COLUMNS]
