"""The three costs, line by line and by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pivotlife.models.decision_costs import (
    CostError,
    CostItems,
    cost_lines,
    late_cost,
    late_cost_per_mile_over,
    planned_cost,
    road_cost,
)

#: Round invented figures that can be added up by hand.
COSTS = CostItems(
    currency="USD",
    parts={"threaded": 60.0, "roller": 200.0},
    hours_first_pivot=2.0,
    hours_same_shackle=0.5,
    hours_same_side=1.0,
    shop_rate=100.0,
    alignment=240.0,
    alignment_share=0.5,
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


def test_costs_by_hand() -> None:
    # 60 + 2 x 100 + 0.5 x 240 + 0.2 x 500
    assert planned_cost(COSTS, "threaded") == pytest.approx(480.0)
    # + 500 + 1500 + 2 x 500
    assert road_cost(COSTS, "threaded") == pytest.approx(3_480.0)
    # 480 + 2e-6 x 10,000 x 1000 + 0.6 x 500 + 0.1 x 3480
    assert late_cost(COSTS, "threaded", 10_000.0) == pytest.approx(480 + 20 + 300 + 348)
    assert planned_cost(COSTS, "roller") == pytest.approx(620.0)


def test_each_mile_over_costs_its_tyres() -> None:
    slope = late_cost(COSTS, "roller", 1_001.0) - late_cost(COSTS, "roller", 1_000.0)
    assert slope == pytest.approx(late_cost_per_mile_over(COSTS))


def test_lines_add_up_and_name_what_they_are() -> None:
    lines = cost_lines(COSTS, "threaded", 10_000.0)
    assert sum(x.amount for x in lines if x.outcome == "late") == pytest.approx(1_148.0)
    assert {x.outcome for x in lines} == {"planned", "late", "road"}
    assert [x.item for x in lines if x.outcome == "planned"] == [
        "part, threaded",
        "labour, first pivot",
        "alignment",
        "downtime, planned",
    ]
    breakdown = next(x for x in lines if x.item.startswith("breakdown"))
    assert breakdown.quantity == 0.1
    assert breakdown.price == pytest.approx(3_480.0)


def test_a_type_without_price_is_named() -> None:
    with pytest.raises(CostError, match="no part price for 'rubber-bonded'; prices exist for"):
        planned_cost(COSTS, "rubber-bonded")


def test_impossible_figures_are_named_together() -> None:
    with pytest.raises(CostError, match=r"parts.roller = -1.0, tow = nan"):
        replace(COSTS, parts={"roller": -1.0}, tow=float("nan"))
    with pytest.raises(CostError, match=r"chance_roadside_when_over = 1.5: at most 1"):
        replace(COSTS, chance_roadside_when_over=1.5)
