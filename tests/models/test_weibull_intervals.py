"""Intervals: where the likelihood drops, what the other methods say, what stays open."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import chi2

from pivotlife.models.weibull import Interval, WeibullFit, fit_weibull

QUANTITIES: list[Any] = [
    "shape",
    "scale",
    "mean",
    ("quantile", 0.1),
    ("quantile", 0.5),
    ("survival", 200_000.0),
]


@pytest.fixture(scope="module")
def fit(survival: Any) -> WeibullFit:
    lives = survival.mixed_lives(150, seed=11)
    return fit_weibull(lives.assign(unit_id=np.arange(150) // 3))


@pytest.fixture(scope="module")
def one_failure() -> WeibullFit:
    """One early failure among eleven lives: the records leave much open."""
    return fit_weibull(
        pd.DataFrame(
            {
                "lower_miles": [40_000.0] + [60_000.0] * 10,
                "upper_miles": [40_000.0] + [np.inf] * 10,
            }
        )
    )


def _at_shape(a: float, s: float) -> tuple[float, float]:
    return a, s


def _at_quantile(v: float, c: float, a: float) -> tuple[float, float]:
    return a, v - c * float(np.exp(-a))


def drop(fit: WeibullFit, held: Callable[[float], tuple[float, float]], near: float) -> float:
    """Twice the drop of the log-likelihood at its best along a path, by a general optimiser."""
    best = minimize_scalar(
        lambda t: -fit.likelihood.at(*held(t)).value, bracket=(near - 0.1, near + 0.1)
    )
    return 2.0 * (fit.log_likelihood + float(best.fun))


def test_profile_of_the_shape_ends_where_the_likelihood_drops(fit: WeibullFit) -> None:
    for limit in fit.interval("shape")[:2]:
        a = float(np.log(limit))
        reached = drop(fit, partial(_at_shape, a), np.log(fit.scale))
        assert reached == pytest.approx(chi2.ppf(0.95, 1), abs=1e-6)


@pytest.mark.parametrize("share", [0.1, 0.5])
def test_profile_of_a_quantile_ends_where_the_likelihood_drops(
    fit: WeibullFit, share: float
) -> None:
    c = float(np.log(-np.log1p(-share)))
    for limit in fit.interval(("quantile", share), level=0.9)[:2]:
        v = float(np.log(limit))
        reached = drop(fit, partial(_at_quantile, v, c), np.log(fit.shape))
        assert reached == pytest.approx(chi2.ppf(0.9, 1), abs=1e-6)


def test_a_quantiles_limits_are_the_survivals_limits_read_the_other_way(fit: WeibullFit) -> None:
    lower = fit.interval(("quantile", 0.3)).lower
    assert fit.interval(("survival", lower)).lower == pytest.approx(0.7, abs=1e-7)


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("method", ["profile", "wald", "sandwich", "bootstrap"])
def test_every_method_brackets_the_estimate(fit: WeibullFit, quantity: Any, method: Any) -> None:
    interval = fit.interval(quantity, method=method, draws=100)
    estimate = {"shape": fit.shape, "scale": fit.scale, "mean": fit.mean()}.get(quantity)
    if estimate is None:
        name, number = quantity
        estimate = fit.quantile(number) if name == "quantile" else fit.survival(number)
    assert interval.lower < estimate < interval.upper
    assert not interval.lower_open
    assert not interval.upper_open
    wide = fit.interval(quantity, level=0.99, method=method, draws=100)
    assert wide.lower <= interval.lower
    assert wide.upper >= interval.upper


def test_wald_is_symmetric_on_the_log_scale(fit: WeibullFit) -> None:
    interval = fit.interval("scale", method="wald")
    assert interval.lower * interval.upper == pytest.approx(fit.scale**2)


def test_wald_of_handbook_lives_is_what_the_printed_errors_give() -> None:
    # R 4.2.2 survreg: standard error of log scale 0.20594391, scale 606.527558.
    ages = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    lives = pd.DataFrame(
        {"lower_miles": ages + [500] * 10, "upper_miles": ages + [np.inf] * 10}, dtype=float
    )
    interval = fit_weibull(lives).interval("scale", method="wald")
    assert interval.upper == pytest.approx(606.527558 * np.exp(1.959964 * 0.20594391), rel=1e-6)


#: Invented lives that entered late and were watched briefly: they say little about early ages.
BRIEFLY_WATCHED = pd.DataFrame(
    {
        "entry_miles": [29.0, 22.0, 54.0, 43.0, 21.0, 26.0, 55.0, 50.0, 54.0],
        "lower_miles": [47.0, 28.0, 65.0, 51.0, 22.0, 31.0, 57.0, 53.0, 62.0],
        "upper_miles": [np.inf, 35.0, np.inf, np.inf, 26.0, np.inf, 65.0, 55.0, np.inf],
    }
)
ALMOST_NOTHING = pd.DataFrame(
    {
        "entry_miles": [32.0, 57.0, 35.0, 57.0, 22.0, 30.0],
        "lower_miles": [49.0, 64.0, 38.0, 75.0, 34.0, 37.0],
        "upper_miles": [np.inf, np.inf, np.inf, np.inf, np.inf, 43.0],
    }
)


def test_a_cut_never_reached_leaves_the_side_open() -> None:
    survival = fit_weibull(BRIEFLY_WATCHED).interval(("survival", 50.0))
    assert survival == Interval(0.0, survival.upper, True, False)
    assert 0.1 < survival.upper < 1.0
    shape = fit_weibull(ALMOST_NOTHING).interval("shape")
    assert shape == Interval(0.0, shape.upper, True, False)
    assert 4.0 < shape.upper < 8.0


def test_copies_within_units_widen_the_sandwich_and_the_bootstrap_but_not_the_profile(
    survival: Any,
) -> None:
    lives = survival.mixed_lives(120, seed=12).assign(unit_id=np.arange(120))
    once, four = fit_weibull(lives), fit_weibull(pd.concat([lives] * 4))
    errors = np.sqrt(np.diag(once.sandwich()))
    assert np.sqrt(np.diag(four.sandwich())) == pytest.approx(errors, rel=1e-9)
    assert np.sqrt(np.diag(four.covariance)) == pytest.approx(
        0.5 * np.sqrt(np.diag(once.covariance)), rel=1e-9
    )
    alone = once.interval("scale", method="bootstrap", draws=50, seed=5)
    copied = four.interval("scale", method="bootstrap", draws=50, seed=5)
    assert copied == pytest.approx(alone, rel=1e-6)


def test_bootstrap_repeats_with_its_seed_and_matches_wald_for_many_units(survival: Any) -> None:
    fit = fit_weibull(survival.mixed_lives(2_000, seed=13))
    first = fit.interval("scale", method="bootstrap", draws=150, seed=1)
    assert first == fit.interval("scale", method="bootstrap", draws=150, seed=1)
    wald = fit.interval("scale", method="wald")
    assert np.log(first.upper / first.lower) == pytest.approx(
        np.log(wald.upper / wald.lower), rel=0.25
    )


def test_draws_without_failures_have_no_upper_limit(one_failure: WeibullFit) -> None:
    interval = one_failure.interval("scale", method="bootstrap", draws=100)
    assert interval.upper == np.inf
    assert interval.upper_open
    assert one_failure.bootstrap(draws=100).n_without_maximum > 10


@pytest.mark.parametrize(
    ("quantity", "method", "why"),
    [
        ("b10", "profile", "no quantity 'b10'"),
        (("quantile", 1.5), "profile", "p between 0 and 1"),
        (("survival", -1.0), "wald", "miles above 0"),
        ("shape", "magic", "no method 'magic'"),
    ],
)
def test_unknown_requests_are_refused(
    fit: WeibullFit, quantity: Any, method: Any, why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        fit.interval(quantity, method=method)


def test_a_level_outside_0_to_1_is_refused(fit: WeibullFit) -> None:
    with pytest.raises(ValueError, match="level lies between 0 and 1"):
        fit.interval("shape", level=95)


def test_profile_limits_hold_the_truth_as_often_as_they_say(survival: Any) -> None:
    held = 0
    for seed in range(100):
        interval = fit_weibull(survival.mixed_lives(60, 1_000 + seed)).interval("shape", level=0.8)
        held += interval.lower < 2.2 < interval.upper
    assert 68 <= held <= 92  # 80 +- 3 standard errors of a share of 100
