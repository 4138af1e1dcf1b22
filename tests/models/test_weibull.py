"""Weibull fits: against other engines, the truth recovered, and where no maximum exists."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from lifelines import WeibullFitter
from scipy.optimize import minimize

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.weibull import fit_weibull


def negative_log_likelihood(parameters: np.ndarray, lives: pd.DataFrame) -> float:
    """The likelihood as a textbook writes it, without any of the project's formulas."""
    shape, scale = np.exp(parameters)
    entry, lower, upper = (
        (lives[name].to_numpy() / scale) ** shape
        for name in ("entry_miles", "lower_miles", "upper_miles")
    )
    age = lives["lower_miles"].to_numpy() / scale
    exact = lower == upper
    density = shape / scale * np.where(exact, age, 1.0) ** (shape - 1.0) * np.exp(-lower)
    mass = np.where(exact, density, np.exp(-lower) - np.where(np.isinf(upper), 0, np.exp(-upper)))
    return -float(np.sum(np.log(mass) + entry))


@pytest.mark.parametrize("seed", [1, 2])
def test_agrees_with_a_direct_maximisation_and_with_lifelines(survival: Any, seed: int) -> None:
    lives = survival.mixed_lives(400, seed)
    fit = fit_weibull(lives)
    start = np.log([1.5, 250_000.0])
    found = minimize(
        negative_log_likelihood,
        start,
        (lives,),
        "Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-10, "maxiter": 4000},
    )
    assert [fit.shape, fit.scale] == pytest.approx(np.exp(found.x), rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-8)
    theirs = WeibullFitter().fit_interval_censoring(
        lives["lower_miles"], lives["upper_miles"], entry=lives["entry_miles"]
    )
    assert fit.shape == pytest.approx(theirs.rho_, rel=1e-4)
    assert fit.scale == pytest.approx(theirs.lambda_, rel=1e-4)


def test_recovers_the_truth(survival: Any) -> None:
    fit = fit_weibull(survival.mixed_lives(8_000, seed=3, shape=2.2, scale=300_000.0))
    errors = np.sqrt(np.diag(fit.covariance))
    misses = np.log([fit.shape / 2.2, fit.scale / 300_000.0]) / errors
    assert np.all(np.abs(misses) < 3.0)
    assert np.all(errors < 0.05)


def test_gradient_is_zero_at_the_maximum(survival: Any) -> None:
    fit = fit_weibull(survival.mixed_lives(2_000, seed=4))
    point = fit.likelihood.at(np.log(fit.shape), np.log(fit.scale))
    assert np.hypot(point.a, point.s) < 1e-9 * fit.n_lives


def test_derivatives_agree_with_differences(survival: Any) -> None:
    likelihood = fit_weibull(survival.mixed_lives(300, seed=5)).likelihood
    a, s, step = np.log(1.7), np.log(280_000.0), 1e-5
    here = likelihood.at(a, s)
    up, down = likelihood.at(a + step, s), likelihood.at(a - step, s)
    right, left = likelihood.at(a, s + step), likelihood.at(a, s - step)
    assert here.a == pytest.approx((up.value - down.value) / (2 * step), rel=1e-6)
    assert here.s == pytest.approx((right.value - left.value) / (2 * step), rel=1e-6)
    assert here.aa == pytest.approx((up.a - down.a) / (2 * step), rel=1e-6)
    assert here.as_ == pytest.approx((up.s - down.s) / (2 * step), rel=1e-6)
    assert here.ss == pytest.approx((right.s - left.s) / (2 * step), rel=1e-6)


@pytest.mark.parametrize("weight", [1.0, 1e12])
def test_intervals_over_orders_of_magnitude_and_huge_weights(weight: float) -> None:
    # lifelines 0.30 on the three intervals: shape 0.65306, scale 73.393.
    lives = pd.DataFrame({"lower_miles": [1.0, 10.0, 100.0], "upper_miles": [10.0, 100.0, 1000.0]})
    fit = fit_weibull(lives.assign(weight=weight))
    theirs = WeibullFitter().fit_interval_censoring(lives["lower_miles"], lives["upper_miles"])
    assert fit.shape == pytest.approx(theirs.rho_, rel=1e-4)
    assert fit.scale == pytest.approx(theirs.lambda_, rel=1e-4)


INF = np.inf


def test_bushings_never_seen_good_determine_no_curve() -> None:
    """Entered late and found failed at the first look: a scale near nothing explains them all."""
    lives = pd.DataFrame({"entry_miles": [0.0, 5.0], "lower_miles": [0.0, 5.0]})
    with pytest.raises(NoMaximumError, match="none of the 2 bushings was ever seen good"):
        fit_weibull(lives.assign(upper_miles=[3.0, 9.0]))


@pytest.mark.parametrize(
    ("lower", "upper", "why"),
    [
        ([], [], "no life carries information"),
        ([5.0, 9.0], [INF, INF], "none of the 2 lives failed"),
        ([7.0], [7.0], "all 1 failures may have happened at one age"),
        ([1.0], [9.0], "all 1 failures may have happened at one age between 1 and 9 miles"),
        ([0.0, 0.0], [3.0, 8.0], "all 2 failures may have happened at one age between 0 and 3"),
        ([1.0, 2.0, 3.0], [6.0, 5.0, 4.0], "all 3 failures may have happened at one age"),
        ([5.0, 5.0, 4.0], [5.0, 5.0, INF], "all 2 failures may have happened at one age"),
        ([10.0, 20.0, 20.0], [20.0, INF, INF], "shape runs to its bound 20"),
        ([1e-9, 0.0, 1e9], [1e-9, 1e-7, INF], "shape runs to its bound 0.1"),
    ],
)
def test_where_no_maximum_exists_it_says_why(
    lower: list[float], upper: list[float], why: str
) -> None:
    lives = pd.DataFrame({"lower_miles": lower, "upper_miles": upper}, dtype=float)
    with pytest.raises(NoMaximumError, match=why):
        fit_weibull(lives)


def test_survival_quantile_and_mean_agree_with_each_other() -> None:
    fit = fit_weibull(
        pd.DataFrame({"lower_miles": [50.0, 120.0, 90.0, 200.0]}).assign(
            upper_miles=lambda frame: frame["lower_miles"]
        )
    )
    shares = np.array([0.0, 0.01, 0.1, 0.5, 0.9])
    assert fit.survival(fit.quantile(shares)) == pytest.approx(1.0 - shares)
    assert fit.survival(np.array([-5.0, 0.0, 1e300])).tolist() == [1.0, 1.0, 0.0]
    grid = np.linspace(0.0, 5_000.0, 200_001)
    assert fit.mean() == pytest.approx(np.trapezoid(fit.survival(grid), grid), rel=1e-6)
    with pytest.raises(ValueError, match="between 0 and 1"):
        fit.quantile(1.0)
