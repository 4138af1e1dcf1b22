"""Non-parametric curves: start, band, gradient, truth, and late entry."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import check_lives
from pivotlife.models.nonparametric import npmle
from pivotlife.models.turnbull import TurnbullProblem


def lives(rows: list[tuple[float, float, float]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["entry_miles", "lower_miles", "upper_miles"])


INF = np.inf


def test_a_curve_steps_at_the_failure_and_not_before() -> None:
    curve = npmle(lives([(0, 10, 10), (0, 20, 20), (0, 20, INF)]))
    assert curve.survival([0.0, 9.99, 10.0, 19.99, 20.0, 1e9]) == pytest.approx(
        [1.0, 1.0, 2 / 3, 2 / 3, 1 / 3, 1 / 3]
    )
    assert curve.from_miles == 0.0
    assert curve.last_miles == 20.0


def test_everything_failed_is_exactly_zero() -> None:
    curve = npmle(lives([(0, 10, 10), (0, 20, 20)]))
    assert curve.survival(20.0) == 0.0
    assert curve.lower(20.0) == 0.0
    assert 0.0 <= curve.lower(15.0) < 0.5 < curve.upper(15.0) <= 1.0


def test_no_failures_leave_the_curve_at_one() -> None:
    curve = npmle(lives([(0, 10, INF), (0, 20, INF)]))
    assert curve.survival([5.0, 50.0]).tolist() == [1.0, 1.0]
    assert curve.lower(5.0) == 1.0


def test_the_curve_starts_where_enough_lives_of_enough_units_are_at_risk() -> None:
    rows = lives([(float(entry), 100.0, INF) for entry in range(1, 21)])
    rows["unit_id"] = [f"U{row // 4}" for row in range(20)]
    assert npmle(rows).from_miles == 17.0  # the fifth unit's first life
    assert npmle(rows, minimum_units=2).from_miles == 10.0
    assert npmle(rows, 3, 1).from_miles == 3.0
    assert np.isnan(npmle(rows).survival(16.9))
    assert npmle(rows).survival(17.0) == 1.0
    assert npmle(rows).at_risk([0.5, 10.0, 100.0, 101.0]).tolist() == [0.0, 10.0, 20.0, 0.0]


def test_minima_do_not_count_without_late_entry() -> None:
    assert npmle(lives([(0, 10, 10)])).from_miles == 0.0


def test_too_few_at_risk_is_said() -> None:
    with pytest.raises(NoMaximumError, match=r"never 10 lives of 5 units at risk .*at most 2"):
        npmle(lives([(5, 10, INF), (6, 10, 12)]))
    with pytest.raises(NoMaximumError, match="no life carries information"):
        npmle(lives([(5, 5, INF)]))


@pytest.mark.parametrize("late", [0.0, 0.5])
def test_recovers_the_truth_with_gaps_and_late_entry(survival: Any, late: float) -> None:
    table = survival.mixed_lives(3_000, seed=6, late=late)
    curve = npmle(table)
    ages = np.array([100_000.0, 200_000.0, 300_000.0, 400_000.0])
    truth = np.exp(-((ages / 300_000.0) ** 2.2) + (curve.from_miles / 300_000.0) ** 2.2)
    assert np.max(np.abs(curve.survival(ages) - truth)) < 0.04
    assert curve.gradient_excess < 1e-8


def test_ignoring_the_entry_reads_too_long(survival: Any) -> None:
    table = survival.mixed_lives(3_000, seed=6, late=0.8)
    known, ignored = npmle(table), npmle(table.drop(columns="entry_miles"))
    assert ignored.survival(300_000.0) > known.survival(300_000.0) + 0.03


def test_band_holds_the_curve_and_repeats_with_its_seed(survival: Any) -> None:
    table = survival.mixed_lives(200, seed=7).assign(unit_id=np.arange(200) // 4)
    curve, again = npmle(table, draws=40, seed=3), npmle(table, draws=40, seed=3)
    ages = np.linspace(curve.from_miles, 400_000.0, 30)
    assert np.all(curve.lower(ages) <= curve.survival(ages) + 0.05)
    assert np.all(curve.upper(ages) >= curve.survival(ages) - 0.05)
    assert np.mean(curve.upper(ages) - curve.lower(ages)) > 0.02
    assert np.array_equal(curve.lower(ages), again.lower(ages))


def test_greenwood_band_narrows_with_more_lives() -> None:
    random = np.random.default_rng(4)
    widths = []
    for n in (50, 800):
        ages = 1_000.0 * random.weibull(2.0, n)
        curve = npmle(pd.DataFrame({"lower_miles": ages, "upper_miles": ages}))
        widths.append(curve.upper(800.0) - curve.lower(800.0))
    assert widths[1] == pytest.approx(widths[0] / 4.0, rel=0.3)


def test_thousands_of_exact_ages_beside_gaps_settle(survival: Any) -> None:
    curve = npmle(survival.mixed_lives(4_000, seed=9))
    assert curve.ages.size > 500
    assert curve.gradient_excess < 1e-8


@pytest.mark.parametrize("seed", range(4))
def test_every_sample_of_units_settles(survival: ModuleType, seed: int) -> None:
    """Wide gaps of uneven visits, late entry and units drawn twice: the gradient still vanishes."""
    random = np.random.default_rng(seed)
    frame = survival.mixed_lives(420, seed, late=0.5)
    frame["upper_miles"] += np.where(np.isfinite(frame["upper_miles"]), 40_000.0, 0.0)
    frame["unit_id"] = [f"MD-{n // 6:03d}" for n in range(len(frame))]
    checked = check_lives(frame)
    problem = TurnbullProblem.of(checked)
    chance = np.full(checked.n_units, 1.0 / checked.n_units)
    for _ in range(12):
        weight = random.multinomial(checked.n_units, chance)[checked.unit].astype(float)
        hazards, excess = problem.solve(weight)
        assert excess <= 1e-6
        assert (hazards >= 0.0).all()
