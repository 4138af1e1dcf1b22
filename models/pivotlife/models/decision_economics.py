"""Wait or replace, measure or leave: the choice at a visit where no safety order stands.

Let V1 be the unit's next visit, V2 the one after, c1 and c2 the chances that the bushing is over
its limit by then. Waiting until V2 costs on average

    W = p_wear (late - planned) + p_sudden (road - planned),  p_wear = (c2 - c1) / (1 - c1),

the miles between are worth v = g (miles between), g being the long-run cost per mile of what would
be fitted; waits over more visits, and until a planned sale, are weighed likewise (`waiting`) and W
and v stand for the best of them. In this order:

1. no figures (miles, age, curve or price missing): measure;
2. W >= v: replace; but on the life curve alone, without any reading, never below the early miles
   nor at an unknown age: measure;
3. chance of being over now, or when the visit comes, at or above the alarm: replace if
   c2 (late - planned) >= v, with the same guard, else measure;
4. the last reading lies far above what the bushing's others say: measure, never leave;
5. no usable reading in the last measuring distance, counted to the visit: measure;
6. the choice differs between the ends of the chance's band and a reading is worth more than it
   costs: measure. Its worth is what the choice made on the middle would lose on average if the
   truth lay at either end with even odds;
7. else leave.

Not here: safety orders, sharing set-ups, budgets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.decision_costs import (
    CostItems,
    late_cost,
    late_cost_per_mile_over,
    planned_cost,
    road_cost,
)
from pivotlife.models.growth_table import JUDGED_BY_FINDINGS
from pivotlife.models.waiting import Outlook, Stakes, Waits, weigh_waits

#: Gaps beyond the visits looked at that a pivot's own renewal may lie ahead.
_FURTHEST_GAPS: Final = 30.0

#: Rule of each choice, in the order in which they are tried.
RULES: Final[tuple[tuple[str, str], ...]] = (
    ("no-estimate", "measure"),
    ("early-life", "measure"),
    ("waiting-costs-more", "replace"),
    ("chance-now", "replace"),
    ("chance-now-measure", "measure"),
    ("last-reading-doubted", "measure"),
    ("no-recent-reading", "measure"),
    ("uncertain", "measure"),
    ("waiting-costs-less", "leave"),
)


@dataclass(frozen=True)
class DecisionOptions:
    """What steers the choice besides prices.

    Attributes
    ----------
    early_miles : float, miles
        Below this age nothing is renewed on the life curve alone.
    chance_now_alarm : float
        Chance of being over now or at the visit at which a pivot is never left.
    measure_miles : mapping of duty to miles
        A pivot without a usable reading within this distance is measured.
    rates : mapping of (bushing type, duty) to currency per mile
        Long-run cost of a mile on what would be fitted.
    sudden_per_mile : mapping of bushing type to chance per mile
        Rate at which bushings break without warning.
    """

    early_miles: float = 60_000.0
    chance_now_alarm: float = 0.2
    measure_miles: Mapping[str, float] = field(default_factory=dict)
    rates: Mapping[tuple[str, str], float] = field(default_factory=dict)
    sudden_per_mile: Mapping[str, float] = field(default_factory=dict)


def wait_or_replace(
    chance_between: npt.ArrayLike,
    miles_between: npt.ArrayLike,
    planned_cost: npt.ArrayLike,
    late_cost: npt.ArrayLike,
    cost_per_mile: npt.ArrayLike,
) -> BoolArray:
    """Say where renewing at this visit is cheaper than waiting for the next.

    Parameters
    ----------
    chance_between : array_like of float
        Chance of passing the limit between the visits, given not over at the first.
    miles_between : array_like of float, miles
    planned_cost, late_cost : array_like of float, currency
        Cost of renewing now, and of finding it over at the next visit.
    cost_per_mile : array_like of float, currency per mile
        Long-run cost of a mile on what would be fitted.

    Returns
    -------
    ndarray of bool
        True = replace now: chance (late - planned) >= cost per mile x miles. False where a
        figure is missing.
    """
    chance = np.asarray(chance_between, dtype=float)
    extra = np.asarray(late_cost, dtype=float) - np.asarray(planned_cost, dtype=float)
    kept = np.asarray(cost_per_mile, dtype=float) * np.asarray(miles_between, dtype=float)
    return np.asarray(chance * extra >= kept, dtype=bool)


def chance_between(by_visit: npt.ArrayLike, by_next: npt.ArrayLike) -> FloatArray:
    """Chance of passing the limit between two visits, given not over at the first.

    (c2 - c1) / (1 - c1), within 0 and 1; 1 where the pivot is surely over already.
    """
    first = np.asarray(by_visit, dtype=float)
    second = np.asarray(by_next, dtype=float)
    left = 1.0 - first
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(left > 0, (second - first) / left, 1.0)
    ratio = np.where(np.isnan(first) | np.isnan(second), np.nan, ratio)
    return np.asarray(np.clip(ratio, 0.0, 1.0))


def choose(table: pd.DataFrame, costs: CostItems, options: DecisionOptions) -> pd.DataFrame:
    """Choose for every pivot as if no safety order stood.

    Parameters
    ----------
    table : DataFrame, one row per pivot
        bushing_type, duty, visit_miles, next_visit_miles, age_miles, age_known, readings_used,
        chance_over_now, chance_over_at_visit, chance_over_by_next_visit, chance_lower,
        chance_upper, last_reading_doubted, last_reading_miles, last_free_play_mm, fitted_miles,
        last_good_miles; optional chance_ahead_1 and on, holding_odometer_miles, miles_now,
        miles_until_due.
    costs : CostItems
    options : DecisionOptions

    Returns
    -------
    DataFrame, same index
        wait_cost, kept_value (currency; of the best wait), chance_between, visits_waited (0 =
        until the sale), gain (currency: worth less cost of waiting for its own renewal),
        miles_since_reading (at the visit; NaN = never), decision, rule.
    """
    money = _money(table, costs, options)
    since = _miles_since_reading(table)
    measure_miles = table["duty"].map(dict(options.measure_miles)).astype(float)
    replace = (money["wait_cost"] >= money["kept_value"]).to_numpy()
    over_by_then = table[["chance_over_now", "chance_over_at_visit"]].max(axis=1)
    alarm = (over_by_then >= options.chance_now_alarm).to_numpy()
    by_alarm = alarm & (money["cost_if_over"] >= money["first_kept"]).to_numpy()
    young = ~(table["age_miles"] >= options.early_miles) | ~table["age_known"].astype(bool)
    guarded = (young & (table["readings_used"] == 0)).to_numpy()
    unread = (since.isna() | (since > measure_miles) | measure_miles.isna()).to_numpy()
    doubted = np.zeros(len(table), dtype=bool)
    if "last_reading_doubted" in table:
        doubted = table["last_reading_doubted"].to_numpy(dtype=bool)
    known = money[["wait_cost", "kept_value"]].notna().all(axis=1)
    known &= table["chance_over_now"].notna()
    tests = (
        ~known.to_numpy(),
        (replace | by_alarm) & guarded,
        replace,
        by_alarm,
        alarm,
        doubted,
        unread,
        (money["worth_of_reading"] > costs.hours_measure * costs.shop_rate).to_numpy(),
    )
    which = np.select(tests, range(len(tests)), default=len(tests))
    rules, decisions = (np.array(column, dtype=object) for column in zip(*RULES, strict=True))
    out = money[["wait_cost", "kept_value", "chance_between", "visits_waited"]]
    # What must not be renewed on the life curve alone does not join a job on it either.
    gain = money["gain"].mask(guarded)
    return out.assign(
        gain=gain, miles_since_reading=since, decision=decisions[which], rule=rules[which]
    )


def _money(table: pd.DataFrame, costs: CostItems, options: DecisionOptions) -> pd.DataFrame:
    outlook, stakes = _outlook(table), _stakes(table, costs, options)
    waits = weigh_waits(outlook, stakes)
    cost, kept = waits.at_best()
    gap = outlook.miles[:, 1] - outlook.miles[:, 0]
    late_extra = stakes.late - stakes.planned + stakes.late_per_mile * gap / 2
    sudden = -np.expm1(-stakes.sudden_per_mile * gap) * (stakes.road - stakes.planned)
    by_next = table["chance_over_by_next_visit"]
    between = pd.Series(chance_between(table["chance_over_at_visit"], by_next), table.index)
    first = pd.Series(stakes.rate * gap, table.index)
    low, high = (
        _stretched(between, by_next, table[end]) * late_extra + sudden
        for end in ("chance_lower", "chance_upper")
    )
    is_sale = waits.best == waits.cost.shape[1] - 1
    worth = _worth(between * late_extra + sudden, low, high, first)
    return pd.DataFrame(
        {
            "wait_cost": cost,
            "kept_value": kept,
            "chance_between": between,
            "cost_if_over": by_next * late_extra,
            "first_kept": first,
            # What a reading would decide at the next visit is moot when a longer wait is best.
            "worth_of_reading": worth.where(waits.best == 0, 0.0),
            "visits_waited": np.where(is_sale, 0, waits.best + 1),
            "gain": _gain(table, outlook, stakes, waits),
        },
        index=table.index,
    )


def _outlook(table: pd.DataFrame) -> Outlook:
    """Chances and miles of the coming visits; later ones follow at the same distance."""
    ahead = sorted(name for name in table.columns if name.startswith("chance_ahead_"))
    names = ["chance_over_at_visit", "chance_over_by_next_visit", *ahead]
    first = table["visit_miles"].to_numpy(dtype=float)
    gap = table["next_visit_miles"].to_numpy(dtype=float) - first
    miles = first[:, None] + gap[:, None] * np.arange(len(names))
    sale = np.full(len(table), np.inf)
    if "holding_odometer_miles" in table:
        sale = table["holding_odometer_miles"].astype(float).fillna(np.inf).to_numpy()
    return Outlook(table[names].to_numpy(dtype=float), miles, sale)


def _stakes(table: pd.DataFrame, costs: CostItems, options: DecisionOptions) -> Stakes:
    kinds = [name for name in table["bushing_type"].unique() if name in costs.parts]

    def priced(price: Callable[[str], float]) -> FloatArray:
        found = table["bushing_type"].map({kind: price(kind) for kind in kinds})
        return found.to_numpy(dtype=float)

    sudden = table["bushing_type"].map(dict(options.sudden_per_mile)).astype(float).fillna(0.0)
    keys = zip(table["bushing_type"], table["duty"], strict=True)
    return Stakes(
        planned=priced(lambda kind: planned_cost(costs, kind)),
        late=priced(lambda kind: late_cost(costs, kind, 0.0)),
        road=priced(lambda kind: road_cost(costs, kind)),
        late_per_mile=np.full(len(table), late_cost_per_mile_over(costs)),
        sudden_per_mile=np.asarray(sudden, dtype=np.float64),
        rate=np.array([options.rates.get(key, np.nan) for key in keys], dtype=float),
    )


def _gain(table: pd.DataFrame, outlook: Outlook, stakes: Stakes, waits: Waits) -> FloatArray:
    """Worth less cost of the best wait; the longest one goes on until the pivot is due."""
    gain = waits.kept - waits.cost
    best = np.where(np.isnan(gain).any(axis=1), np.nan, gain.max(axis=1))
    last = gain.shape[1] - 2
    longest = np.argmax(np.where(np.isnan(gain), -np.inf, gain), axis=1) == last
    if "miles_until_due" not in table or "miles_now" not in table:
        # Nobody knows when its own renewal would come: it joins no job.
        return np.where(longest, np.nan, best)
    due = (table["miles_now"] + table["miles_until_due"]).to_numpy(dtype=float)
    end = np.minimum(due, outlook.sale_miles)
    # A chance that never reaches the due mark must not make the miles worth without end.
    most = _FURTHEST_GAPS * (outlook.miles[:, 1] - outlook.miles[:, 0])
    further = np.minimum(np.maximum(end - outlook.miles[:, -1], 0.0), most)
    return np.asarray(best + np.where(longest, stakes.rate * further, 0.0))


def _stretched(between: pd.Series, by_next: pd.Series, end: pd.Series) -> pd.Series:
    """Move the chance between the visits in the proportion in which the band moves c2."""
    ratio = (end / by_next.where(by_next > 0)).fillna(1.0)
    return (between * ratio).clip(0.0, 1.0)


def _worth(wait: pd.Series, low: pd.Series, high: pd.Series, kept: pd.Series) -> pd.Series:
    """Tell what the choice on the middle loses if either end is true; 0 where both agree."""
    unknowing = kept.where(wait >= kept, (low + high) / 2)
    knowing = (np.minimum(low, kept) + np.minimum(high, kept)) / 2
    differs = (low >= kept) != (high >= kept)
    return pd.Series(np.where(differs, unknowing - knowing, 0.0), wait.index)


def _miles_since_reading(table: pd.DataFrame) -> pd.Series:
    """Miles from the last usable reading to the visit; NaN where there is none.

    Usable is a play where play is judged, and a good finding where findings are.
    """
    by_finding = table["bushing_type"].isin(JUDGED_BY_FINDINGS)
    read = table["last_reading_miles"].astype(float)
    played = read.where(table["last_free_play_mm"].notna())
    good_age = table["last_good_miles"].astype(float)
    good = table["fitted_miles"].astype(float) + good_age.where(good_age > 0)
    found = good.where(table["fitted_miles"].notna(), read)
    return table["visit_miles"] - played.mask(by_finding, found)
