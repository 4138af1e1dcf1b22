"""The estimator: it finds the law that made the readings, and speaks of each pivot as it should."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.exceptions import NotFittedError

from pivotlife.models.errors import LivesError
from pivotlife.models.growth import FreePlayGrowth


@pytest.fixture(scope="module")
def frame(factory: ModuleType) -> pd.DataFrame:
    table: pd.DataFrame = factory.readings(800, 21, fewest=2)
    return table


@pytest.fixture(scope="module")
def growth(frame: pd.DataFrame) -> FreePlayGrowth:
    return FreePlayGrowth("normal").fit(frame)


def test_it_is_an_estimator_of_scikit_learn() -> None:
    estimator = FreePlayGrowth("weibull", n_nodes=9, seed=4)
    copy = clone(estimator)
    assert copy.get_params() == estimator.get_params()
    assert copy.set_params(density="auto").density == "auto"
    with pytest.raises(NotFittedError):
        copy.chance_over(pd.DataFrame(), 3.0, 1e5)
    with pytest.raises(ValueError, match="density must be one of normal, weibull, auto"):
        FreePlayGrowth("lognormal").fit(pd.DataFrame())  # type: ignore[arg-type] # the fault tested


@pytest.mark.parametrize("density", ["normal", "weibull"])
def test_the_law_is_recovered_and_aic_chooses(factory: ModuleType, density: str) -> None:
    table = factory.readings(
        1_500, 7, density=density, loaded=0.3, greased=0.3, resolution=0.1, fewest=2
    )
    fitted = FreePlayGrowth().fit(table)
    law, best = fitted.law_, fitted.estimate_.best
    assert law.density == density
    truth = {
        "alpha_mm": 0.6,
        "log_sigma_e": np.log(0.12),
        "log_exponent": np.log(1.4),
        "log_load_factor": np.log(0.7),
        "grease_offset_mm": -0.25,
    }
    for name, value in truth.items():
        low, high = best.interval(name, 0.999)
        assert low < value < high, name
    for probability in (0.05, 0.1, 0.5):
        age = factory.true_crossing_miles(probability, density=density, draws=400_000)
        assert law.crossing_miles(3.0, probability) == pytest.approx(age, rel=0.06)
    if density == "weibull":
        assert law.weibull_shape() == pytest.approx(3.0, rel=0.1)


def test_the_wrong_density_is_unsafe_at_one_percent(factory: ModuleType) -> None:
    """A normal of the same moments promises the weakest bushings of a Weibull fleet too long."""
    table = factory.readings(3_000, 9, density="weibull", fewest=3)
    wrong = FreePlayGrowth("normal").fit(table).law_.crossing_miles(3.0, 0.001)
    right = FreePlayGrowth("auto").fit(table).law_.crossing_miles(3.0, 0.001)
    truth = factory.true_crossing_miles(0.001, density="weibull")
    assert right == pytest.approx(truth, rel=0.15)
    assert wrong > 1.3 * truth


def test_chances_rise_with_age_and_fall_with_the_limit(
    frame: pd.DataFrame, growth: FreePlayGrowth
) -> None:
    ages = [0.0, 1e4, 5e4, 1e5, 2e5, 1e6]
    chances = np.array([growth.chance_over(frame, 3.0, age) for age in ages])
    assert np.all((chances >= 0) & (chances <= 1))
    assert np.all(np.diff(chances, axis=0) >= -1e-7)
    lower, higher = (growth.chance_over(frame, limit, 1e5) for limit in (2.0, 3.0))
    assert (lower - higher).min() >= -1e-7
    assert chances[0].max() < 1e-3


def test_play_bounds_hold_the_truth_as_often_as_they_say(
    frame: pd.DataFrame, growth: FreePlayGrowth
) -> None:
    last = frame.groupby("pivot_id")["miles"].last()
    play = growth.play_at(frame, last, level=0.8)
    truth = frame.groupby("pivot_id")["true_mm"].last()
    inside = ((play.lower_mm <= truth) & (truth <= play.upper_mm)).mean()
    assert inside == pytest.approx(0.8, abs=4 * np.sqrt(0.16 / len(truth)))
    assert (play.play_mm - truth).mean() == pytest.approx(0.0, abs=0.02)
    chance = growth.chance_over(frame, play.upper_mm, last)
    np.testing.assert_allclose(chance, 0.1, atol=1e-6)


def test_miles_until_agrees_with_the_chance(frame: pd.DataFrame, growth: FreePlayGrowth) -> None:
    to_go = growth.miles_until(frame, 6.0, 0.1, from_miles=0.0)
    np.testing.assert_allclose(growth.chance_over(frame, 6.0, to_go), 0.1, atol=1e-5)
    from_last = growth.miles_until(frame, 6.0, 0.1)
    last = frame.groupby("pivot_id")["miles"].last()
    np.testing.assert_allclose(from_last, np.maximum(to_go - last, 0.0), atol=1e-6)
    assert np.isinf(growth.miles_until(frame, 1e9, 0.5)).all()
    with pytest.raises(ValueError, match="between 0 and 1"):
        growth.miles_until(frame, 3.0, 0.0)


def test_only_the_current_life_counts(factory: ModuleType, growth: FreePlayGrowth) -> None:
    worn = pd.DataFrame({"pivot_id": "a", "life_id": "old", "miles": [1e5], "free_play_mm": [4.0]})
    fresh = pd.DataFrame({"pivot_id": "a", "life_id": "new", "miles": [2e4], "free_play_mm": [0.7]})
    both = pd.concat([worn, fresh])
    alone = growth.chance_over(fresh, 3.0, 1e5)
    pd.testing.assert_series_equal(growth.chance_over(both, 3.0, 1e5), alone)
    unread = pd.concat([worn, fresh.assign(life_id="newest", free_play_mm=np.nan)])
    prior = growth.law_.chance_over(3.0, np.array(1e5))
    assert growth.chance_over(unread, 3.0, 1e5)["a"] == pytest.approx(prior, abs=1e-3)
    mixed = growth.chance_over(both.drop(columns="life_id"), 3.0, 1e5)
    assert mixed["a"] > alone["a"]


def test_order_of_rows_and_names_do_not_matter(frame: pd.DataFrame, growth: FreePlayGrowth) -> None:
    some = frame[frame.pivot_id < 50]
    named = some.assign(pivot_id=[f"MD-{p:03d}.1.left.fixed-eye" for p in some.pivot_id])
    shuffled = named.sample(frac=1.0, random_state=3)
    one = growth.chance_over(some, 3.0, 9e4)
    other = growth.chance_over(shuffled, 3.0, 9e4).sort_index()
    np.testing.assert_allclose(other.to_numpy(), one.to_numpy(), atol=1e-9)
    assert other.index[0] == "MD-000.1.left.fixed-eye"


def test_limits_and_ages_by_pivot(frame: pd.DataFrame, growth: FreePlayGrowth) -> None:
    some = frame[frame.pivot_id < 4]
    limits = pd.Series({3: 2.0, 2: 3.2, 1: 3.2, 0: 3.2})
    found = growth.chance_over(some, limits, 8e4)
    assert found[3] == growth.chance_over(some, 2.0, 8e4)[3]
    assert found[0] == growth.chance_over(some, 3.2, 8e4)[0]
    with pytest.raises(LivesError, match="limit_mm lacks 2 pivots that have readings, first 2, 3"):
        growth.chance_over(some, limits[[0, 1]], 8e4)
    with pytest.raises(LivesError, match="at_miles names a pivot twice"):
        growth.chance_over(some, 3.2, pd.Series([1.0, 2.0], index=[0, 0]))


def test_the_band_is_wide_for_a_small_fleet(factory: ModuleType) -> None:
    few, many = factory.readings(25, 3, fewest=2), factory.readings(2_000, 3, fewest=2)
    asked = pd.DataFrame({"pivot_id": ["x"], "miles": [3e4], "free_play_mm": [1.0]})
    widths = []
    for table in (few, many):
        fitted = FreePlayGrowth("normal").fit(table)
        band = fitted.chance_band(asked, 3.0, 1e5)
        assert (band.lower <= band.upper).all()
        assert band.lower["x"] <= fitted.chance_over(asked, 3.0, 1e5)["x"] + 0.05
        widths.append(float((band.upper - band.lower)["x"]))
    assert widths[0] > 3 * widths[1]
    again = FreePlayGrowth("normal").fit(few).chance_band(asked, 3.0, 1e5)
    pd.testing.assert_frame_equal(
        again, FreePlayGrowth("normal").fit(few).chance_band(asked, 3.0, 1e5)
    )


def test_many_lives_are_drawn_by_seed(factory: ModuleType) -> None:
    table = factory.readings(1_200, 5, fewest=2)
    one, two, other = (
        FreePlayGrowth("normal", most_lives=600, seed=seed).fit(table) for seed in (1, 1, 2)
    )
    assert one.estimate_.n_lives == 600
    assert one.law_ == two.law_
    assert one.law_ != other.law_
    assert one.law_.exponent == pytest.approx(other.law_.exponent, rel=0.02)
