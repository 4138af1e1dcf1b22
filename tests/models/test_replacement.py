"""Age replacement and renewal counts: closed forms, brute force, freedom from units."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize

from pivotlife.models.replacement import PolicyError, age_replacement, renewal_function

SCALE = 600_000.0


def rate_by_quadrature(age: float, shape: float, planned: float, failure: float, a: float) -> float:
    """The long-run rate straight from its definition, with no formula of the product in it."""

    def alive(m: float) -> float:
        return math.exp(-((m / SCALE) ** shape))

    def density(m: float) -> float:
        return float(shape / SCALE * (m / SCALE) ** (shape - 1) * alive(m))

    failed, _ = integrate.quad(lambda m: math.exp(-a * m) * density(m), 0, age, epsrel=1e-11)
    served, _ = integrate.quad(lambda m: math.exp(-a * m) * alive(m), 0, age, epsrel=1e-11)
    return float((planned * math.exp(-a * age) * alive(age) + failure * failed) / served)


@pytest.mark.parametrize("discount", [0.0, 8e-7, 5e-6])
@pytest.mark.parametrize(("shape", "failure"), [(2.2, 2_200.0), (3.0, 900.0), (1.6, 6_000.0)])
def test_no_other_age_costs_less(shape: float, failure: float, discount: float) -> None:
    best = age_replacement(shape, SCALE, 450.0, failure, discount)
    found = optimize.minimize_scalar(
        lambda age: rate_by_quadrature(age, shape, 450.0, failure, discount),
        bounds=(0.02 * SCALE, 4 * SCALE),
        method="bounded",
        options={"xatol": 1.0},
    )
    assert best.cost_per_mile == pytest.approx(found.fun, rel=1e-8)
    assert best.optimal_miles == pytest.approx(found.x, rel=2e-3)


def test_a_bushing_that_does_not_wear_out_is_run_to_failure() -> None:
    never = age_replacement(1.0, SCALE, 450.0, 2_200.0)
    assert math.isinf(never.optimal_miles)
    assert never.cost_per_mile == pytest.approx(2_200.0 / SCALE)
    assert never.saving == 0.0
    assert not never.is_practical


def test_failing_no_dearer_than_planning_is_run_to_failure() -> None:
    assert math.isinf(age_replacement(3.0, SCALE, 450.0, 450.0).optimal_miles)


def test_a_saving_under_two_percent_is_not_practical() -> None:
    thin = age_replacement(1.5, SCALE, 1.0, 2.0)  # 0.16 % in the published table's first row
    assert 0 < thin.saving < 0.02
    assert thin.practical_cost_per_mile == thin.run_to_failure_cost_per_mile
    wide = age_replacement(3.0, SCALE, 1.0, 5.0)
    assert wide.practical_cost_per_mile == wide.cost_per_mile


def test_discount_of_nearly_nothing_changes_nearly_nothing() -> None:
    plain = age_replacement(2.2, SCALE, 450.0, 2_200.0)
    discounted = age_replacement(2.2, SCALE, 450.0, 2_200.0, 1e-12)
    assert discounted.optimal_miles == pytest.approx(plain.optimal_miles, rel=1e-5)
    assert discounted.cost_per_mile == pytest.approx(plain.cost_per_mile, rel=1e-5)


@settings(max_examples=40, deadline=None)
@given(
    shape=st.floats(1.05, 8.0),
    ratio=st.floats(1.05, 60.0),
    money=st.floats(1e-3, 1e4),
    miles=st.floats(1e-2, 1e2),
)
def test_currency_and_unit_of_distance_do_not_matter(
    shape: float, ratio: float, money: float, miles: float
) -> None:
    one = age_replacement(shape, SCALE, 1.0, ratio)
    other = age_replacement(shape, SCALE * miles, money, ratio * money)
    assert other.optimal_miles / miles == pytest.approx(one.optimal_miles, rel=1e-6)
    assert other.cost_per_mile * miles / money == pytest.approx(one.cost_per_mile, rel=1e-9)
    assert one.cost_per_mile <= one.run_to_failure_cost_per_mile * (1 + 1e-12)


@pytest.mark.parametrize(
    ("figures", "match"),
    [
        ((0.0, SCALE, 1.0, 2.0), "shape = 0.0: must be a number above 0"),
        ((2.0, math.inf, 1.0, 2.0), "scale = inf"),
        ((2.0, SCALE, -1.0, 2.0), "planned_cost = -1.0: must be a number of at least 0"),
        ((2.0, SCALE, 1.0, math.nan), "failure_cost = nan"),
        ((2.0, SCALE, 1.0, 2.0, -1e-6), "discount_per_mile = -1e-06"),
    ],
)
def test_impossible_figures_are_named(figures: tuple[float, ...], match: str) -> None:
    with pytest.raises(PolicyError, match=match):
        age_replacement(*figures)


def test_without_ageing_renewals_are_miles_over_mean() -> None:
    miles = np.array([0.0, 1e5, 6e5, 6e6, 2.9e7, 6e7])
    assert renewal_function(1.0, SCALE, miles) == pytest.approx(miles / SCALE, rel=1e-4, abs=1e-9)


def test_renewals_satisfy_the_renewal_equation() -> None:
    shape, end = 2.2, 1.7
    grid = np.linspace(0, end, 4_001)
    counts = renewal_function(shape, 1.0, grid)
    density = shape * grid ** (shape - 1) * np.exp(-(grid**shape))
    right = -np.expm1(-(end**shape)) + integrate.trapezoid(counts[::-1] * density, grid)
    assert counts[-1] == pytest.approx(right, abs=2e-5)


def test_renewals_of_simulated_pivots() -> None:
    rng = np.random.default_rng(20_260_501)
    lives = 600_000 * rng.weibull(2.5, size=(40_000, 12))
    counted = (lives.cumsum(axis=1) <= 1_500_000).sum(axis=1)
    standard_error = counted.std() / math.sqrt(counted.size)
    expected = renewal_function(2.5, 600_000, [1_500_000])[0]
    assert counted.mean() == pytest.approx(expected, abs=4 * standard_error)


@settings(max_examples=20, deadline=None)
@given(shape=st.floats(0.6, 6.0), top=st.floats(0.05, 8.0))
def test_renewal_counts_rise_from_nothing(shape: float, top: float) -> None:
    miles = np.linspace(0, top, 60)
    counts = renewal_function(shape, 1.0, miles)
    assert counts[0] == pytest.approx(0.0, abs=1e-12)
    assert np.all(np.diff(counts) >= -1e-9)
    assert np.all(counts >= -np.expm1(-(miles**shape)) - 1e-9)


def test_a_negative_distance_is_refused() -> None:
    with pytest.raises(PolicyError, match="every distance must be a number of at least 0"):
        renewal_function(2.0, SCALE, [1.0, -1.0])
