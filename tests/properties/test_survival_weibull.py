"""What must hold for every set of lives: units, order, weights, cuts, bounds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pivotlife.models.collapse import collapse
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import check_lives
from pivotlife.models.no_failures import no_failure_bound
from pivotlife.models.weibull import WeibullFit, fit_weibull
from pivotlife.models.weibull_likelihood import LifeTerms, Point

AGES = ("entry_miles", "lower_miles", "upper_miles")


@st.composite
def one_life(draw: Any) -> tuple[float, float, float, float]:
    entry = draw(st.sampled_from([0.0, 0.0, 40.0, 90.0, 150.0]))
    lower = entry + draw(st.integers(1, 300))
    kind = draw(st.sampled_from(["exact", "gap", "censored"]))
    upper = {"exact": lower, "gap": lower + draw(st.integers(1, 200)), "censored": np.inf}[kind]
    return entry, float(lower), float(upper), float(draw(st.integers(1, 3)))


@st.composite
def some_lives(draw: Any, smallest: int = 4, largest: int = 25) -> pd.DataFrame:
    rows = draw(st.lists(one_life(), min_size=smallest, max_size=largest))
    return pd.DataFrame(rows, columns=[*AGES, "weight"])


def fit_or_reject(lives: pd.DataFrame) -> WeibullFit:
    try:
        fit = fit_weibull(lives)
    except NoMaximumError:
        assume(False)
        raise
    assume(np.all(np.diag(fit.covariance) > 0.0) and np.trace(fit.covariance) < 100.0)
    return fit


def value_at(lives: pd.DataFrame, shape: float, scale: float) -> Point:
    checked = check_lives(lives)
    return LifeTerms.of(checked).weighted(checked.weight).at(np.log(shape), np.log(scale))


def assert_same_curve(one: WeibullFit, other: WeibullFit, factor: float = 1.0) -> None:
    assert other.shape == pytest.approx(one.shape, rel=1e-6)
    assert other.scale == pytest.approx(factor * one.scale, rel=1e-6)
    assert other.covariance == pytest.approx(one.covariance, rel=1e-4, abs=1e-9)


@given(some_lives())
@settings(deadline=None, max_examples=60)
def test_kilometres_only_rescale(lives: pd.DataFrame) -> None:
    fit = fit_or_reject(lives)
    kilometres = lives.assign(**{name: lives[name] * 1.609344 for name in AGES})
    other = fit_weibull(kilometres)
    assert_same_curve(fit, other, 1.609344)
    interval, scaled = fit.interval(("quantile", 0.1)), other.interval(("quantile", 0.1))
    assert scaled.lower == pytest.approx(interval.lower * 1.609344, rel=1e-4)


@given(some_lives(), st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=60)
def test_order_does_not_matter(lives: pd.DataFrame, random: Any) -> None:
    order = random.sample(range(len(lives)), len(lives))
    assert_same_curve(fit_or_reject(lives), fit_weibull(lives.iloc[order]))


@given(some_lives())
@settings(deadline=None, max_examples=60)
def test_weight_two_is_the_row_twice(lives: pd.DataFrame) -> None:
    rows = np.repeat(np.arange(len(lives)), lives["weight"].astype(int))
    twice = lives.iloc[rows].assign(weight=1.0)
    fit, other = fit_or_reject(lives), fit_weibull(twice)
    assert_same_curve(fit, other)
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-9, abs=1e-9)


@given(some_lives(), st.floats(0.2, 8.0), st.floats(20.0, 2_000.0))
@settings(deadline=None, max_examples=100)
def test_collapsing_changes_nothing(lives: pd.DataFrame, shape: float, scale: float) -> None:
    checked = check_lives(pd.concat([lives, lives]))
    merged = collapse(checked)
    assert merged.n_lives < checked.n_lives
    points = [
        LifeTerms.of(some).weighted(some.weight).at(np.log(shape), np.log(scale))
        for some in (checked, merged)
    ]
    assert points[1] == pytest.approx(points[0], rel=1e-9, abs=1e-9)


@given(some_lives(), st.floats(0.05, 0.95), st.floats(0.2, 8.0), st.floats(100.0, 2_000.0))
@settings(deadline=None, max_examples=100)
def test_a_life_cut_at_a_good_reading_says_the_same(
    lives: pd.DataFrame, share: float, shape: float, scale: float
) -> None:
    cut = lives["entry_miles"] + share * (lives["lower_miles"] - lives["entry_miles"])
    before = lives.assign(lower_miles=cut, upper_miles=np.inf)
    after = lives.assign(entry_miles=cut)
    whole = value_at(lives, shape, scale)
    parts = value_at(pd.concat([before, after]), shape, scale)
    # 1e-10 of the terms' size: H of the oldest life bounds what rounding can do.
    size = 1.0 + abs(whole.value) + (lives["lower_miles"].max() / scale) ** shape * len(lives)
    assert parts.value == pytest.approx(whole.value, abs=1e-10 * size)


@given(some_lives(), st.lists(st.floats(0.0, 1e7), min_size=2, max_size=30))
@settings(deadline=None, max_examples=60)
def test_survival_never_rises_and_stays_between_0_and_1(
    lives: pd.DataFrame, ages: list[float]
) -> None:
    survival = fit_or_reject(lives).survival(np.sort(ages))
    assert np.all((survival >= 0.0) & (survival <= 1.0))
    assert np.all(np.diff(survival) <= 0.0)


@given(some_lives(), st.floats(10.0, 500.0))
@settings(deadline=None, max_examples=40)
def test_limits_of_a_survival_stay_between_0_and_1_around_it(
    lives: pd.DataFrame, miles: float
) -> None:
    fit = fit_or_reject(lives)
    interval = fit.interval(("survival", miles))
    assert 0.0 <= interval.lower <= fit.survival(miles) * (1 + 1e-9)
    assert fit.survival(miles) * (1 - 1e-9) <= interval.upper <= 1.0


@given(some_lives(1), st.floats(0.5, 5.0), st.floats(1.0, 500.0), st.data())
@settings(deadline=None, max_examples=100)
def test_no_failure_bound_moves_the_right_way(
    lives: pd.DataFrame, shape: float, more: float, data: Any
) -> None:
    lives = lives.assign(upper_miles=np.inf)
    bound = no_failure_bound(lives, shape)
    row = data.draw(st.integers(0, len(lives) - 1))
    longer = lives.copy()
    longer.loc[row, "lower_miles"] += more
    assert no_failure_bound(longer, shape) >= bound
    failed = lives.copy()
    failed.loc[row, "upper_miles"] = failed.loc[row, "lower_miles"]
    assert no_failure_bound(failed, shape) < bound
