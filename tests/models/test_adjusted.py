"""Accelerated failure time: derivatives, known truths, relations to other fits, refusals."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.adjusted import fit_accelerated_failure_time
from pivotlife.models.errors import LivesError, NoMaximumError
from pivotlife.models.weibull import fit_weibull


def lives_with(survival: Any, n: int, seed: int, effect: float = 0.4) -> pd.DataFrame:
    """Lives whose scale is multiplied by exp(effect) for each step of `grade`."""
    parts = [
        survival.mixed_lives(n, seed + grade, scale=300_000.0 * np.exp(effect * grade)).assign(
            grade=float(grade), word=f"g{grade}"
        )
        for grade in (0, 1)
    ]
    frame = pd.concat(parts, ignore_index=True)
    return frame.assign(unit_id=[f"U{row % 40}" for row in range(len(frame))])


def test_derivatives_are_exact(survival: Any) -> None:
    fit = fit_accelerated_failure_time(lives_with(survival, 60, 1), ["grade"], shape_by="word")
    weight = np.linspace(0.5, 2.0, fit.lives.n_lives)
    theta = fit.theta + np.array([0.2, -0.1, 0.15, -0.05])
    here = fit.likelihood.at(theta, weight)
    for place in range(theta.size):
        step = np.zeros(theta.size)
        step[place] = 1e-5
        above, below = (fit.likelihood.at(theta + side * step, weight) for side in (1.0, -1.0))
        assert here.gradient[place] == pytest.approx(
            (above.value - below.value) / 2e-5, rel=1e-6, abs=1e-5
        )
        assert here.hessian[place] == pytest.approx(
            (above.gradient - below.gradient) / 2e-5, rel=1e-5, abs=1e-3
        )
    assert fit.likelihood.scores(theta).T @ weight == pytest.approx(here.gradient, rel=1e-9)


def test_without_covariates_it_is_the_plain_curve(survival: Any) -> None:
    lives = survival.mixed_lives(150, 3)
    plain, fit = fit_weibull(lives), fit_accelerated_failure_time(lives, [])
    assert fit.shape["all"] == pytest.approx(plain.shape, rel=1e-7)
    assert np.exp(fit.coefficients["Intercept"]) == pytest.approx(plain.scale, rel=1e-7)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-7)
    assert fit.covariance.to_numpy() == pytest.approx(plain.covariance, rel=1e-5)


def test_groups_with_shapes_of_their_own_are_separate_curves(survival: Any) -> None:
    lives = lives_with(survival, 150, 5)
    fit = fit_accelerated_failure_time(lives, ["word"], shape_by="word")
    for place, (name, group) in enumerate(lives.groupby("word")):
        plain = fit_weibull(group)
        log_scale = fit.coefficients["Intercept"] + place * fit.coefficients["word[g1]"]
        assert fit.shape[name] == pytest.approx(plain.shape, rel=1e-6)
        assert np.exp(log_scale) == pytest.approx(plain.scale, rel=1e-6)


def test_a_known_effect_is_found(survival: Any) -> None:
    found = []
    for seed in range(30):
        fit = fit_accelerated_failure_time(lives_with(survival, 120, 100 + 2 * seed), ["grade"])
        found.append((fit.coefficients["grade"] - 0.4) / fit.standard_errors["grade"])
    # Thirty standardised errors: their mean has standard error 0.18, their spread is near 1.
    assert abs(np.mean(found)) < 3 * 0.18
    assert 0.6 < np.std(found) < 1.5


def test_weights_are_repetitions(survival: Any) -> None:
    lives = lives_with(survival, 60, 9)
    twice = pd.concat([lives, lives[lives["grade"] == 1.0]])
    weighted = lives.assign(weight=1.0 + (lives["grade"] == 1.0))
    a = fit_accelerated_failure_time(twice, ["grade"])
    b = fit_accelerated_failure_time(weighted, ["grade"])
    assert a.theta == pytest.approx(b.theta, rel=1e-8)


def test_unit_of_a_covariate_does_not_matter(survival: Any) -> None:
    lives = lives_with(survival, 80, 11).assign(odometer=lambda f: 1e6 + 3e5 * np.sin(f.index))
    miles = fit_accelerated_failure_time(lives, ["grade", "odometer"])
    lives["odometer"] *= 1.609344e6
    other = fit_accelerated_failure_time(lives, ["grade", "odometer"])
    assert other.log_likelihood == pytest.approx(miles.log_likelihood, abs=1e-8)
    assert other.coefficients["grade"] == pytest.approx(miles.coefficients["grade"], rel=1e-5)


def test_alike_lives_widen_the_errors(survival: Any) -> None:
    lives = survival.mixed_lives(80, 13).assign(grade=lambda f: np.arange(len(f)) % 2 * 1.0)
    six = pd.concat([lives.assign(unit_id=lives.index)] * 6, ignore_index=True)
    plain = fit_accelerated_failure_time(six, ["grade"])
    alike = fit_accelerated_failure_time(six, ["grade"], cluster="unit_id")
    ratio = alike.standard_errors["grade"] / plain.standard_errors["grade"]
    assert ratio == pytest.approx(np.sqrt(6.0), rel=0.25)
    assert alike.n_clusters == 80


def test_rows_without_information_are_left_out_with_their_covariates(survival: Any) -> None:
    lives = lives_with(survival, 60, 15)
    silent = lives.iloc[:5].assign(
        entry_miles=9e4, lower_miles=9e4, upper_miles=np.inf, grade=np.nan
    )
    fit = fit_accelerated_failure_time(pd.concat([silent, lives]), ["grade"])
    assert fit.theta == pytest.approx(fit_accelerated_failure_time(lives, ["grade"]).theta)


def test_refusals_say_what_to_do(survival: Any) -> None:
    lives = lives_with(survival, 40, 17).assign(life_id=lambda f: [f"L{i}" for i in f.index])
    with pytest.raises(LivesError, match="lack the covariate salt; add the column"):
        fit_accelerated_failure_time(lives, ["salt"])
    with pytest.raises(LivesError, match="2 of 80 lives have no grade: L0, L1; fill it"):
        fit_accelerated_failure_time(
            lives.assign(grade=lives["grade"].where(lives.index > 1)), ["grade"]
        )
    with pytest.raises(LivesError, match="covariate twin is the same for all lives or follows"):
        fit_accelerated_failure_time(lives.assign(twin=2 * lives["grade"]), ["grade", "twin"])
    with pytest.raises(LivesError, match="lack the column truck that makes lives alike"):
        fit_accelerated_failure_time(lives, ["grade"], cluster="truck")
    with pytest.raises(NoMaximumError, match="none of the 80 lives failed"):
        fit_accelerated_failure_time(lives.assign(upper_miles=np.inf, lower_miles=9e5), ["grade"])


def test_a_group_without_failures_is_named(survival: Any) -> None:
    lives = lives_with(survival, 40, 19)
    rare = lives["word"] == "g1"
    lives.loc[rare, "upper_miles"] = np.inf
    with pytest.raises(NoMaximumError, match="coefficient of grade runs away"):
        fit_accelerated_failure_time(lives, ["grade"])
