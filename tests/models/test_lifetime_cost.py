"""Lifetime cost: physical first, money exact, same luck for all types."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from cost_lives import LIVES, MONEY, NEVER, WORK
from pivotlife.models.cost_lines import CASH, COUNTS, DOWNTIME, unit_amounts
from pivotlife.models.cost_policy import Policy, candidates, choose_policy
from pivotlife.models.lifetime_cost import (
    DutyCost,
    best_policy,
    duty_cost,
    first_fitting,
    lube_visits,
)

HELD = {"rubber-bonded": NEVER, "threaded": Policy(0.9, 0.6), "roller": Policy(0.8, 0.6)}


@pytest.fixture(scope="module")
def cost() -> DutyCost:
    return duty_cost(WORK, LIVES, MONEY, held=HELD, trucks_per_draw=10, seed=2)


def test_counts_know_no_prices(cost: DutyCost) -> None:
    other = replace(MONEY, discount_rate=0.3).with_figures(shop_rate=900.0)
    again = duty_cost(WORK, LIVES, other, held=HELD, trucks_per_draw=10, seed=2)
    assert np.array_equal(cost.counts, again.counts)


def test_without_rates_cost_is_counts_times_prices(cost: DutyCost) -> None:
    plain = replace(MONEY, discount_rate=0.0, price_escalation=0.0)
    for place, kind in enumerate(cost.types):
        whole = cost.counts[place].sum(axis=1)
        for name in (CASH, DOWNTIME):
            by_hand = whole @ unit_amounts(plain.figures, kind, name)
            assert cost.amounts(plain, name)[place] == pytest.approx(by_hand)


def test_equal_rates_cancel_and_discounts_lower(cost: DutyCost) -> None:
    """Prices that rise as fast as money earns are worth what they cost today."""
    plain = replace(MONEY, discount_rate=0.0, price_escalation=0.0)
    even = replace(MONEY, discount_rate=0.07, price_escalation=0.07)
    assert cost.whole(even) == pytest.approx(cost.whole(plain))
    later = cost.whole(replace(plain, discount_rate=0.1))
    assert np.all(later <= cost.whole(plain))
    assert np.all(later.mean(axis=1) < cost.whole(plain).mean(axis=1))


def test_year_zero_is_the_fitting_and_pays_for_conversions(cost: DutyCost) -> None:
    first = dict(zip(COUNTS, cost.counts[2, 0, 0], strict=True))
    assert (first["kits"], first["sides_opened"], first["conversions"]) == (6, 2, 6)
    usual = dict(zip(COUNTS, cost.counts[1, 0, 0], strict=True))
    assert usual["conversions"] == 0
    assert first_fitting(False).sum() == 6 + 2 + 2 + 2 + 1


def test_grease_takes_visits_only_where_services_are_too_far_apart() -> None:
    """Due every 7,500 miles, served every 15,000: one extra visit in 15,000 miles, 80 % done."""
    visits = lube_visits(WORK, LIVES[1])
    assert visits.sum() == pytest.approx(300_000.0 / 15_000.0 * 0.8)
    assert visits[0] == 0.0
    assert visits[1] == pytest.approx(65_000.0 / 15_000.0 * 0.8)
    assert lube_visits(WORK, LIVES[0]).sum() == 0.0
    assert lube_visits(replace(WORK, gap_miles=7_500.0), LIVES[1]).sum() == 0.0


def test_lube_visits_of_line_haul_by_hand() -> None:
    """110,000 miles a year: greasing due 14.7 times (common practice), 4.4 of them at a service."""
    haul = replace(WORK, gap_miles=25_000.0, annual_miles=110_000.0, compliance=1.0)
    assert lube_visits(haul, LIVES[2])[1] == pytest.approx(14.667 - 4.4, abs=1e-3)


def test_nothing_is_spent_after_the_sale(cost: DutyCost) -> None:
    assert WORK.years == 5
    assert cost.counts.shape[2] == 6
    last = cost.counts[1, :, 5, COUNTS.index("lube_visits")]
    assert last == pytest.approx(40_000.0 / 15_000.0 * 0.8)


def test_types_meet_the_same_luck() -> None:
    """Two types with the same life take exactly the same; a longer life never takes more kits."""
    twins = (LIVES[1], replace(LIVES[1], bushing_type="roller"))
    held = {"threaded": NEVER, "roller": NEVER}
    same = duty_cost(WORK, twins, MONEY, held=held, trucks_per_draw=10, seed=2)
    kits = same.counts[..., COUNTS.index("kits")]
    assert np.array_equal(kits[0], kits[1])
    longer = (LIVES[1], replace(twins[1], scales=2.0 * LIVES[1].scales))
    other = duty_cost(WORK, longer, MONEY, held=held, trucks_per_draw=10, seed=2)
    apart = other.counts[..., COUNTS.index("kits")].sum(axis=2)
    assert apart[1].mean() < apart[0].mean()


def test_the_chosen_policy_is_the_cheapest_of_those_tried() -> None:
    policy, _ = best_policy(WORK, LIVES[1], MONEY, seed=2)
    costs = []
    for one in (policy, NEVER, Policy(0.7, math.inf)):
        made = duty_cost(
            WORK, LIVES[1:2], MONEY, held={"threaded": one}, trucks_per_draw=60, seed=9
        )
        costs.append(made.whole(MONEY).mean())
    assert costs[0] <= min(costs[1:]) * 1.02


def test_dear_late_finds_call_for_an_earlier_mark() -> None:
    dear = MONEY.with_figures(roadside=30_000.0, chance_roadside_when_over=0.5)
    held, _ = best_policy(WORK, LIVES[1], MONEY, seed=2)
    new, saving = best_policy(WORK, LIVES[1], dear, held, seed=2)
    assert new.renew_at < held.renew_at
    assert saving > 0.01


def test_a_policy_in_force_stays_unless_another_is_clearly_cheaper() -> None:
    tried = [Policy(0.9, math.inf), Policy(0.8, math.inf)]
    assert choose_policy(tried, np.array([100.0, 99.5]), tried[0]) == (tried[0], 0.0)
    new, saving = choose_policy(tried, np.array([100.0, 90.0]), tried[0])
    assert (new, saving) == (tried[1], pytest.approx(0.1))


def test_marks_that_join_lie_below_those_that_renew() -> None:
    for life in LIVES:
        assert all(p.join_at < p.renew_at or math.isinf(p.join_at) for p in candidates(life))


def test_policies_are_told_in_words() -> None:
    assert NEVER.told(True) == "renewed when found over, none joins"
    told = "renewed at 80 % of the limit, joins an open axle from 60 % of it"
    assert Policy(0.8, 0.6).told(True) == told
