"""Checks of a fit: refuted where it should be, not where it should not; AIC against scipy."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pivotlife.models.fit_check import COLUMNS, aic, fit_checks, gain_test
from pivotlife.models.lives import check_lives, lives_for_mode
from pivotlife.models.redrawn_lives import in_gaps, likeness, redraw, usual_gap, watching
from pivotlife.models.weibull import fit_weibull

GAP = 25_000.0


def inspected(age: np.ndarray, seed: int, units: np.ndarray | None = None) -> pd.DataFrame:
    """Return lives looked at every 25,000 miles until some age."""
    random = np.random.default_rng(seed)
    visits = np.floor(random.uniform(150_000.0, 600_000.0, age.size) / GAP)
    before = np.minimum(np.floor(age / GAP), visits)
    failed = before < visits
    return pd.DataFrame(
        {
            "life_id": [f"L{n}" for n in range(age.size)],
            "unit_id": np.arange(age.size) if units is None else units,
            "lower_miles": GAP * before,
            "upper_miles": np.where(failed, GAP * (before + 1.0), np.inf),
            "entry_miles": 0.0,
        }
    )


def weibull_ages(n: int, seed: int) -> np.ndarray:
    return 300_000.0 * np.random.default_rng(seed).weibull(2.2, n)


def test_weibull_lives_are_not_refuted() -> None:
    p_values = [
        gain_test(check_lives(inspected(weibull_ages(300, seed), seed)), draws=40, seed=1).p_value
        for seed in range(4)
    ]
    assert np.median(p_values) > 0.1
    assert max(p_values) > 0.3


def test_two_batches_are_refuted() -> None:
    random = np.random.default_rng(2)
    age = np.where(
        random.random(400) < 0.35,
        60_000.0 * random.weibull(6.0, 400),
        400_000.0 * random.weibull(6.0, 400),
    )
    test = gain_test(check_lives(inspected(age, 2)), draws=40, seed=1)
    assert test.p_value == pytest.approx(1.0 / 41.0)
    assert test.draws == 40
    assert test.statistic > 40.0


def test_drawing_stops_once_ten_gained_as_much() -> None:
    test = gain_test(check_lives(inspected(weibull_ages(200, 3), 3)), draws=500, seed=1)
    assert test.draws < 500
    assert test.p_value == pytest.approx(10.0 / test.draws)


def test_criteria_are_those_of_a_direct_likelihood() -> None:
    """Interval and right-censored lives with late entry, by scipy's distributions."""
    lives = check_lives(
        inspected(weibull_ages(300, 5), 5)
        .assign(entry_miles=lambda t: np.where(t.index % 3 == 0, 0.5 * t["lower_miles"], 0.0))
        .query("upper_miles < inf or lower_miles > entry_miles")
    )
    fit = fit_weibull(lives)
    found = aic(lives, fit)
    unit = float(np.median(np.where(lives.is_failure, lives.upper, lives.lower)))

    def minus_twice(law: object) -> float:
        survival = law.sf  # type: ignore[attr-defined]  # scipy's frozen laws share no type
        gone = survival(lives.lower / unit) - survival(lives.upper / unit)
        kept = np.where(lives.is_failure, gone, survival(lives.lower / unit))
        return float(-2.0 * np.log(kept / survival(lives.entry / unit)).sum())

    known = minus_twice(stats.weibull_min(fit.shape, scale=fit.scale / unit))
    assert found["weibull"] == pytest.approx(known + 4.0, abs=1e-6)
    best = min(
        minus_twice(stats.lognorm(sigma, scale=np.exp(mu)))
        for mu in np.linspace(-0.3, 0.8, 45)
        for sigma in np.linspace(0.3, 1.2, 45)
    )
    assert found["lognormal"] == pytest.approx(best + 4.0, abs=0.3)
    assert found["lognormal"] <= best + 4.0 + 1e-6
    best = min(minus_twice(stats.expon(scale=scale)) for scale in np.linspace(0.5, 5.0, 400))
    assert found["exponential"] == pytest.approx(best + 2.0, abs=0.01)
    assert min(found, key=lambda law: found[law]) == "weibull"


def test_new_lives_keep_entries_visits_and_units() -> None:
    lives = in_gaps(
        check_lives(
            inspected(weibull_ages(400, 6), 6).assign(
                entry_miles=lambda t: np.where(t.index % 2 == 0, np.minimum(t.lower_miles, GAP), 0)
            )
        )
    )
    watched = watching(lives)
    fit = fit_weibull(lives)
    again = redraw(watched, fit, 0.0, np.random.default_rng(1))
    assert set(np.unique(again.entry)) <= set(np.unique(lives.entry))
    ages = np.concatenate([again.lower, again.upper[again.is_failure]])
    assert np.allclose(ages % GAP, 0.0)
    assert np.all(again.upper > again.lower)
    assert abs(again.n_failures - lives.n_failures) < 5.0 * np.sqrt(lives.n_failures)
    refits = [
        fit_weibull(redraw(watched, fit, 0.0, np.random.default_rng(seed))) for seed in range(10)
    ]
    assert np.mean([f.scale for f in refits]) == pytest.approx(fit.scale, rel=0.04)
    assert np.mean([f.shape for f in refits]) == pytest.approx(fit.shape, rel=0.06)


def test_lives_of_one_truck_are_drawn_alike() -> None:
    random = np.random.default_rng(7)
    unit = np.repeat(np.arange(80), 6)
    frailty = np.exp(0.4 * random.standard_normal(80))[unit]
    alike = likeness(fit_weibull(inspected(frailty * weibull_ages(480, 7), 7, unit)))
    alone = likeness(fit_weibull(inspected(weibull_ages(480, 8), 8, unit)))
    assert alike > 0.15
    assert alone < 0.1


def test_exact_ages_are_put_into_gaps() -> None:
    lives = check_lives(
        pd.DataFrame({"lower_miles": [40e3, 50e3, 90e3], "upper_miles": [60e3, 70e3, 90e3]})
    )
    assert usual_gap(lives) == 20_000.0
    assert in_gaps(lives).lower.tolist() == [40e3, 50e3, 70e3]


def test_the_table_has_every_type_and_duty(survival: ModuleType) -> None:
    lives = lives_for_mode(survival.table_of_lives(40, seed=1), "any")
    few = lives[(lives["bushing_type"] != "roller") | ~np.isfinite(lives["upper_miles"])]
    table = fit_checks(few, draws=3, seed=1)
    assert tuple(table.columns) == COLUMNS
    assert table.groupby("bushing_type")["duty"].apply(list).str.len().eq(4).all()
    roller = table[table["bushing_type"] == "roller"]
    assert roller["warning"].eq("too few failures to check a curve").all()
    assert roller["p_value"].isna().all()
    checked = table[table["bushing_type"] != "roller"]
    assert checked["p_value"].between(0.0, 1.0).all()
    again = fit_checks(few, draws=3, seed=1)
    pd.testing.assert_frame_equal(table, again)
