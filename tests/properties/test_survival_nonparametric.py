"""The non-parametric curve against brute force on a handful of lives, and what must always hold."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from pivotlife.models.nonparametric import SurvivalCurve, npmle


@st.composite
def few_lives(draw: Any, late: bool = True) -> pd.DataFrame:
    rows = []
    for _ in range(draw(st.integers(2, 12))):
        entry = draw(st.sampled_from([0, 0, 2, 5] if late else [0]))
        lower = entry + draw(st.integers(0, 8))
        kind = draw(st.sampled_from(["exact", "gap", "gap", "censored"]))
        if kind == "gap":
            rows.append((entry, lower, lower + draw(st.integers(1, 6))))
        else:
            rows.append((entry, lower + 1, lower + 1 if kind == "exact" else np.inf))
    names = ["entry_miles", "lower_miles", "upper_miles"]
    return pd.DataFrame(rows, columns=names, dtype=float)


def log_likelihood(lives: pd.DataFrame, masses: np.ndarray, ages: np.ndarray) -> float:
    """Log of the product of P(failure where it was seen | alive at entry), from point masses."""
    total = 0.0
    for entry, lower, upper in lives.to_numpy():
        exact = lower == upper
        seen = (ages == lower) if exact else ((ages > lower) & (ages <= upper))
        total += np.log(max(masses[seen].sum(), 1e-300) / max(masses[ages > entry].sum(), 1e-300))
    return total


def brute_force(lives: pd.DataFrame) -> float:
    """Largest log-likelihood over masses on every half mile, by a general optimiser."""
    finite = lives.to_numpy()[np.isfinite(lives.to_numpy())]
    ages = np.arange(0.5, finite.max() + 1.5, 0.5)

    def negative(logits: np.ndarray) -> float:
        masses = np.exp(logits - logits.max())
        return -log_likelihood(lives, masses / masses.sum(), ages)

    found = [
        minimize(
            negative,
            start,
            method="L-BFGS-B",
            bounds=[(-30.0, 30.0)] * ages.size,
            options={"maxiter": 3000, "maxfun": 10**6, "ftol": 1e-13},
        )
        for start in (np.zeros(ages.size), np.linspace(2.0, -2.0, ages.size))
    ]
    return -min(float(result.fun) for result in found)


def likelihood_of_curve(lives: pd.DataFrame) -> float:
    """The same likelihood at the curve, from its hazard increments, entry by entry."""
    problem = npmle(lives, 1, 1).problem
    if problem is None:
        curve = npmle(lives.assign(entry_miles=lives["entry_miles"]), 1, 1)
        ages, hazards = curve.ages, curve.hazards
    else:
        ages, hazards = problem.ages, problem.solve(np.ones(len(lives)))[0]
    total = 0.0
    for entry, lower, upper in lives.to_numpy():
        exact = lower == upper
        survived = (ages > entry) & (ages < lower if exact else ages <= lower)
        seen = (ages == lower) if exact else ((ages > lower) & (ages <= upper))
        total -= hazards[survived].sum()
        if np.isfinite(upper):
            total += np.log(-np.expm1(-hazards[seen].sum()))
    return total


@given(few_lives())
@settings(deadline=None, max_examples=12)
def test_no_curve_explains_the_lives_better(lives: pd.DataFrame) -> None:
    lives = lives[(lives["lower_miles"] > lives["entry_miles"]) | (lives["upper_miles"] < np.inf)]
    assert likelihood_of_curve(lives) >= brute_force(lives) - 1e-6


@given(few_lives(late=False))
@settings(deadline=None, max_examples=60)
def test_masses_balance_at_the_maximum(lives: pd.DataFrame) -> None:
    """Turnbull's own condition: each mass is the average of the lives' shares of it."""
    curve = npmle(lives)
    steps = np.concatenate([[1.0], curve.survival(curve.ages)])
    masses, left = -np.diff(steps), steps[-1]
    expected = np.zeros(masses.size)
    for _, lower, upper in lives.to_numpy():
        exact = lower == upper
        inside = curve.ages == lower if exact else (curve.ages > lower) & (curve.ages <= upper)
        share = masses * inside
        rest = left if np.isinf(upper) else 0.0
        expected += share / max(share.sum() + rest, 1e-300)
    assert expected / len(lives) == pytest.approx(masses, abs=1e-6)


def assert_survival(curve: SurvivalCurve, ages: np.ndarray) -> None:
    """Between 0 and 1, never rising, 1 where it begins, missing before."""
    values = curve.survival(ages)
    assert np.all(np.isnan(values) == (ages < curve.from_miles))
    known = values[~np.isnan(values)]
    assert np.all((known >= 0.0) & (known <= 1.0))
    assert np.all(np.diff(known) <= 0.0)
    assert curve.survival(curve.from_miles) == 1.0


@given(few_lives())
@settings(deadline=None, max_examples=60)
def test_a_curve_is_a_survival(lives: pd.DataFrame) -> None:
    lives = pd.concat(
        [lives, pd.DataFrame({"entry_miles": [0.0], "lower_miles": [3.0], "upper_miles": [np.inf]})]
    )
    assert_survival(npmle(lives, 1, 1), np.arange(0.0, 30.0, 0.25))


@given(few_lives(), st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=40)
def test_order_and_doubling_change_nothing(lives: pd.DataFrame, random: Any) -> None:
    lives = pd.concat(
        [lives, pd.DataFrame({"entry_miles": [0.0], "lower_miles": [3.0], "upper_miles": [np.inf]})]
    )
    order = random.sample(range(len(lives)), len(lives))
    ages = np.arange(0.0, 30.0, 0.5)
    known = npmle(lives, 1, 1)
    shuffled = npmle(lives.iloc[order].assign(weight=2.0), 1, 1)
    assert known.from_miles == shuffled.from_miles
    one, other = known.problem, shuffled.problem
    if one is None or other is None:
        assert shuffled.survival(ages) == pytest.approx(known.survival(ages), nan_ok=True)
        return
    # The maximum may be attained by several curves; its gradient is zero at each.
    assert known.gradient_excess <= 1e-9
    assert shuffled.gradient_excess <= 1e-9
