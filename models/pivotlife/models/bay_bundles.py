"""What each line of the shortlist asks of the shop, gathered by unit and axle.

Hours come in shares of a side's job, so a renewal by choice is charged what it adds to the work
that stands anyway. What waiting costs is what the decision weighed: the expected cost of waiting
less the miles kept, plus the set-up it shares. A pivot renewed because it may be over its limit
already is weighed with that chance.

Not here: the choice (`bay_plan`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.decision_costs import (
    CostItems,
    late_cost,
    late_cost_per_mile_over,
    planned_cost,
)
from pivotlife.models.decision_jobs import labour_hours
from pivotlife.models.overrides import RULE as OVERRIDE

_WEEK: Final = pd.Timedelta(days=7)
BUNDLE_COLUMNS: Final = (
    *("unit_id", "axle", "depot", "week_start", "month", "pivots", "hours", "cash", "avoided"),
)


def line_loads(shortlist: pd.DataFrame, visits: pd.DataFrame, costs: CostItems) -> pd.DataFrame:
    """Give every line its hours and the cost that doing it avoids.

    Parameters
    ----------
    shortlist : DataFrame
        As from `decision.decide`.
    visits : DataFrame
        unit_id, visit_miles, next_visit_miles.
    costs : CostItems

    Returns
    -------
    DataFrame, same index
        The lines with by_choice (bool: may wait), alone_hours (its hours if nothing were chosen),
        fixed_hours, measure_hours, choice_hours (hours), without_hours (bool: work that stands
        whose hours are not known), part, avoided (currency).
    """
    out = shortlist.copy()
    stands = out["mandatory"] | (out["rule"] == OVERRIDE) | (out["decision"] == "park")
    out["by_choice"] = (out["decision"] == "replace") & ~stands & (out["pivot_id"] != "")
    standing = out.assign(decision=out["decision"].mask(out["by_choice"], "leave"))
    alone = labour_hours(standing, costs)
    # What another rule added to a line beyond the shares of its job stays with the line.
    beyond = (out["labour_hours"] - labour_hours(out, costs)).fillna(0.0)
    alone = (alone + beyond).where(~out["by_choice"], 0.0)
    whole_unit = (out["pivot_id"] == "") & (out["decision"] == "measure")
    pivots = out[out["pivot_id"] != ""].groupby("unit_id").size()
    round_hours = out["unit_id"].map(pivots).fillna(0.0) * costs.hours_measure
    alone = alone.mask(whole_unit, round_hours)
    reads = (out["decision"] == "measure") & ~stands
    out["without_hours"] = stands & alone.isna()
    out["alone_hours"] = alone
    out["fixed_hours"] = alone.where(stands).fillna(0.0)
    out["measure_hours"] = alone.where(reads).fillna(0.0)
    out["choice_hours"] = (out["labour_hours"] - alone).fillna(0.0).mask(whole_unit, 0.0)
    out["part"] = out["bushing_type"].map(dict(costs.parts)).fillna(0.0)
    out["avoided"] = _avoided(out, visits, costs)
    return out


def _avoided(lines: pd.DataFrame, visits: pd.DataFrame, costs: CostItems) -> pd.Series:
    """Price putting a renewal off by one visit: the expected cost less the miles kept."""
    wait = lines["wait_cost"] - lines["kept_value"]
    gap = visits.set_index("unit_id")
    miles = lines["unit_id"].map(gap["next_visit_miles"] - gap["visit_miles"]).astype(float)
    kinds = [kind for kind in lines["bushing_type"].unique() if kind in costs.parts]
    extra = {kind: late_cost(costs, kind, 0.0) - planned_cost(costs, kind) for kind in kinds}
    late = lines["bushing_type"].map(extra).astype(float)
    late = late + late_cost_per_mile_over(costs) * miles / 2
    over = lines["chance_over_by_next_visit"].astype(float) * late - lines["kept_value"]
    by_chance = lines["rule"].astype(str).str.startswith("chance-now")
    value = wait.mask(by_chance, pd.concat([wait, over], axis=1).max(axis=1))
    return (value.fillna(0.0) + lines["setup_saved"].astype(float).fillna(0.0)).astype(float)


def weeks_of(lines: pd.DataFrame, capacity: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Find the week of each line's visit and the depot's hours in it.

    Parameters
    ----------
    lines : DataFrame
        depot, visit_date.
    capacity : DataFrame
        depot, week_start, bay_hours.

    Returns
    -------
    week_start : Series of datetime
        The table's own week where the visit falls into one, else the Monday before.
    bay_hours : Series of float
        NaN where the table says nothing.
    """
    day = pd.to_datetime(lines["visit_date"])
    monday = day - pd.to_timedelta(day.dt.weekday, unit="D")
    asked = pd.DataFrame({"depot": lines["depot"], "day": day, "row": np.arange(len(lines))})
    asked = asked.astype({"depot": object, "day": "datetime64[ns]"})
    rooms = capacity[["depot", "week_start", "bay_hours"]].dropna(subset=["week_start"])
    rooms = rooms.drop_duplicates(["depot", "week_start"]).sort_values("week_start", kind="stable")
    rooms = rooms.astype({"depot": object, "week_start": "datetime64[ns]"})
    dated = asked[asked["day"].notna()].sort_values("day", kind="stable")
    rooms["start"] = rooms["week_start"]
    found = pd.merge_asof(
        dated,
        rooms,
        left_on="day",
        right_on="start",
        by="depot",
        tolerance=_WEEK - pd.Timedelta(days=1),
    ).set_index("row")
    found = found.reindex(asked["row"]).set_axis(lines.index)
    return found["week_start"].fillna(monday), found["bay_hours"].astype(float)


def axle_bundles(lines: pd.DataFrame, costs: CostItems) -> pd.DataFrame:
    """Gather the renewals by choice of each unit's axle.

    Parameters
    ----------
    lines : DataFrame
        From `line_loads`, with week_start and month.
    costs : CostItems

    Returns
    -------
    DataFrame
        `BUNDLE_COLUMNS`: what the bundle adds in hours and cash, and the cost it avoids.
    """
    by_axle = lines[lines["pivot_id"] != ""].groupby(["unit_id", "axle"], sort=True)
    added = by_axle["choice_hours"].sum()
    opened = lines["decision"].isin(["replace", "park"]) & ~lines["by_choice"]
    open_axles = lines[opened & (lines["pivot_id"] != "")].set_index(["unit_id", "axle"]).index
    bundles = (
        lines[lines["by_choice"]]
        .groupby(["unit_id", "axle"], sort=True)
        .agg(
            depot=("depot", "first"),
            week_start=("week_start", "first"),
            month=("month", "first"),
            pivots=("pivot_id", "size"),
            parts=("part", "sum"),
            avoided=("avoided", "sum"),
        )
    )
    bundles["hours"] = added.reindex(bundles.index).clip(lower=0.0)
    alignment = np.where(bundles.index.isin(open_axles), 0.0, costs.alignment)
    bundles["cash"] = bundles["parts"] + bundles["hours"] * costs.shop_rate + alignment
    return bundles.reset_index()[list(BUNDLE_COLUMNS)]
