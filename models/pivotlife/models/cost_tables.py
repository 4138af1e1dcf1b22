"""Tables of lifetime cost: quantities by year with their price, counts, and one row a type.

Amounts by year are means over the drawn trucks; an amount's spread is that of a whole truck over
all its years, because good and bad years of one truck belong together. `avoided` is what a type
does not cost on that line compared with the type that most pivots of the duty carry today.

Not here: what would turn a comparison round (`cost_break_even`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.cash_flows import discount_factors, price_factors, yearly_payment
from pivotlife.models.cost_lines import (
    CASH,
    COST_LINES,
    COUNTS,
    DOWNTIME,
    CostLine,
    line_price,
    line_weights,
)
from pivotlife.models.lifetime_cost import DutyCost, Money, lube_visits

LIFETIME_COLUMNS: Final = (
    *("bushing_type", "duty", "year", "quantity", "unit", "p10", "p50", "p90", "mean", "price"),
    *("discount", "cash", "downtime", "avoided"),
)
COUNT_COLUMNS: Final = ("bushing_type", "duty", "year", "count", "mean")
TYPE_COLUMNS: Final = (
    *("bushing_type", "duty", "reference_type", "trucks_drawn", "holding_miles", "years"),
    *("cash", "cash_p10", "cash_p50", "cash_p90", "downtime", "downtime_p10", "downtime_p90"),
    *("cash_per_year", "parts_per_1000", "labour_per_1000", "lube_per_1000", "other_per_1000"),
    *("downtime_per_1000", "cash_saved", "downtime_saved", "saving", "saving_p10"),
    *("saving_p90", "chance_cheaper", "chance_cheaper_one_truck", "payback_year", "policy"),
    "note",
)
_SHARES: Final = {
    "parts_per_1000": ("kits",),
    "labour_per_1000": ("labour hours", "conversions"),
    "lube_per_1000": ("lube visits",),
    "other_per_1000": ("alignments", "tyre pairs", "roadside events", "tows"),
    "downtime_per_1000": ("downtime days",),
}
_QUANTILES: Final = (0.1, 0.5, 0.9)


def lifetime_table(costs: Iterable[DutyCost], money: Money) -> pd.DataFrame:
    """List every quantity of every type, duty and year with its price.

    Parameters
    ----------
    costs : iterable of DutyCost
    money : Money

    Returns
    -------
    DataFrame
        `LIFETIME_COLUMNS`, for one truck with one steer axle of six pivots. price is that of the
        year; cash or downtime = mean x price x discount; avoided = the reference type's amount on
        the same line less this one's.
    """
    blocks = [_lifetime_block(cost, number, money) for cost in costs for number in _order(cost)]
    table = pd.DataFrame([row for block in blocks for row in block])
    if table.empty:
        return pd.DataFrame(columns=list(LIFETIME_COLUMNS))
    return table[list(LIFETIME_COLUMNS)]


def counts_table(costs: Iterable[DutyCost]) -> pd.DataFrame:
    """List the mean counts by type, duty and year: what a changed price is multiplied with."""
    rows = [
        (kind, cost.work.duty, year, count, float(mean))
        for cost in costs
        for kind, by_year in zip(cost.types, cost.counts.mean(axis=1), strict=True)
        for year, means in enumerate(by_year)
        for count, mean in zip(COUNTS, means, strict=True)
    ]
    return pd.DataFrame(rows, columns=list(COUNT_COLUMNS))


def types_table(costs: Iterable[DutyCost], money: Money) -> pd.DataFrame:
    """Compare the types of each duty, one row each (`TYPE_COLUMNS`), discounted currency.

    Returns
    -------
    DataFrame
        saving = cash and downtime of the reference type less those of this one, on trucks with
        the same luck. chance_cheaper: on the average truck, over the lives that the records
        allow; chance_cheaper_one_truck: on a single truck, luck included. payback_year: the year
        from which the sum so far stays below the reference's, NaN where it never does. The
        amounts per 1,000 miles are worth today.
    """
    rows = [_type_row(cost, number, money) for cost in costs for number in _order(cost)]
    return pd.DataFrame(rows, columns=list(TYPE_COLUMNS))


def reference_place(cost: DutyCost) -> int:
    """Place of the reference type among the types of a duty."""
    return cost.types.index(cost.work.reference_type)


def _order(cost: DutyCost) -> list[int]:
    """Places of the types, the reference first."""
    first = reference_place(cost)
    return [first, *(place for place in range(len(cost.types)) if place != first)]


def _lifetime_block(cost: DutyCost, place: int, money: Money) -> list[dict[str, object]]:
    years = cost.work.years
    kind, usual = cost.types[place], cost.types[reference_place(cost)]
    growth = price_factors(money.price_escalation, years)
    discount = discount_factors(money.discount_rate, years)
    rows: list[dict[str, object]] = []
    for line in COST_LINES:
        taken = cost.counts[place] @ line_weights(line, money.figures, kind)
        spread = np.quantile(taken, _QUANTILES, axis=0)
        price = line_price(line, money.figures, kind) * growth
        amount = taken.mean(axis=0) * price * discount
        other = _mean_amount(cost, line, usual, money) * growth * discount
        rows += [
            {
                "bushing_type": kind,
                "duty": cost.work.duty,
                "year": year,
                "quantity": line.quantity,
                "unit": line.unit,
                **dict(zip(("p10", "p50", "p90"), spread[:, year], strict=True)),
                "mean": float(taken[:, year].mean()),
                "price": float(price[year]),
                "discount": float(discount[year]),
                "cash": float(amount[year]) if line.kind == CASH else 0.0,
                "downtime": float(amount[year]) if line.kind == DOWNTIME else 0.0,
                "avoided": float(other[year] - amount[year]),
            }
            for year in range(years + 1)
        ]
    return rows


def _mean_amount(cost: DutyCost, line: CostLine, kind: str, money: Money) -> FloatArray:
    """Mean amount of a line by year at today's price, shape (years + 1,)."""
    counts = cost.counts[cost.types.index(kind)].mean(axis=0)
    weights = line_weights(line, money.figures, kind)
    return np.asarray(counts @ weights * line_price(line, money.figures, kind))


def _type_row(cost: DutyCost, place: int, money: Money) -> dict[str, object]:
    work, kind, usual = cost.work, cost.types[place], reference_place(cost)
    cash, downtime = cost.amounts(money, CASH), cost.amounts(money, DOWNTIME)
    saved = (cash + downtime)[usual] - (cash + downtime)[place]
    by_draw = saved.reshape(cost.draws, -1).mean(axis=1)
    is_usual = place == usual
    life = cost.lives[place]
    return {
        "bushing_type": kind,
        "duty": work.duty,
        "reference_type": work.reference_type,
        "trucks_drawn": cost.counts.shape[1],
        "holding_miles": work.horizon_miles,
        "years": work.years,
        **_spread("cash", cash[place], _QUANTILES),
        **_spread("downtime", downtime[place], (0.1, 0.9)),
        "cash_per_year": yearly_payment(
            float(cash[place].mean()),
            money.discount_rate,
            work.horizon_miles / work.annual_miles,
        ),
        **_per_1000(cost, place, money),
        "cash_saved": float((cash[usual] - cash[place]).mean()),
        "downtime_saved": float((downtime[usual] - downtime[place]).mean()),
        **_spread("saving", saved, (0.1, 0.9)),
        "chance_cheaper": float("nan") if is_usual else float((by_draw > 0).mean()),
        "chance_cheaper_one_truck": float("nan") if is_usual else float((saved > 0).mean()),
        "payback_year": float("nan") if is_usual else payback_year(cost, place, money),
        "policy": cost.policies[place].told(life.play is not None),
        "note": life.note,
    }


def _spread(name: str, values: FloatArray, at: tuple[float, ...]) -> dict[str, float]:
    ends = {f"{name}_p{share * 100:.0f}": float(np.quantile(values, share)) for share in at}
    return {name: float(values.mean()), **ends}


def _per_1000(cost: DutyCost, place: int, money: Money) -> dict[str, float]:
    factors = money.factors(cost.work.years)
    lines = {line.quantity: line for line in COST_LINES}
    kind = cost.types[place]
    return {
        name: 1000.0
        * sum(float(_mean_amount(cost, lines[q], kind, money) @ factors) for q in quantities)
        / cost.work.horizon_miles
        for name, quantities in _SHARES.items()
    }


def payback_year(cost: DutyCost, place: int, money: Money) -> float:
    """Year from which a type's cost so far stays below the reference type's; NaN for never."""
    factors = money.factors(cost.work.years)
    gained = np.zeros(cost.work.years + 1)
    for line in COST_LINES:
        for sign, kind in ((1.0, cost.work.reference_type), (-1.0, cost.types[place])):
            gained += sign * _mean_amount(cost, line, kind, money)
    behind = np.flatnonzero(np.cumsum(gained * factors) <= 0)
    first = 0 if not len(behind) else int(behind[-1]) + 1
    return float(first) if first <= cost.work.years else float("nan")


def assumptions_table(
    costs: Iterable[DutyCost], money: Money, origin: Mapping[str, str]
) -> pd.DataFrame:
    """List what the lifetime cost rests on besides prices: duty, key, value, unit, source.

    Parameters
    ----------
    costs : iterable of DutyCost
    money : Money
    origin : mapping of key to str
        Where each figure comes from.
    """
    rows: list[tuple[str, str, float, str]] = [
        ("all", "discount_rate", money.discount_rate, "per year"),
        ("all", "price_escalation", money.price_escalation, "per year"),
    ]
    for cost in costs:
        work = cost.work
        extra = max(float(lube_visits(work, life)[1:].sum()) for life in cost.lives)
        rows += [
            (work.duty, "holding_miles", work.horizon_miles, "miles"),
            (work.duty, "annual_miles", work.annual_miles, "miles per year"),
            (work.duty, "service_interval", work.gap_miles, "miles"),
            (work.duty, "lube_interval", work.lube_miles, "miles"),
            (work.duty, "lube_compliance", work.compliance, "share of services done"),
            (work.duty, "extra_lube_visits", extra, "visits while held, types that take grease"),
            (work.duty, "trucks", float(work.trucks), "units in the fleet"),
            (work.duty, "likeness_within_truck", cost.lives[0].likeness, "0 unlike, 1 the same"),
        ]
    table = pd.DataFrame(rows, columns=["duty", "key", "value", "unit"])
    return table.assign(source=table["key"].map(dict(origin)).fillna(""))
