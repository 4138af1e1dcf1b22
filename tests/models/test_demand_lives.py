"""Ages drawn by inverse transform follow the law that the chances and curves state."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from scipy import stats

from pivotlife.models.demand_lives import crossing_miles, law_factors, new_life_miles


def grid(n: int) -> np.ndarray:
    """Evenly spread uniform numbers: draws without noise."""
    return (np.arange(n) + 0.5)[None, :] / n


def one(demand: ModuleType, curve: object, **options: object) -> object:
    return demand.known(demand.pivots(curve, **options).iloc[:1], curve)


def test_exponential_lives_stay_exponential(demand: ModuleType) -> None:
    known = one(demand, demand.OneCurve(1.0, 50_000.0), age=80_000.0, gap=7_000.0)
    law = np.zeros(2_000, dtype=np.int64)
    drawn = crossing_miles(known, np.ones((1, 1)), law, grid(2_000))[0] - 80_000.0
    # No memory: the miles still to come are exponential, whatever the age.
    assert stats.kstest(drawn, "expon", args=(0, 50_000.0)).statistic < 0.001


@pytest.mark.parametrize("age", [0.0, 200_000.0])
def test_weibull_lives_follow_the_curve_given_their_age(demand: ModuleType, age: float) -> None:
    shape, scale = 2.2, 300_000.0
    known = one(demand, demand.OneCurve(shape, scale), age=age, gap=10_000.0)
    law = np.zeros(4_000, dtype=np.int64)
    drawn = crossing_miles(known, np.ones((1, 1)), law, grid(4_000))[0]
    for miles in (age + 10_000.0, age + 30_000.0, age + 120_000.0, age + 400_000.0):
        survival = np.exp((age / scale) ** shape - (miles / scale) ** shape)
        # Between visits the hazard is straight; at the visits and beyond it is the curve itself.
        assert np.mean(drawn > miles) == pytest.approx(survival, abs=4e-4)


def test_what_is_over_already_is_over_today(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 100_000.0)
    table = demand.pivots(curve, age=50_000.0).iloc[:1]
    chances = [name for name in table if name.startswith("chance_")]
    table = table.assign(**{name: np.maximum(table[name], 0.3) for name in chances})
    known = demand.known(table, curve)
    drawn = crossing_miles(known, np.ones((1, 1)), np.zeros(1_000, dtype=np.int64), grid(1_000))
    assert np.mean(drawn[0] <= 50_000.0) == pytest.approx(0.3, abs=1e-3)


def test_bushings_fitted_later_live_the_curve(demand: ModuleType) -> None:
    known = one(demand, demand.OneCurve(2.2, 600_000.0))
    lives = new_life_miles(known, np.zeros(20_000, dtype=np.int64), grid(20_000))[0]
    # Shape 2.2, scale 600,000: mean 531,375 miles, median 507,925 (closed form).
    assert lives.mean() == pytest.approx(531_375, rel=1e-3)
    assert np.median(lives) == pytest.approx(507_925, rel=1e-3)


def test_laws_spread_as_wide_as_the_band(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 200_000.0)
    table = demand.pivots(curve, age=100_000.0)
    hazard = -np.log1p(-table["chance_over_by_next_visit"])
    for name, times in (("chance_lower", 0.5), ("chance_upper", 2.0)):
        table[name] = -np.expm1(-hazard * times)
    factors = law_factors(demand.known(table, curve, laws=200), 200, seed=1)
    low, high = np.quantile(factors, [0.1, 0.9], axis=1)
    np.testing.assert_allclose(low, 0.5, rtol=0.03)
    np.testing.assert_allclose(high, 2.0, rtol=0.03)
    # One type in one duty has one law, whatever the pivot.
    assert np.ptp(factors, axis=0).max() == 0.0


def test_without_a_curve_the_last_stretch_goes_on(demand: ModuleType) -> None:
    curve = demand.OneCurve(1.0, 40_000.0)
    table = demand.pivots(curve, age_miles=np.nan).iloc[:1]
    known = demand.known(table, curve)
    drawn = crossing_miles(known, np.ones((1, 1)), np.zeros(2_000, dtype=np.int64), grid(2_000))[0]
    assert stats.kstest(drawn, "expon", args=(0, 40_000.0)).statistic < 0.001


def test_nothing_known_is_never_drawn(demand: ModuleType) -> None:
    curve = demand.OneCurve(1.0, 40_000.0)
    table = demand.pivots(curve, chance_over_now=np.nan).iloc[:1]
    drawn = crossing_miles(
        demand.known(table, curve), np.ones((1, 1)), np.zeros(9, dtype=np.int64), grid(9)
    )
    assert np.isinf(drawn).all()
