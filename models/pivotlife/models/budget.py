"""What the work ahead costs, by month and depot, with bands: quantities times prices.

Every renewal drawn (`demand_rounds`) brings its kit; every job the hours of its sides, set-ups
shared as on the shortlist, one alignment for each axle opened and the days off the road; a bushing
found over its limit the tyres it wore, a longer stay and the chance of a breakdown before it was
found; one that broke on the road the call and the tow. Cash and downtime are never added.

Amounts of a month are added up in each draw; expected is the mean over draws, P10 to P90 the
quantiles. Bands do not add up over months or depots: sums have rows of their own.

Not here: what is renewed, and what records say was spent (`spend_check`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.demand_months import Months
from pivotlife.models.demand_rounds import FOUND_OVER, ON_ROAD, SHORTLIST, Renewals

BUDGET_COLUMNS: Final = (
    *("month", "depot", "item", "unit", "expected", "p10", "p50", "p90", "from_shortlist"),
)
#: Items of the budget and their unit; "" = the currency.
ITEMS: Final[dict[str, str]] = {
    "jobs": "visits",
    "kits": "kits",
    "labour_hours": "hours",
    "parts": "",
    "labour": "",
    "alignment": "",
    "roadside": "",
    "tyres": "",
    "cash": "",
    "parts_and_labour": "",
    "downtime_days": "days",
    "downtime": "",
}
_CASH: Final = ("parts", "labour", "alignment", "roadside", "tyres")
ALL_DEPOTS: Final = "all"
_LEVELS: Final = (0.1, 0.5, 0.9)


def budget_table(
    renewals: Renewals, pivots: pd.DataFrame, costs: CostItems, months: Months
) -> pd.DataFrame:
    """Add up what the renewals cost.

    Parameters
    ----------
    renewals : Renewals
    pivots : DataFrame
        The table that the renewals speak of: unit_id, depot, axle, side, node, bushing_type.
    costs : CostItems
        Prices in one currency.
    months : Months

    Returns
    -------
    DataFrame
        `BUDGET_COLUMNS`: each month, then "12 months" and the whole span ("24 months"), by depot
        and for all depots. from_shortlist is the part of the expected amount that the shortlist's
        work costs by itself.
    """
    amounts = renewal_amounts(renewals, pivots, costs)
    # The list's part is what its work costs by itself: whoever joins it opens nothing of its own.
    listed = renewals.cause == SHORTLIST
    alone = renewal_amounts(_only(renewals, listed), pivots, costs)
    month = months.of_days(renewals.day)
    depot, depots = pd.factorize(pivots["depot"].astype(str), sort=True)
    shape = (len(months.names) + 1, len(depots), renewals.draws)
    key = np.ravel_multi_index((month, depot[renewals.pivot], renewals.draw), shape)
    parts = []
    for item, unit in ITEMS.items():
        drawn = _summed(key, amounts[item], shape)
        of_list = _summed(key[listed], alone[item], shape).mean(axis=2)
        part = _rows(drawn, of_list, months.names, list(depots))
        parts.append(part.assign(item=item, unit=unit or costs.currency))
    table = pd.concat(parts, ignore_index=True)
    return table.sort_values(["month_place", "depot_place"], kind="stable", ignore_index=True)[
        list(BUDGET_COLUMNS)
    ]


def _only(renewals: Renewals, kept: BoolArray) -> Renewals:
    """Keep some of the renewals."""
    of_each = ("pivot", "draw", "day", "visit", "cause", "miles_over")
    return replace(renewals, **{name: getattr(renewals, name)[kept] for name in of_each})


def _summed(key: IntArray, amounts: FloatArray, shape: tuple[int, int, int]) -> FloatArray:
    """Sum amounts by month, depot and draw; what lies beyond the last month is left out."""
    sums = np.bincount(key, amounts, int(np.prod(shape))).reshape(shape)[:-1]
    return np.asarray(sums, dtype=np.float64)


def _rows(
    drawn: FloatArray, listed: FloatArray, months: tuple[str, ...], depots: list[str]
) -> pd.DataFrame:
    """Rows of one item: months and sums of months, depots and all of them."""
    spans = sorted({min(12, len(months)), len(months)})
    names = [*months, *(f"{span} months" for span in spans)]

    def with_sums(values: FloatArray) -> FloatArray:
        sums = [values[:span].sum(axis=0) for span in spans]
        longer = np.concatenate([values, np.stack(sums)])
        return np.concatenate([longer, longer.sum(axis=1, keepdims=True)], axis=1)

    whole, of_list = with_sums(drawn), with_sums(listed)
    quantiles = np.quantile(whole, _LEVELS, axis=2)
    count = len(depots) + 1
    return pd.DataFrame(
        {
            "month": np.repeat(names, count),
            "depot": np.tile([*depots, ALL_DEPOTS], len(names)),
            "expected": whole.mean(axis=2).ravel(),
            "p10": quantiles[0].ravel(),
            "p50": quantiles[1].ravel(),
            "p90": quantiles[2].ravel(),
            "from_shortlist": of_list.ravel(),
            "month_place": np.repeat(np.arange(len(names)), count),
            "depot_place": np.tile(np.arange(count), len(names)),
        }
    )


def renewal_amounts(
    renewals: Renewals, pivots: pd.DataFrame, costs: CostItems
) -> dict[str, FloatArray]:
    """Give every renewal its amounts; those of a whole job stand at its first renewal.

    Returns
    -------
    dict of item to ndarray, shape (m,)
        The items of `ITEMS`; hours, days, kits, visits, else the currency.
    """
    job, is_first = _jobs(renewals, pivots)
    late, road = renewals.cause == FOUND_OVER, renewals.cause == ON_ROAD
    found: dict[str, FloatArray] = {
        "jobs": is_first.astype(float),
        "kits": np.ones(len(job)),
        "labour_hours": _hours(job, renewals.pivot, pivots, costs),
        "alignment": _opened(job, renewals.pivot, pivots) * costs.alignment,
    }
    price = np.asarray(pivots["bushing_type"].map(dict(costs.parts)).fillna(0.0), dtype=np.float64)
    found["parts"] = price[renewals.pivot]
    found["labour"] = found["labour_hours"] * costs.shop_rate
    breakdown = road + late * costs.chance_roadside_when_over
    found["roadside"] = breakdown * (costs.roadside + costs.tow)
    found["tyres"] = renewals.miles_over * costs.tyre_loss_per_mile_over * costs.tyre_pair
    found["cash"] = np.asarray(sum(found[name] for name in _CASH), dtype=np.float64)
    found["parts_and_labour"] = found["parts"] + found["labour"]
    some_late = np.zeros(int(job.max(initial=-1)) + 1, dtype=bool)
    some_late[job[late]] = True
    longer = (costs.downtime_days_late - costs.downtime_days_planned) * some_late[job]
    days = is_first * (costs.downtime_days_planned + longer)
    found["downtime_days"] = days + breakdown * costs.downtime_days_roadside
    found["downtime"] = found["downtime_days"] * costs.downtime_per_day
    return found


def _jobs(renewals: Renewals, pivots: pd.DataFrame) -> tuple[IntArray, BoolArray]:
    """Return the job of each renewal, and mark the renewal that speaks for its job."""
    unit = pd.factorize(pivots["unit_id"])[0][renewals.pivot]
    visit = renewals.visit - renewals.visit.min(initial=0)
    span = int(visit.max(initial=0)) + 1
    job = np.unique((unit * renewals.draws + renewals.draw) * span + visit, return_inverse=True)[1]
    order = np.lexsort((renewals.pivot, renewals.cause, job))
    first = np.zeros(len(job), dtype=bool)
    first[order[np.diff(job[order], prepend=-1) > 0]] = True
    return np.asarray(job, dtype=np.int64), first


def _hours(job: IntArray, pivot: IntArray, pivots: pd.DataFrame, costs: CostItems) -> FloatArray:
    """Hours of each renewal: the first on a side opens it, the others cost the increments."""
    side = _codes(pivots, ["unit_id", "axle", "side"])[pivot]
    is_shackle = pivots["node"].astype(str).str.startswith("shackle").to_numpy()[pivot]
    key = job * (int(side.max(initial=0)) + 1) + side
    order = np.lexsort((pivot, ~is_shackle, key))
    opens = np.diff(key[order], prepend=-1) != 0
    hours = np.where(is_shackle[order], costs.hours_same_shackle, costs.hours_same_side)
    out = np.empty(len(job))
    out[order] = np.where(opens, costs.hours_first_pivot, hours)
    return out


def _opened(job: IntArray, pivot: IntArray, pivots: pd.DataFrame) -> FloatArray:
    """1 at the first renewal of each axle in each job, else 0."""
    axle = _codes(pivots, ["unit_id", "axle"])[pivot]
    key = job * (int(axle.max(initial=0)) + 1) + axle
    first = np.zeros(len(job))
    first[np.unique(key, return_index=True)[1]] = 1.0
    return first


def _codes(pivots: pd.DataFrame, keys: list[str]) -> IntArray:
    return np.asarray(pivots.groupby(keys, sort=False).ngroup(), dtype=np.int64)


def total(
    table: pd.DataFrame, item: str, month: str, depot: str = ALL_DEPOTS
) -> Mapping[str, float]:
    """Pick one row of a budget as a mapping of column to number; empty when it is not there."""
    row = table[(table["item"] == item) & (table["month"] == month) & (table["depot"] == depot)]
    names = ("expected", "p10", "p50", "p90", "from_shortlist")
    return {name: float(row.iloc[0][name]) for name in names} if len(row) else {}
