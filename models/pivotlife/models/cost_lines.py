"""From what happened to what it costs: counts, quantities, prices, in one list for everybody.

A simulated truck leaves counts: kits, sides opened, bushings found late, miles over the limit. A
quantity is a sum of counts times figures (hours per side, days per job), an amount is quantity x
price. Page, workbook and command line all read `COST_LINES`, so that they agree to the cent, and a
changed price is exact arithmetic on the same counts.

Figures are named by their keys in the price list: `shop_rate`, `parts.threaded`,
`hours.first_pivot`. Downtime is opportunity cost: a kind of its own, never part of cash.

Not here: years and discounts (`cash_flows`), where counts come from (`truck_miles`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from pivotlife.models.arrays import FloatArray
from pivotlife.models.decision_costs import CostError

#: What a simulated truck leaves, in the order of every array of counts.
COUNTS: Final = (
    "kits",
    "sides_opened",
    "further_on_shackle",
    "further_on_side",
    "conversions",
    "lube_visits",
    "jobs_as_planned",
    "jobs_found_late",
    "late_finds",
    "miles_over",
    "breaks",
)

CASH: Final = "cash"
DOWNTIME: Final = "downtime"
ONLY_COUNTED: Final = "counted only"


@dataclass(frozen=True)
class Term:
    """A count times figures, as one part of a quantity."""

    count: str
    figures: tuple[str, ...] = ()


@dataclass(frozen=True)
class CostLine:
    """A physical quantity and the figures whose product is its price.

    `{type}` in a figure stands for the bushing type that is fitted.
    """

    quantity: str
    unit: str
    terms: tuple[Term, ...]
    price: tuple[str, ...]
    kind: str = CASH


_ROADSIDE: Final = (Term("breaks"), Term("late_finds", ("chance_roadside_when_over",)))

COST_LINES: Final = (
    CostLine("kits", "kits", (Term("kits"),), ("parts.{type}",)),
    CostLine(
        "labour hours",
        "hours",
        (
            Term("sides_opened", ("hours.first_pivot",)),
            Term("further_on_shackle", ("hours.same_shackle",)),
            Term("further_on_side", ("hours.same_side",)),
        ),
        ("shop_rate",),
    ),
    CostLine("conversions", "pivots", (Term("conversions"),), ("hours.conversion", "shop_rate")),
    CostLine("lube visits", "visits", (Term("lube_visits"),), ("hours.lube_visit", "shop_rate")),
    CostLine(
        "alignments", "axles", (Term("jobs_as_planned"), Term("jobs_found_late")), ("alignment",)
    ),
    CostLine(
        "tyre pairs", "pairs", (Term("miles_over", ("tyre_loss_per_mile_over",)),), ("tyre_pair",)
    ),
    CostLine("roadside events", "events", _ROADSIDE, ("roadside",)),
    CostLine("tows", "events", _ROADSIDE, ("tow",)),
    CostLine("late finds", "pivots", (Term("late_finds"),), (), ONLY_COUNTED),
    CostLine(
        "downtime days",
        "days",
        (
            Term("jobs_as_planned", ("downtime_days.planned",)),
            Term("jobs_found_late", ("downtime_days.late",)),
            Term("breaks", ("downtime_days.roadside",)),
            Term("late_finds", ("chance_roadside_when_over", "downtime_days.roadside")),
        ),
        ("downtime_per_day",),
        DOWNTIME,
    ),
)

#: What an end costs that nobody planned, beyond the job itself: tyres, breakdown, longer downtime.
_UNPLANNED: Final = ("tyre pairs", "roadside events", "tows")


def figure(figures: Mapping[str, float], key: str, bushing_type: str) -> float:
    """Look a figure up by its key, `{type}` standing for the bushing type.

    Raises
    ------
    CostError
        When no such figure is given.
    """
    name = key.replace("{type}", bushing_type)
    if name not in figures:
        raise CostError(f"no figure for {name!r} among the {len(figures)} prices")
    return float(figures[name])


def line_price(line: CostLine, figures: Mapping[str, float], bushing_type: str) -> float:
    """Price of one unit of a line's quantity, currency; 0 where it is only counted."""
    if line.kind == ONLY_COUNTED:
        return 0.0
    return float(np.prod([figure(figures, key, bushing_type) for key in line.price]))


def line_weights(line: CostLine, figures: Mapping[str, float], bushing_type: str) -> FloatArray:
    """Say what each count adds to a line's quantity, shape (n_counts,) in the order of `COUNTS`."""
    weights = np.zeros(len(COUNTS))
    for term in line.terms:
        factors = [figure(figures, key, bushing_type) for key in term.figures]
        weights[COUNTS.index(term.count)] += np.prod(factors) if factors else 1.0
    return weights


def unit_amounts(figures: Mapping[str, float], bushing_type: str, kind: str) -> FloatArray:
    """Amount that one of each count brings, currency, shape (n_counts,).

    Parameters
    ----------
    figures : mapping of figure key to number
    bushing_type : str
        Type that is fitted.
    kind : str
        `CASH` or `DOWNTIME`.
    """
    amounts = np.zeros(len(COUNTS))
    for line in COST_LINES:
        if line.kind == kind:
            price = line_price(line, figures, bushing_type)
            amounts += price * line_weights(line, figures, bushing_type)
    return amounts


def unplanned_amounts(figures: Mapping[str, float], bushing_type: str) -> FloatArray:
    """Part of the amounts that an end nobody planned adds, currency, shape (n_counts,).

    Tyres worn over the limit, roadside calls, tows, and downtime beyond that of a planned job:
    what "late" and "roadside" cost more than "planned".
    """
    amounts = np.zeros(len(COUNTS))
    for line in COST_LINES:
        if line.quantity in _UNPLANNED:
            price = line_price(line, figures, bushing_type)
            amounts += price * line_weights(line, figures, bushing_type)
        if line.kind == DOWNTIME:
            weights = line_weights(line, figures, bushing_type)
            planned = weights[COUNTS.index("jobs_as_planned")]
            weights[COUNTS.index("jobs_as_planned")] = 0.0
            weights[COUNTS.index("jobs_found_late")] -= planned
            amounts += line_price(line, figures, bushing_type) * weights
    return amounts
