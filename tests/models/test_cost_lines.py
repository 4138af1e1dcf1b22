"""Counts times figures, held against the three costs that decisions use."""

from __future__ import annotations

import numpy as np
import pytest

from cost_lives import FIGURES, MONEY
from pivotlife.models.cost_break_even import with_late_times
from pivotlife.models.cost_lines import (
    CASH,
    COST_LINES,
    COUNTS,
    DOWNTIME,
    line_weights,
    unit_amounts,
    unplanned_amounts,
)
from pivotlife.models.decision_costs import CostError, CostItems, late_cost, planned_cost, road_cost

ITEMS = CostItems(
    currency="USD",
    parts={"threaded": 60.0, "roller": 200.0},
    hours_first_pivot=2.0,
    hours_same_shackle=0.5,
    hours_same_side=1.0,
    shop_rate=100.0,
    alignment=240.0,
    downtime_per_day=500.0,
    downtime_days_planned=0.2,
    downtime_days_late=0.8,
    downtime_days_roadside=2.0,
    roadside=500.0,
    tow=1_500.0,
    tyre_pair=1_000.0,
    tyre_loss_per_mile_over=2e-6,
    chance_roadside_when_over=0.1,
)


def both(kind: str, **counts: float) -> float:
    """Cash and downtime of some counts."""
    given = np.array([counts.get(name, 0.0) for name in COUNTS])
    return float(
        given @ (unit_amounts(FIGURES, kind, CASH) + unit_amounts(FIGURES, kind, DOWNTIME))
    )


def test_one_planned_pivot_costs_what_decisions_take() -> None:
    alone = both("roller", kits=1, sides_opened=1, jobs_as_planned=1)
    assert alone == pytest.approx(planned_cost(ITEMS, "roller"))


def test_a_break_costs_what_decisions_take() -> None:
    broke = both("threaded", kits=1, sides_opened=1, jobs_as_planned=1, breaks=1)
    assert broke == pytest.approx(road_cost(ITEMS, "threaded"))


def test_a_late_find_is_not_paid_twice() -> None:
    """The decision's late cost counts the job again with the chance of a breakdown; here once."""
    late = both(
        "threaded", kits=1, sides_opened=1, jobs_found_late=1, late_finds=1, miles_over=10_000.0
    )
    again = 0.1 * planned_cost(ITEMS, "threaded")
    assert late == pytest.approx(late_cost(ITEMS, "threaded", 10_000.0) - again)


def test_six_pivots_share_two_set_ups() -> None:
    cash = np.array([{"kits": 6, "sides_opened": 2}.get(name, 0.0) for name in COUNTS])
    cash += np.array([{"further_on_shackle": 2, "further_on_side": 2}.get(n, 0.0) for n in COUNTS])
    amount = float(cash @ unit_amounts(FIGURES, "rubber-bonded", CASH))
    assert amount == pytest.approx(6 * 40.0 + (2 * 2.0 + 2 * 0.5 + 2 * 1.0) * 100.0)


def test_grease_and_conversions_are_labour() -> None:
    assert both("threaded", lube_visits=4) == pytest.approx(4 * 0.5 * 100.0)
    assert both("roller", conversions=6) == pytest.approx(6 * 0.75 * 100.0)


def test_late_finds_alone_are_counted_and_not_priced() -> None:
    line = next(line for line in COST_LINES if line.quantity == "late finds")
    assert line_weights(line, FIGURES, "roller")[COUNTS.index("late_finds")] == 1.0
    assert line.price == ()


@pytest.mark.parametrize("times", [0.0, 0.5, 3.0])
def test_dearer_late_ends_add_exactly_their_part(times: float) -> None:
    """amount(times) = amount + (times - 1) x the unplanned part, for any counts."""
    counts = np.random.default_rng(2).uniform(0, 9, len(COUNTS))
    dearer = with_late_times(MONEY, times).figures

    def amount(figures: dict[str, float]) -> float:
        return float(
            counts
            @ (unit_amounts(figures, "roller", CASH) + unit_amounts(figures, "roller", DOWNTIME))
        )

    part = float(counts @ unplanned_amounts(FIGURES, "roller"))
    assert amount(dearer) == pytest.approx(amount(FIGURES) + (times - 1.0) * part)


def test_a_missing_figure_is_named() -> None:
    with pytest.raises(CostError, match=r"no figure for 'parts\.bronze' among the 19 prices"):
        unit_amounts(FIGURES, "bronze", CASH)
