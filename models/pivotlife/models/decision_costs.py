"""What a bushing costs when its end is planned, found late, or happens on the road.

    planned = part + labour + share of the alignment + planned downtime
    road    = planned + roadside call + tow + downtime of a breakdown
    late    = planned + tyres worn while over the limit + extra downtime
              + chance of a breakdown before it is found x road

Every amount is a line of quantity x price that a page can show. Downtime is opportunity cost and
stands on lines of its own.

Not here: where prices come from, savings of several pivots in one job.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from pivotlife.models.errors import PivotlifeError


class CostError(PivotlifeError, ValueError):
    """A price or quantity that cannot be; the text names it."""


@dataclass(frozen=True)
class CostItems:
    """The figures behind the three costs, all in one currency.

    Attributes
    ----------
    currency : str
        Shown with every amount.
    parts : mapping of str to float, currency per pivot
        Price of what is fitted, by bushing type.
    hours_first_pivot, hours_same_shackle, hours_same_side, hours_measure : float, hours
        Labour: first pivot of a job; a further one on the same shackle; a further one on the same
        side; reading one pivot's play.
    shop_rate : float, currency per hour
    alignment, alignment_share : float
        Price of an alignment, and the part of it that one pivot's job bears.
    downtime_per_day : float, currency per day
    downtime_days_planned, downtime_days_late, downtime_days_roadside : float, days
    roadside, tow : float, currency per event
    tyre_pair : float, currency
    tyre_loss_per_mile_over : float, share of a tyre pair per mile
        What driving over the limit wears off the tyres.
    chance_roadside_when_over : float, 0 to 1
        Chance that a bushing over its limit breaks down before the next visit finds it.
    """

    currency: str
    parts: Mapping[str, float]
    hours_first_pivot: float
    hours_same_shackle: float
    hours_same_side: float
    shop_rate: float
    alignment: float
    downtime_per_day: float
    downtime_days_planned: float
    downtime_days_late: float
    downtime_days_roadside: float
    roadside: float
    tow: float
    tyre_pair: float
    tyre_loss_per_mile_over: float
    chance_roadside_when_over: float
    alignment_share: float = 1.0
    hours_measure: float = 0.25

    def __post_init__(self) -> None:
        figures = {f"parts.{name}": value for name, value in self.parts.items()}
        for field in fields(self):
            if field.name not in ("currency", "parts"):
                figures[field.name] = getattr(self, field.name)
        wrong = [f"{k} = {v!r}" for k, v in figures.items() if not (math.isfinite(v) and v >= 0)]
        if wrong:
            raise CostError(f"costs must be numbers of at least 0: {', '.join(wrong)}")
        if self.chance_roadside_when_over > 1:
            raise CostError(
                f"chance_roadside_when_over = {self.chance_roadside_when_over!r}: at most 1"
            )


@dataclass(frozen=True)
class CostLine:
    """One line of a cost: `quantity` of `unit` at `price` each makes `amount`."""

    outcome: str
    item: str
    quantity: float
    unit: str
    price: float

    @property
    def amount(self) -> float:
        """Quantity times price, in the currency of the items."""
        return self.quantity * self.price


def cost_lines(items: CostItems, bushing_type: str, miles_over: float) -> list[CostLine]:
    """Itemise the three costs of one pivot.

    Parameters
    ----------
    items : CostItems
    bushing_type : str
        Type that is fitted.
    miles_over : float, miles
        Distance driven over the limit before a late finding.

    Returns
    -------
    list of CostLine
        Outcome "planned", "late" or "road"; a cost is the sum of its outcome's amounts.

    Raises
    ------
    CostError
        When the type has no part price.
    """
    planned = _planned_lines(items, bushing_type)
    lines = [CostLine("planned", *line) for line in planned]
    road = [*planned, *_road_extra(items)]
    lines += [CostLine("road", *line) for line in road]
    late = [*planned, *_late_extra(items, miles_over)]
    lines += [CostLine("late", *line) for line in late]
    breakdown = sum(quantity * price for _, quantity, _, price in road)
    chance = items.chance_roadside_when_over
    lines.append(CostLine("late", "breakdown before it is found", chance, "chance", breakdown))
    return lines


def planned_cost(items: CostItems, bushing_type: str) -> float:
    """Cost of renewing one pivot at a planned visit, in the currency of the items."""
    return _total(items, bushing_type, 0.0, "planned")


def late_cost(items: CostItems, bushing_type: str, miles_over: float) -> float:
    """Cost of one pivot found over its limit after `miles_over` miles in that state."""
    return _total(items, bushing_type, miles_over, "late")


def road_cost(items: CostItems, bushing_type: str) -> float:
    """Cost of one pivot that fails on the road."""
    return _total(items, bushing_type, 0.0, "road")


def late_cost_per_mile_over(items: CostItems) -> float:
    """Tyre cost of each mile over the limit; what makes the late cost depend on the gap."""
    return items.tyre_loss_per_mile_over * items.tyre_pair


def _total(items: CostItems, bushing_type: str, miles_over: float, outcome: str) -> float:
    lines = cost_lines(items, bushing_type, miles_over)
    return sum(line.amount for line in lines if line.outcome == outcome)


_Line = tuple[str, float, str, float]


def _planned_lines(items: CostItems, bushing_type: str) -> list[_Line]:
    if bushing_type not in items.parts:
        known = ", ".join(sorted(items.parts))
        raise CostError(f"no part price for {bushing_type!r}; prices exist for {known}")
    return [
        (f"part, {bushing_type}", 1.0, "kit", items.parts[bushing_type]),
        ("labour, first pivot", items.hours_first_pivot, "hours", items.shop_rate),
        ("alignment", items.alignment_share, "share", items.alignment),
        ("downtime, planned", items.downtime_days_planned, "days", items.downtime_per_day),
    ]


def _late_extra(items: CostItems, miles_over: float) -> list[_Line]:
    worn = items.tyre_loss_per_mile_over * miles_over
    longer = items.downtime_days_late - items.downtime_days_planned
    return [
        ("tyres worn over the limit", worn, "pairs", items.tyre_pair),
        ("downtime, longer when late", longer, "days", items.downtime_per_day),
    ]


def _road_extra(items: CostItems) -> list[_Line]:
    return [
        ("roadside call", 1.0, "event", items.roadside),
        ("tow", 1.0, "event", items.tow),
        ("downtime, roadside", items.downtime_days_roadside, "days", items.downtime_per_day),
    ]
