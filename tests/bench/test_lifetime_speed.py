"""Lifetime cost of 10,000 trucks and three types, on new bushings and as they stand."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from cost_lives import LIVES, MONEY, WORK, life
from pivotlife.models.lifetime_cost import duty_cost
from pivotlife.models.truck_miles import PLACES
from pivotlife.models.unit_conversion import fleet_cost

pytestmark = pytest.mark.slow

TRUCKS = 10_000
#: Seconds of one core within which each of the two must be done.
MOST_SECONDS = 20.0
#: How alike lives of one truck are.
ALIKE = 0.25


def test_ten_thousand_trucks_on_new_bushings() -> None:
    drawn = tuple(
        replace(
            life(one.bushing_type, one.shape, one.scale, draws=100),
            play=one.play,
            breaks_per_mile=np.full(100, 1e-8),
            likeness=ALIKE,
        )
        for one in LIVES
    )
    began = time.process_time()
    cost = duty_cost(WORK, drawn, MONEY, trucks_per_draw=TRUCKS // 100)
    spent = time.process_time() - began
    whole = cost.whole(MONEY)
    error = whole.std(axis=1) / np.sqrt(TRUCKS)
    print(f"\n{TRUCKS:,} trucks x {len(drawn)} types: {spent:.1f} s of one core, policies chosen")
    for kind, mean, se in zip(cost.types, whole.mean(axis=1), error, strict=True):
        print(f"  {kind}: {mean:,.0f} +- {se:,.0f}")
    assert spent < MOST_SECONDS


def test_ten_thousand_units_kept_or_converted() -> None:
    random = np.random.default_rng(5)
    names = [f"U{n}" for n in range(TRUCKS)]
    kinds = random.choice([one.bushing_type for one in LIVES], TRUCKS)
    age = random.uniform(0.0, 300_000.0, TRUCKS)
    pivots = pd.DataFrame(
        {
            "unit_id": np.repeat(names, len(PLACES)),
            "axle": 1,
            "side": [side for side, _ in PLACES] * TRUCKS,
            "node": [node for _, node in PLACES] * TRUCKS,
            "bushing_type": np.repeat(kinds, len(PLACES)),
            "age_miles": np.repeat(age, len(PLACES)),
            "good_miles": np.repeat(age, len(PLACES)),
            "is_over": False,
        }
    )
    units = pd.DataFrame({"unit_id": names, "depot": "Northpit", "duty": WORK.duty}).assign(
        miles_left=random.uniform(20_000.0, 500_000.0, TRUCKS),
        annual_miles=65_000.0,
        first_visit_miles=7_500.0,
    )
    lives = tuple(replace(one, likeness=ALIKE) for one in LIVES)
    usual = duty_cost(WORK, lives, MONEY)
    held = dict(zip(usual.types, usual.policies, strict=True))
    began = time.process_time()
    work = replace(WORK, horizon_miles=650_000.0)
    made = fleet_cost(
        pivots, units, {WORK.duty: work}, {WORK.duty: lives}, {WORK.duty: held}, MONEY
    )
    spent = time.process_time() - began
    print(
        f"\n{TRUCKS:,} units kept or converted to each of {len(LIVES)} types, "
        f"{made.repetitions} futures each: {spent:.1f} s of one core"
    )
    assert len(made.conversions) == 2 * TRUCKS
    assert spent < MOST_SECONDS
