"""Readings as they come: loaded, after grease, rounded, wild, zero, falling; and too few."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.models.errors import LivesError, NoMaximumError
from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_law import Density, GrowthLaw
from pivotlife.models.growth_weights import student_weight


@pytest.fixture(scope="module")
def growth(factory: ModuleType) -> FreePlayGrowth:
    table = factory.readings(800, 21, fewest=2, loaded=0.3, greased=0.3)
    return FreePlayGrowth("normal").fit(table)


def one(play: list[float], **columns: object) -> pd.DataFrame:
    miles = 25_000.0 * np.arange(1, len(play) + 1)
    return pd.DataFrame({"pivot_id": "p", "miles": miles, "free_play_mm": play, **columns})


def test_a_loaded_or_greased_reading_means_more_play(growth: FreePlayGrowth) -> None:
    play = [0.8, 1.1, 1.5]
    plain = growth.play_at(one(play), 75_000.0).play_mm["p"]
    loaded = growth.play_at(one(play, load_state="loaded"), 75_000.0).play_mm["p"]
    greased = growth.play_at(one(play, greased_before="yes"), 75_000.0).play_mm["p"]
    assert loaded == pytest.approx(plain / 0.7, rel=0.1)
    assert greased == pytest.approx(plain + 0.25, abs=0.1)
    flagged = growth.play_at(one(play, after_grease=True), 75_000.0).play_mm["p"]
    assert flagged == pytest.approx(greased)
    assert growth.play_at(one(play, load_state=""), 75_000.0).play_mm["p"] == pytest.approx(plain)


def test_one_wild_reading_moves_little(growth: FreePlayGrowth) -> None:
    play = [0.9, 1.2, 1.6, 2.0, 2.5]
    wild = play.copy()
    wild[2] = 6.0
    asked = 150_000.0
    clean = growth.play_at(one(play), asked).play_mm["p"]
    robust = growth.play_at(one(wild), asked).play_mm["p"]
    trusting = FreePlayGrowth("normal", wild="keep")
    trusting.law_ = growth.law_
    naive = trusting.play_at(one(wild), asked).play_mm["p"]
    assert abs(robust - clean) < 0.1
    assert abs(naive - clean) > 0.2
    marked = growth.deviations(one(wild))
    assert marked.weight.idxmin() == 2
    assert marked.weight[2] < 0.05
    assert (marked.weight.drop(2) > 0.9).all()


def test_a_reading_lower_than_the_last_is_gauge_error(growth: FreePlayGrowth) -> None:
    steady = growth.chance_over(one([0.9, 1.2, 1.6, 2.0]), 3.0, 125_000.0)["p"]
    falling = growth.chance_over(one([0.9, 1.2, 1.6, 1.5]), 3.0, 125_000.0)["p"]
    assert 0 < falling < steady
    play = growth.play_at(one([0.9, 1.2, 1.6, 1.5]), 100_000.0).play_mm["p"]
    assert 1.5 < play < 2.0


def test_a_zero_among_high_readings_is_not_measured(growth: FreePlayGrowth) -> None:
    with_zero = one([0.9, 1.2, 1.6, 0.0])
    without = growth.chance_over(one([0.9, 1.2, 1.6]), 3.0, 150_000.0)["p"]
    assert growth.chance_over(with_zero, 3.0, 150_000.0)["p"] == pytest.approx(without, abs=1e-4)


def test_a_zero_on_a_young_bushing_counts_as_small(factory: ModuleType) -> None:
    table = factory.readings(600, 4, alpha=0.1, exponent=3.0, sigma_e=0.15, resolution=0.05)
    fitted = FreePlayGrowth("normal").fit(table)
    none = one([np.nan, np.nan], resolution_mm=0.05)
    zeros = one([0.0, 0.0], resolution_mm=0.05)
    before = fitted.play_at(none, 50_000.0).play_mm["p"]
    after = fitted.play_at(zeros, 50_000.0).play_mm["p"]
    assert after < before
    # Taken as measured 0.00 they would pull further down than "too small to be read".
    exact = fitted.play_at(one([0.026, 0.026], resolution_mm=0.05), 50_000.0).play_mm["p"]
    assert exact == pytest.approx(after, abs=0.15)


def test_coarse_readings_widen_the_bounds(growth: FreePlayGrowth) -> None:
    play = [1.5875, 1.5875, 3.175]
    fine = growth.play_at(one(play), 1e5)
    coarse = growth.play_at(one(play, resolution_mm=1.5875), 1e5)
    width = [float((found.upper_mm - found.lower_mm)["p"]) for found in (fine, coarse)]
    assert width[1] > 1.5 * width[0]


def test_the_law_stands_wild_readings_and_zeros_not_measured(factory: ModuleType) -> None:
    table = factory.readings(1_000, 6, wild=0.02, fewest=3)
    lost = np.random.default_rng(1).random(len(table)) < 0.03
    table.loc[lost, "free_play_mm"] = 0.0
    fitted = FreePlayGrowth("normal").fit(table)
    assert fitted.law_.exponent == pytest.approx(1.4, rel=0.02)
    assert fitted.law_.sigma_e_mm == pytest.approx(0.12, rel=0.2)
    assert fitted.estimate_.n_wild > 0.5 * 0.02 * len(table)
    assert fitted.estimate_.n_not_measured > 0.5 * lost.sum()
    for probability in (0.05, 0.5):
        age = factory.true_crossing_miles(probability, draws=400_000)
        assert fitted.law_.crossing_miles(3.0, probability) == pytest.approx(age, rel=0.06)


def test_weights_leave_ordinary_readings_alone() -> None:
    weights = student_weight(np.array([0.0, -2.9, 3.0, 5.0, -10.0]))
    np.testing.assert_allclose(weights, [1.0, 1.0, 1.0, 5 / 29, 5 / 104])
    assert np.all(np.diff(student_weight(np.linspace(0, 20, 400))) <= 0)


def refused(table: pd.DataFrame, match: str) -> None:
    with pytest.raises(NoMaximumError, match=match):
        FreePlayGrowth().fit(table)


def test_too_little_is_refused_with_a_sentence(factory: ModuleType) -> None:
    table = factory.readings(40, 1, fewest=2)
    refused(factory.readings(60, 1, most=1), "Only 0 of 60 bushings were read at two ages or more")
    refused(table[table.pivot_id == 0], "Only 1 of 1 bushings")
    refused(table.assign(free_play_mm=1.0), r"All \d+ readings are 1 mm")
    refused(table.assign(free_play_mm=0.0), "no measured reading above zero")
    refused(table.iloc[:0], "no measured reading")
    refused(table.assign(miles=1e5), "read at two ages")
    shrinking = 2.0 - 1e-6 * table.miles + 0.3 * (table.free_play_mm - table.true_mm)
    refused(table.assign(free_play_mm=shrinking), "do not show how play grows")


def test_unusable_tables_name_the_rows(factory: ModuleType) -> None:
    table = factory.readings(10, 1)
    with pytest.raises(LivesError, match="lack the column miles"):
        FreePlayGrowth().fit(table.drop(columns="miles"))
    with pytest.raises(LivesError, match=r"1 readings have an age .* first at 0"):
        FreePlayGrowth().fit(table.assign(miles=np.r_[-5.0, table.miles[1:]]))


@pytest.mark.parametrize(
    ("overrides", "sentence"),
    [
        ({"sigma_e": 0.0, "sigma_a": 0.0}, "without any gauge error"),
        ({"spread": 1e-6}, "no difference in growth"),
        ({"sigma_a": 1e-6}, "No spread of the starting play"),
    ],
)
def test_a_missing_spread_is_said(
    factory: ModuleType, overrides: dict[str, float], sentence: str
) -> None:
    fitted = FreePlayGrowth("normal").fit(factory.readings(60, 2, fewest=3, **overrides))
    assert any(sentence in warning for warning in fitted.warnings_)
    assert fitted.law_.exponent == pytest.approx(1.4, abs=0.1)


def test_few_bushings_and_few_loaded_readings_are_said(factory: ModuleType) -> None:
    table = factory.readings(12, 2, fewest=3).assign(load_state="")
    table.loc[[0, 5], "load_state"] = "loaded"
    warnings = FreePlayGrowth().fit(table).warnings_
    assert any("Only 12 bushings" in warning for warning in warnings)
    assert any("2 loaded and" in warning for warning in warnings)


READING = st.tuples(
    st.floats(0, 1e6),
    st.one_of(st.just(float("nan")), st.just(0.0), st.floats(0, 4), st.floats(0, 1e4)),
    st.sampled_from(["loaded", "unloaded", ""]),
    st.sampled_from(["yes", "no", ""]),
    st.sampled_from([0.0, 0.0254, 1.5875]),
)


@pytest.mark.parametrize("density", ["normal", "weibull"])
@given(rows=st.lists(READING, min_size=1, max_size=8))
@settings(max_examples=60, deadline=None)
def test_any_readings_get_a_chance_that_never_falls_with_age(
    density: Density, rows: list[tuple[float, float, str, str, float]]
) -> None:
    growth = FreePlayGrowth(density)
    growth.law_ = GrowthLaw(density, 0.2, 0.06, 0.15, 1.4, 0.7, 0.5, 0.7, -0.25)
    names = ["miles", "free_play_mm", "load_state", "greased_before", "resolution_mm"]
    table = pd.DataFrame(rows, columns=names).assign(pivot_id="p")
    ages = (0.0, 1e3, 5e4, 1e5, 2e5, 1e6)
    chances = np.array([growth.chance_over(table, 3.0, age)["p"] for age in ages])
    assert np.all((chances >= 0) & (chances <= 1))
    assert np.all(np.diff(chances) >= -1e-4)
    play = growth.play_at(table, 1e5)
    assert np.isfinite(play.to_numpy()).all()
    assert (play.lower_mm <= play.upper_mm).all()
    assert growth.miles_until(table, 3.0, 0.1)["p"] >= 0
