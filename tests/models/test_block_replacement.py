"""Block replacement and age replacement of any life: by brute force and by what must hold."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pivotlife.models.block_replacement import block_replacement, cheapest_age
from pivotlife.models.replacement import PolicyError, age_replacement

SCALE = 600_000.0


@pytest.mark.parametrize(("shape", "failure"), [(2.2, 2_200.0), (3.0, 6_000.0)])
def test_no_other_block_costs_less_on_simulated_pivots(shape: float, failure: float) -> None:
    """The rate of the block from drawn bushings, with no renewal function in it."""
    best = block_replacement(shape, SCALE, 450.0, failure)
    rng = np.random.default_rng(11)
    lives = SCALE * rng.weibull(shape, size=(40_000, 12))
    ends = lives.cumsum(axis=1)

    def rate(block: float) -> tuple[float, float]:
        failed = (ends <= block).sum(axis=1)
        error = failure * failed.std() / math.sqrt(len(failed)) / block
        return (450.0 + failure * failed.mean()) / block, error

    own, error = rate(best.optimal_miles)
    assert own == pytest.approx(best.cost_per_mile, abs=4 * error)
    for times in (0.6, 0.8, 1.25, 1.6):
        other, other_error = rate(times * best.optimal_miles)
        assert other > best.cost_per_mile - 4 * other_error


@pytest.mark.parametrize("ratio", [2.0, 5.0, 20.0])
@pytest.mark.parametrize("shape", [1.5, 2.5, 4.0])
def test_ages_on_record_never_cost_more_than_blocks(shape: float, ratio: float) -> None:
    """Renewing by age is the best of all policies that renew (Barlow and Proschan; from memory)."""
    block = block_replacement(shape, SCALE, 1.0, ratio)
    age = age_replacement(shape, SCALE, 1.0, ratio)
    assert block.cost_per_mile >= age.cost_per_mile * (1 - 1e-6)
    assert block.cost_per_mile <= block.run_to_failure_cost_per_mile
    assert 0.0 <= block.saving < 1.0


def test_where_nothing_wears_out_no_block_pays() -> None:
    never = block_replacement(1.0, SCALE, 450.0, 2_200.0)
    assert math.isinf(never.optimal_miles)
    assert never.cost_per_mile == pytest.approx(2_200.0 / SCALE)
    assert math.isinf(block_replacement(3.0, SCALE, 450.0, 450.0).optimal_miles)


def test_any_life_agrees_with_the_weibull_formula() -> None:
    best = age_replacement(2.2, 1.0, 1.0, 5.0)
    age, cost = cheapest_age(lambda m: math.exp(-(m**2.2)), 4.0, 1.0, 5.0)
    assert age == pytest.approx(best.optimal_miles, rel=1e-5)
    assert cost == pytest.approx(best.cost_per_mile, rel=1e-9)


def test_a_life_without_an_end_is_refused() -> None:
    with pytest.raises(PolicyError, match="longest = inf: must be a number above 0"):
        cheapest_age(lambda m: 1.0, math.inf, 1.0, 2.0)
