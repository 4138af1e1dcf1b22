"""Life curves of all duties at the pace of one, and how far a type follows the paces."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.life_pace import paced_fits
from pivotlife.models.type_table import fit_by_type_and_duty

AGES = ["entry_miles", "lower_miles", "upper_miles"]


@pytest.fixture(scope="module")
def lived(survival: ModuleType) -> pd.DataFrame:
    """Lives of 240 trucks; vocational ones last 0.3 as long as the table's own 0.8."""
    table: pd.DataFrame = survival.table_of_lives(240, 3)
    hard = table["duty"] == "vocational"
    table.loc[hard, AGES] *= 0.3 / 0.8
    return table


def rare(lived: pd.DataFrame) -> pd.DataFrame:
    """The same lives, rollers hardly seen outside the hard duty."""
    easy = (lived["bushing_type"] == "roller") & (lived["duty"] != "vocational")
    seen = np.random.default_rng(1).random(len(lived)) < 0.1
    return lived[~easy | seen]


def test_an_easy_duty_is_not_judged_by_the_hard_one(
    lived: pd.DataFrame, survival: ModuleType
) -> None:
    scale = survival.SCALES["roller"] * survival.DUTY_FACTOR["line-haul"]
    true = scale * (-np.log(0.8)) ** (1.0 / survival.SHAPES["roller"])
    few = rare(lived)
    paced = paced_fits(few)["roller", "line-haul"].quantile(0.2)
    pooled = fit_by_type_and_duty(few)["roller", "all"].quantile(0.2)
    assert paced == pytest.approx(true, rel=0.15)
    assert pooled < 0.6 * true


def test_a_type_whose_lives_do_not_follow_duty_keeps_one_curve(lived: pd.DataFrame) -> None:
    """Rollers that last as long in hard duty: the paces of the other types are not theirs."""
    steady = lived.copy()
    mine = (steady["bushing_type"] == "roller") & (steady["duty"] == "vocational")
    steady.loc[mine, AGES] /= 0.3
    found = paced_fits(steady)
    apart = found["roller", "line-haul"].scale / found["roller", "vocational"].scale
    assert apart == pytest.approx(1.15, abs=0.25)
    followed = found["threaded", "line-haul"].scale / found["threaded", "vocational"].scale
    assert followed > 2.5


def test_exact_failures_count_per_mile(lived: pd.DataFrame) -> None:
    """Ages known to a mile say the same as ages known to a hundred miles."""
    failed = np.isfinite(lived["upper_miles"]) & (lived["lower_miles"] > 0)
    middle = 0.5 * (lived["lower_miles"] + lived["upper_miles"])
    exact, close = lived.copy(), lived.copy()
    exact.loc[failed, "lower_miles"] = exact.loc[failed, "upper_miles"] = middle[failed]
    close.loc[failed, "lower_miles"] = middle[failed] - 50.0
    close.loc[failed, "upper_miles"] = middle[failed] + 50.0
    one, other = paced_fits(exact), paced_fits(close)
    for key, fit in one.items():
        assert fit.scale == pytest.approx(other[key].scale, rel=0.002)


def test_not_knowing_how_far_a_type_follows_widens_the_curve(lived: pd.DataFrame) -> None:
    few = paced_fits(rare(lived))
    far, near = (few["roller", duty].covariance[1, 1] for duty in ("vocational", "regional"))
    assert far > near
    assert (
        few["roller", "regional"].covariance[0, 0] == few["roller", "vocational"].covariance[0, 0]
    )


def test_without_paces_or_failures_there_is_no_curve(lived: pd.DataFrame) -> None:
    assert paced_fits(lived[lived["duty"] == "regional"]) == {}
    sound = lived.copy()
    sound.loc[sound["bushing_type"] == "roller", "upper_miles"] = np.inf
    found = paced_fits(sound)
    assert ("roller", "regional") not in found
    assert ("threaded", "regional") in found
