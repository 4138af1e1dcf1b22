"""One set of invented prices; a test replaces what it is about. Every number is invented."""

from __future__ import annotations

from pivotlife.models.decision_costs import CostItems

COSTS = CostItems(
    currency="USD",
    parts={"rubber-bonded": 45.0, "threaded": 55.0},
    hours_first_pivot=2.0,
    hours_same_shackle=0.75,
    hours_same_side=1.1,
    shop_rate=95.0,
    alignment=250.0,
    downtime_per_day=550.0,
    downtime_days_planned=0.25,
    downtime_days_late=0.75,
    downtime_days_roadside=2.0,
    roadside=500.0,
    tow=1_500.0,
    tyre_pair=1_100.0,
    tyre_loss_per_mile_over=1.5e-6,
    chance_roadside_when_over=0.02,
)
