"""The rule on drawn bushings of a known law, against clairvoyance and simpler rules."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_posterior import chance_over, life_grids
from pivotlife.models.growth_readings import growth_readings
from pivotlife.models.policy_paths import Paths, draw_paths
from pivotlife.models.policy_rates import (
    Prices,
    best_mileage,
    best_threshold,
    clairvoyant_rate,
    cost_of_stops,
    limit_rate,
    mileage_rate,
    rule_rate,
    rule_stops,
    threshold_rate,
)

LAW = GrowthLaw("normal", 0.15, 0.06, 0.12, 1.4, np.log(2.0), 0.45)
SHARES = np.arange(0.3, 1.0, 0.05)


@pytest.fixture(scope="module")
def paths() -> Paths:
    return draw_paths(LAW, 3.0, 25_000.0, paths=1_500, visits=20, width_mm=0.1, seed=5)


def test_chances_on_a_path_are_those_of_its_readings(paths: Paths) -> None:
    import pandas as pd

    path, visit = 7, 1
    table = pd.DataFrame(
        {
            "pivot_id": "A",
            "miles": paths.age[path, : visit + 1],
            "free_play_mm": paths.reading[path, : visit + 1],
            "resolution_mm": 0.1,
        }
    )
    data = growth_readings(table)
    assert len(data.row) == visit + 1
    grid = next(iter(life_grids(data, LAW, data.current_life)))
    for ahead in range(4):
        x = LAW.powered(np.array([paths.age[path, visit] + ahead * paths.gap]))
        found = chance_over(grid, np.array([3.0]), x)[0]
        assert paths.chance[path, visit, ahead] == pytest.approx(found, abs=1e-9)


def test_chances_of_the_paths_come_true(paths: Paths) -> None:
    first = paths.chance[:, 0]
    over = paths.age[:, :1] + paths.gap * np.arange(4) >= paths.crossing[:, None]
    seen = np.isfinite(first[:, 0])
    said, was = first[seen].mean(axis=0), over[seen].mean(axis=0)
    # Those already over at the first visit are left out; what remains was not over there.
    assert was[0] == 0.0
    assert said[0] < 0.01
    assert said[1:] == pytest.approx(was[1:], abs=0.03)


@pytest.mark.parametrize("late", [900.0, 2_200.0, 6_000.0])
def test_the_rule_lies_between_clairvoyance_and_the_best_threshold(
    paths: Paths, late: float
) -> None:
    prices = Prices(450.0, late)
    best = clairvoyant_rate(paths, prices)
    rule = rule_rate(paths, prices, 1.3 * best)
    tuned = threshold_rate(paths, prices, best_threshold(paths, prices, SHARES))
    assert best < rule < tuned < limit_rate(paths, prices)
    assert rule < 1.2 * best


def test_the_start_of_the_rounds_hardly_matters(paths: Paths) -> None:
    prices = Prices(450.0, 2_200.0)
    best = clairvoyant_rate(paths, prices)
    low, high = (rule_rate(paths, prices, share * best) for share in (0.7, 2.0))
    assert low == pytest.approx(high, rel=0.02)


def test_sudden_failures_raise_the_rate(paths: Paths) -> None:
    plain = rule_rate(paths, Prices(450.0, 2_200.0), 0.01)
    sudden = rule_rate(paths, Prices(450.0, 2_200.0, 3_450.0, 1e-6), 0.01)
    assert sudden == pytest.approx(plain + 3e-3, rel=0.02)


@pytest.mark.parametrize("readings", [0, 1])
def test_chances_come_true_with_little_read(readings: int) -> None:
    """Nothing is read any more; that it was not over at the visit is known nevertheless."""
    drawn = draw_paths(LAW, 3.0, 25_000.0, paths=4_000, visits=8, seed=6, readings=readings)
    assert np.isfinite(drawn.reading).sum() == 4_000 * readings
    seen = np.isfinite(drawn.chance[:, 3, 0])
    first, second = drawn.chance[seen, 3, 0], drawn.chance[seen, 3, 1]
    over = drawn.age[seen, 3] + drawn.gap >= drawn.crossing[seen]
    between = (second - first) / (1.0 - first)
    assert between.mean() == pytest.approx(over.mean(), abs=0.025)


def test_another_law_judges_the_same_bushings(paths: Paths) -> None:
    options = {"paths": 1_500, "visits": 20, "width_mm": 0.1, "seed": 5}
    same = draw_paths(LAW, 3.0, 25_000.0, **options, believed=LAW)
    np.testing.assert_array_equal(same.chance, paths.chance)
    fast = replace(LAW, log_rate_centre=LAW.log_rate_centre + 0.5)
    other = draw_paths(LAW, 3.0, 25_000.0, **options, believed=fast)
    np.testing.assert_array_equal(other.reading, paths.reading)
    assert np.nanmean(other.chance[..., 1]) > np.nanmean(paths.chance[..., 1])
    prices = Prices(450.0, 2_200.0)
    true, misled = (
        cost_of_stops(drawn, rule_stops(drawn, prices, 0.004), prices) for drawn in (paths, other)
    )
    assert misled > true


def test_a_fixed_mileage_is_tuned_between_clairvoyance_and_the_limit(paths: Paths) -> None:
    prices = Prices(450.0, 2_200.0)
    ages = np.arange(25_000.0, 300_000.0, 5_000.0)
    miles = best_mileage(paths, prices, ages)
    cost = mileage_rate(paths, prices, miles)
    assert cost == min(mileage_rate(paths, prices, age) for age in ages)
    assert clairvoyant_rate(paths, prices) < cost < limit_rate(paths, prices)
