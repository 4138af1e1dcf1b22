"""Drawn crossing ages agree with the chances of the growth model and with the truth."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_imputation import crossing_draws


@pytest.mark.parametrize("density", ["normal", "weibull"])
def test_draws_follow_the_chance(factory: ModuleType, density: str) -> None:
    table = factory.readings(2_000, 8, density=density, fewest=2, most=4)
    growth = FreePlayGrowth().fit(table)
    draws = crossing_draws(growth, table, 3.0, draws=60)
    assert draws.shape == (2_000, 60)
    for miles in (70_000.0, 110_000.0):
        drawn = (draws <= miles).to_numpy().mean(axis=1)
        chance = growth.chance_over(table, 3.0, miles).to_numpy()
        error = drawn - chance
        assert abs(error.mean()) < 0.004
        assert (
            np.sqrt((error**2).mean()) < 1.25 * np.sqrt((chance * (1 - chance) / 60).mean()) + 0.01
        )


def test_early_renewals_get_back_the_true_life(factory: ModuleType) -> None:
    """Renewed at 70 % of the limit: the drawn ages have the quantiles of the true crossing ages."""
    table = factory.readings(1_500, 12, density="weibull", fewest=8, most=12, gap=15_000.0)
    over = (table.free_play_mm >= 0.7 * 3.0).astype(int)
    seen = table[over.groupby(table.pivot_id).cumsum() - over == 0]
    growth = FreePlayGrowth().fit(seen)
    draws = crossing_draws(growth, seen, 3.0, seed=4)
    truth = table.groupby("pivot_id").first()
    crossing = 1e5 * (np.maximum(3.0 - truth.start_mm, 0) / truth.rate) ** (1 / 1.4)
    for probability in (0.1, 0.5):
        found = np.quantile(draws.to_numpy(), probability)
        assert found == pytest.approx(np.quantile(crossing, probability), rel=0.05)


def test_draws_repeat_with_their_seed(factory: ModuleType) -> None:
    table = factory.readings(100, 2, fewest=2)
    growth = FreePlayGrowth("normal").fit(table)
    one, two = (crossing_draws(growth, table, 3.0, draws=3, seed=1) for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
    assert not one.equals(crossing_draws(growth, table, 3.0, draws=3, seed=2))
