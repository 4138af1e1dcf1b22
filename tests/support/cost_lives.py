"""Invented types, duties and prices for the tests of lifetime cost."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from pivotlife.models.cost_policy import PlaySigns, Policy, TypeLife
from pivotlife.models.lifetime_cost import DutyWork, Money

FIGURES = {
    "shop_rate": 100.0,
    "parts.rubber-bonded": 40.0,
    "parts.threaded": 60.0,
    "parts.roller": 200.0,
    "hours.first_pivot": 2.0,
    "hours.same_shackle": 0.5,
    "hours.same_side": 1.0,
    "hours.conversion": 0.75,
    "hours.lube_visit": 0.5,
    "alignment": 240.0,
    "downtime_per_day": 500.0,
    "roadside": 500.0,
    "tow": 1_500.0,
    "tyre_pair": 1_000.0,
    "tyre_loss_per_mile_over": 2e-6,
    "chance_roadside_when_over": 0.1,
    "downtime_days.planned": 0.2,
    "downtime_days.late": 0.8,
    "downtime_days.roadside": 2.0,
}
MONEY = Money(FIGURES, 0.08, 0.025)
WORK = DutyWork(
    duty="regional",
    gap_miles=15_000.0,
    lube_miles=7_500.0,
    annual_miles=65_000.0,
    horizon_miles=300_000.0,
    compliance=0.8,
    reference_type="threaded",
    trucks=20,
)
NEVER = Policy(math.inf, math.inf)
#: A shape at which every bushing of the type ends at its scale, to a millionth.
SURE = 1e7


def life(kind: str, shape: float, scale: float, draws: int = 20, **over: Any) -> TypeLife:
    """A type whose drawn lives scatter by a tenth unless `spread` says otherwise."""
    spread = over.pop("spread", 0.1)
    scatter = np.exp(spread * np.random.default_rng(3).standard_normal(draws))
    made = TypeLife(
        bushing_type=kind,
        shape=shape,
        scale=scale,
        shapes=np.full(draws, shape),
        scales=scale * scatter,
        breaks_per_mile=np.zeros(draws),
        play=None,
        takes_grease=kind != "rubber-bonded",
    )
    return replace(made, **over)


LIVES = (
    life("rubber-bonded", 3.0, 380_000.0),
    life("threaded", 2.2, 430_000.0, play=PlaySigns(0.06, 1.3, 0.05)),
    life("roller", 2.5, 650_000.0, play=PlaySigns(0.03, 3.0, 0.05)),
)
