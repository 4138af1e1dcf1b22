"""Room in the shop: which renewals fit into bay hours and budget, which wait, what that costs.

Safety orders and a person's overrides always stand; readings are taken at visits that happen
anyway. What is left of a depot's week, and of a month's budget, goes to the renewals by choice
with the largest avoided cost. The renewals of one axle stand or fall together, because the axle is
opened and aligned once. The choice is a 0-1 programme (scipy `milp`):

    maximise   sum avoided_j x_j
    subject to sum hours_j x_j <= hours left, by depot and week
               sum cash_j  x_j <= budget left, by month

Where mandatory work alone is more than there is, nothing is hidden: the shortage is returned as a
sentence. A depot or week without a row in the capacity table is not limited.

Not here: whether a pivot should be renewed (`decision`), what it costs to wait (`bay_bundles`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import Bounds, LinearConstraint, milp

from pivotlife.models.bay_bundles import axle_bundles, line_loads, weeks_of
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.errors import PivotlifeError
from pivotlife.models.planned_cost import planned_work

Floats = npt.NDArray[np.float64]

HOURS_COLUMNS: Final = (
    *("depot", "week_start", "units", "mandatory_hours", "measure_hours", "choice_hours"),
    *("planned_hours", "bay_hours", "free_hours", "shortage_hours", "postponed_hours"),
    *("postponed_pivots", "lines_without_hours"),
)
#: Up to so many bundles the optimum is proved to the last cent, beyond it to one in ten thousand.
EXACT_BUNDLES: Final = 200
_CENT: Final = 0.01


class BayPlanError(PivotlifeError, ArithmeticError):
    """The solver gave no answer although leaving everything out is one."""


@dataclass(frozen=True)
class BayPlan:
    """What fits.

    Attributes
    ----------
    shortlist : DataFrame
        The lines, postponed ("yes", "no", "" where nothing is planned) and postponed_cost filled.
    hours_by_week : DataFrame
        `HOURS_COLUMNS`, hours; one row per depot and week.
    shortages : tuple of str
        Where mandatory work does not fit; a sentence each.
    """

    shortlist: pd.DataFrame
    hours_by_week: pd.DataFrame
    shortages: tuple[str, ...]


def plan_bays(
    shortlist: pd.DataFrame,
    capacity: pd.DataFrame,
    visits: pd.DataFrame,
    costs: CostItems,
    budget_per_month: float | None = None,
    chance_now_alarm: float = 0.2,
) -> BayPlan:
    """Choose what is done at the coming visits.

    Parameters
    ----------
    shortlist : DataFrame
        From `decision.decide`, overrides applied.
    capacity : DataFrame
        depot, week_start (first day), bay_hours (hours); may be empty.
    visits : DataFrame
        unit_id, visit_miles, next_visit_miles: what waiting means for each unit.
    costs : CostItems
    budget_per_month : float, currency, optional
        Cash for this work in a calendar month; None = not limited.
    chance_now_alarm : float
        A pivot that may be over its limit already with at least this chance is never just left:
        where its renewal waits, it is measured at the visit.

    Returns
    -------
    BayPlan
    """
    lines = line_loads(shortlist, visits, costs)
    lines["week_start"], lines["bay_hours"] = weeks_of(lines, capacity)
    lines["month"] = pd.to_datetime(lines["visit_date"]).dt.strftime("%Y-%m").fillna("")
    bundles = axle_bundles(lines, costs)
    weeks = _week_loads(lines, capacity)
    budget = _budget_left(shortlist, lines, costs, budget_per_month)
    chosen = _chosen(bundles, weeks, budget)
    waits = lines.set_index(["unit_id", "axle"]).index.isin(
        bundles.loc[~chosen].set_index(["unit_id", "axle"]).index
    ) & lines["by_choice"].to_numpy(dtype=bool)
    planned = not capacity.empty or budget_per_month is not None
    table = _marked(shortlist, lines, waits, planned=planned)
    table = _measured_meanwhile(table, waits, chance_now_alarm)
    hours = _hours(weeks, bundles.assign(chosen=chosen))
    shortages = (*_hour_shortages(hours), *_cash_shortages(budget, costs.currency))
    return BayPlan(table, hours, shortages)


def _week_loads(lines: pd.DataFrame, capacity: pd.DataFrame) -> pd.DataFrame:
    """Hours that stand whatever is chosen, by depot and week; planned weeks without work too."""
    active = lines[lines["decision"] != "leave"]
    loads = active.groupby(["depot", "week_start"]).agg(
        units=("unit_id", "nunique"),
        mandatory_hours=("fixed_hours", "sum"),
        measure_hours=("measure_hours", "sum"),
        lines_without_hours=("without_hours", "sum"),
    )
    rooms = capacity.drop_duplicates(["depot", "week_start"]).set_index(["depot", "week_start"])
    ahead = rooms.index.get_level_values("week_start") >= active["week_start"].min()
    both = loads.join(rooms.loc[ahead, ["bay_hours"]], how="outer")
    both[["units", "mandatory_hours", "measure_hours", "lines_without_hours"]] = both[
        ["units", "mandatory_hours", "measure_hours", "lines_without_hours"]
    ].fillna(0.0)
    standing = both["mandatory_hours"] + both["measure_hours"]
    both["left"] = (both["bay_hours"] - standing).clip(lower=0.0)
    return both.sort_index()


def _budget_left(
    shortlist: pd.DataFrame, lines: pd.DataFrame, costs: CostItems, budget: float | None
) -> pd.DataFrame:
    """Cash of the standing work and what is left, by month; empty without a budget."""
    if budget is None:
        return pd.DataFrame({"cash": [], "left": [], "budget": []}, dtype=float)
    fixed = shortlist.assign(labour_hours=lines["alone_hours"])
    work = planned_work(fixed[~lines["by_choice"].to_numpy(dtype=bool)], costs)
    month = pd.to_datetime(work["visit_date"]).dt.strftime("%Y-%m").fillna("")
    cash = work["cash"].astype(float).groupby(month).sum()
    months = sorted({*lines.loc[lines["month"] != "", "month"]})
    out = pd.DataFrame({"cash": cash.reindex(months).fillna(0.0)})
    return out.assign(left=(budget - out["cash"]).clip(lower=0.0), budget=budget)


def _chosen(bundles: pd.DataFrame, weeks: pd.DataFrame, budget: pd.DataFrame) -> pd.Series:
    """Say of each bundle whether it is done; solved depot by depot where no budget ties them."""
    chosen = pd.Series(data=True, index=bundles.index, dtype=bool)
    if bundles.empty:
        return chosen
    groups = (
        bundles.groupby(["depot", "week_start"], sort=True) if budget.empty else [("all", bundles)]
    )
    for _, group in groups:
        chosen.loc[group.index] = _best(group, weeks["left"], budget["left"])
    return chosen


def _best(
    group: pd.DataFrame, hours_left: pd.Series, cash_left: pd.Series
) -> npt.NDArray[np.bool_]:
    rows, limits = [], []
    for keys, left, amount in (
        (list(zip(group["depot"], group["week_start"], strict=True)), hours_left, "hours"),
        (group["month"].tolist(), cash_left, "cash"),
    ):
        for key in dict.fromkeys(keys):
            limit = float(left[key]) if key in left.index else np.nan
            if np.isfinite(limit):
                rows.append(
                    [a if k == key else 0.0 for k, a in zip(keys, group[amount], strict=True)]
                )
                limits.append(limit)
    load = np.array(rows, dtype=float).reshape(len(rows), len(group))
    if (load.sum(axis=1) <= np.array(limits) + 1e-9).all():
        return np.ones(len(group), dtype=bool)
    # A renewal worth nothing on paper is still wanted: it is left out only where room is short.
    worth = np.maximum(group["avoided"].to_numpy(dtype=float), _CENT)
    solved = milp(
        -worth,
        integrality=np.ones(len(group), dtype=np.int64),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(load, ub=np.array(limits) + 1e-9),
        options={"mip_rel_gap": 0.0 if len(group) <= EXACT_BUNDLES else 1e-4},
    )
    if solved.x is None:
        raise BayPlanError(f"no plan for {len(group)} renewals: {solved.message}")
    return solved.x > 0.5


def _marked(
    shortlist: pd.DataFrame, lines: pd.DataFrame, waits: npt.NDArray[np.bool_], *, planned: bool
) -> pd.DataFrame:
    table = shortlist.copy()
    flagged = (table["decision"] != "leave").to_numpy()
    table["postponed"] = np.where(waits, "yes", np.where(flagged & planned, "no", ""))
    table["postponed_cost"] = lines["avoided"].clip(lower=0.0).where(waits)
    week = pd.to_datetime(lines["week_start"]).dt.strftime("%Y-%m-%d").fillna("its visit")
    told = " Put off: bay hours or budget in the week of " + week + " go to other work."
    table["reason"] = table["reason"] + np.where(waits, told, "")
    return table


def _measured_meanwhile(
    table: pd.DataFrame, waits: npt.NDArray[np.bool_], alarm: float
) -> pd.DataFrame:
    """Turn renewals that wait although they may be over already into readings."""
    by_alarm = table["rule"].astype(str).str.startswith("chance-now")
    doubtful = waits & (by_alarm | (table["chance_over_now"].astype(float) >= alarm))
    table["decision"] = table["decision"].mask(doubtful, "measure")
    told = " It may be over its limit already: measure it at this visit."
    table["reason"] = table["reason"] + np.where(doubtful, told, "")
    return table


def _hours(weeks: pd.DataFrame, bundles: pd.DataFrame) -> pd.DataFrame:
    keys = ["depot", "week_start"]
    done = bundles[bundles["chosen"]].groupby(keys)["hours"].sum()
    waiting = (
        bundles[~bundles["chosen"]]
        .groupby(keys)
        .agg(postponed_hours=("hours", "sum"), postponed_pivots=("pivots", "sum"))
    )
    out = weeks.join(waiting)
    out["choice_hours"] = done.reindex(out.index)
    filled = ["choice_hours", "postponed_hours", "postponed_pivots"]
    out[filled] = out[filled].astype(float).fillna(0.0)
    out["planned_hours"] = out[["mandatory_hours", "measure_hours", "choice_hours"]].sum(axis=1)
    out["free_hours"] = (out["bay_hours"] - out["planned_hours"]).clip(lower=0.0)
    out["shortage_hours"] = (out["mandatory_hours"] - out["bay_hours"]).clip(lower=0.0)
    whole = ["units", "postponed_pivots", "lines_without_hours"]
    out[whole] = out[whole].astype(np.int64)
    return out.reset_index()[list(HOURS_COLUMNS)]


def _hour_shortages(hours: pd.DataFrame) -> list[str]:
    short = hours[hours["shortage_hours"] > 0]
    return [
        f"{row.depot}, week of {row.week_start:%Y-%m-%d}: mandatory work needs "
        f"{row.mandatory_hours:.1f} bay hours and {row.bay_hours:.1f} are there, "
        f"{row.shortage_hours:.1f} too few. None of it may wait: find room elsewhere."
        for row in short.itertuples()
    ]


def _cash_shortages(budget: pd.DataFrame, currency: str) -> list[str]:
    short = budget[budget["cash"] > budget["budget"]]
    return [
        f"{month}: mandatory work costs {currency} {row['cash']:,.0f} and the month's budget is "
        f"{currency} {row['budget']:,.0f}, {row['cash'] - row['budget']:,.0f} too little. None of "
        "it may wait."
        for month, row in short.iterrows()
    ]
