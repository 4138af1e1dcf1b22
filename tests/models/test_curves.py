"""The tables behind the survival figures agree with the fits they are made from."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter

from pivotlife.models.curves import CURVE_COLUMNS, POINT_COLUMNS, CurveTables, curve_tables
from pivotlife.models.weibull import WeibullFit, fit_weibull


@pytest.fixture(scope="module")
def lives() -> pd.DataFrame:
    random = np.random.default_rng(5)
    age = 300_000.0 * random.weibull(2.0, 240)
    end = random.uniform(50_000.0, 500_000.0, 240)
    failed = age <= end
    return pd.DataFrame(
        {
            "bushing_type": "threaded",
            "duty": np.where(np.arange(240) % 2, "regional", "line-haul"),
            "unit_id": [f"MD-{n // 3:03d}" for n in range(240)],
            "entry_miles": 0.0,
            "lower_miles": np.where(failed, age, end),
            "upper_miles": np.where(failed, age, np.inf),
        }
    )


@pytest.fixture(scope="module")
def fits(lives: pd.DataFrame) -> dict[tuple[str, str], WeibullFit]:
    groups = {("threaded", "all"): lives}
    groups |= {("threaded", str(duty)): part for duty, part in lives.groupby("duty")}
    return {key: fit_weibull(part) for key, part in groups.items()}


@pytest.fixture(scope="module")
def made(lives: pd.DataFrame, fits: dict[tuple[str, str], WeibullFit]) -> CurveTables:
    return curve_tables(lives, fits, draws=40, seed=3)


def part(made: CurveTables, duty: str, curve: str) -> pd.DataFrame:
    table = made.curves
    return table[(table["duty"] == duty) & (table["curve"] == curve)].reset_index(drop=True)


def test_columns_and_groups(made: CurveTables) -> None:
    assert list(made.curves.columns) == CURVE_COLUMNS
    assert list(made.points.columns) == POINT_COLUMNS
    assert set(made.curves["duty"]) == {"all", "line-haul", "regional"}


def test_fitted_curve_is_the_fit(
    made: CurveTables, lives: pd.DataFrame, fits: dict[tuple[str, str], WeibullFit]
) -> None:
    drawn = part(made, "all", "weibull")
    fit = fits["threaded", "all"]
    np.testing.assert_allclose(drawn["survival"], fit.survival(drawn["miles"].to_numpy()))
    assert (drawn["lower"] <= drawn["survival"] + 1e-9).all()
    assert (drawn["upper"] >= drawn["survival"] - 1e-9).all()
    last = lives["lower_miles"].max()
    np.testing.assert_array_equal(drawn["beyond_data"], drawn["miles"] > last)
    assert drawn["beyond_data"].any()
    watched = [(lives["lower_miles"] >= m).sum() for m in drawn["miles"]]
    np.testing.assert_array_equal(drawn["at_risk"], watched)


def test_records_are_kaplan_meier(made: CurveTables, lives: pd.DataFrame) -> None:
    steps = part(made, "regional", "records")
    own = lives[lives["duty"] == "regional"]
    other = KaplanMeierFitter().fit(own["lower_miles"], np.isfinite(own["upper_miles"]))
    np.testing.assert_allclose(steps["survival"], other.predict(steps["miles"]), atol=1e-12)


def test_points_are_the_steps(made: CurveTables) -> None:
    points = made.points[made.points["duty"] == "all"]
    steps = part(made, "all", "records").set_index("miles")["survival"]
    np.testing.assert_allclose(points["failed_share"], 1.0 - steps[points["miles"]].to_numpy())
    assert (points["lower"] <= points["failed_share"] + 1e-12).all()
    assert (points["upper"] >= points["failed_share"] - 1e-12).all()


def test_one_life_a_unit_draws_the_profile_band(lives: pd.DataFrame) -> None:
    alone = lives.iloc[:60].assign(unit_id=[f"MD-{n:03d}" for n in range(60)])
    fit = fit_weibull(alone)
    made = curve_tables(alone, {("threaded", "all"): fit}, draws=2)
    drawn = part(made, "all", "weibull").iloc[40]
    limits = fit.interval(("survival", float(drawn["miles"])))
    assert (drawn["lower"], drawn["upper"]) == pytest.approx(limits[:2])


def test_too_few_lives_draw_nothing(lives: pd.DataFrame) -> None:
    late = lives.iloc[:3].assign(entry_miles=10.0)
    made = curve_tables(late, {}, draws=2)
    assert made.curves.empty
    assert list(made.points.columns) == POINT_COLUMNS
