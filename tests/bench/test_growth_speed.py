"""How fast the growth law is fitted and asked; times are printed, ratios asserted with room.

Reference engine: statsmodels MixedLM (random intercept and slope), in the same run.
"""

from __future__ import annotations

import time
import warnings

import numpy as np
import pytest
import statsmodels.api as sm

import growth_factory
from pivotlife.models.growth import FreePlayGrowth

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("density", ["normal", "weibull"])
def test_fit_of_twenty_thousand_pivots(density: str) -> None:
    table = growth_factory.readings(20_000, 1, density=density)
    begin = time.perf_counter()
    FreePlayGrowth("auto").fit(table)
    seconds = time.perf_counter() - begin
    print(f"fit of 20,000 pivots, {len(table):,} readings, {density}: {seconds:.2f} s")
    assert seconds < 5.0


@pytest.mark.parametrize("density", ["normal", "weibull"])
def test_one_pass_over_six_hundred_thousand_pivots(density: str) -> None:
    table = growth_factory.readings(600_000, 2, density=density, fewest=4, most=9)
    fitted = FreePlayGrowth("auto").fit(table[table.pivot_id < 20_000])
    begin = time.perf_counter()
    chance = fitted.chance_over(table, 3.0, 150_000.0)
    seconds = time.perf_counter() - begin
    print(f"pass over 600,000 pivots, {len(table):,} readings, {density}: {seconds:.2f} s")
    assert chance.between(0, 1).all()
    assert seconds < 15.0


def test_thirty_times_faster_per_pivot_than_a_linear_mixed_model() -> None:
    small = growth_factory.readings(300, 3, fewest=3)
    slope = np.column_stack([np.ones(len(small)), (small.miles / 1e5) ** 1.4])
    begin = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its convergence remarks are not the point here
        sm.MixedLM(small.free_play_mm, slope, groups=small.pivot_id, exog_re=slope).fit()
    theirs = (time.perf_counter() - begin) / 300
    table = growth_factory.readings(20_000, 3, fewest=3)
    begin = time.perf_counter()
    FreePlayGrowth("auto").fit(table)
    ours = (time.perf_counter() - begin) / 20_000
    print(
        f"per pivot: {theirs * 1e3:.3f} ms against {ours * 1e3:.3f} ms, {theirs / ours:.0f} times"
    )
    assert theirs > 30 * ours
