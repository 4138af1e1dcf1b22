"""The pace of duties out of lives of all types, and a law read back at a pace."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_cells import fit_laws
from pivotlife.models.growth_pace import at_pace, duty_paces


@pytest.fixture(scope="module")
def lived(survival: ModuleType) -> pd.DataFrame:
    table: pd.DataFrame = survival.table_of_lives(240, 3)
    return table


@pytest.fixture(scope="module")
def known(fleets: ModuleType) -> Any:
    return fleets.fleet(200, 5)


def test_paces_are_the_ratios_of_lives(lived: pd.DataFrame, survival: ModuleType) -> None:
    paces = duty_paces(lived)
    true = survival.DUTY_FACTOR
    assert set(paces) == set(true)
    for duty, factor in true.items():
        ratio = paces[duty] / paces["line-haul"]
        assert ratio == pytest.approx(factor / true["line-haul"], rel=0.1)
    assert min(paces.values()) < 1.0 < max(paces.values())


def test_types_may_be_missing_in_a_duty(lived: pd.DataFrame, survival: ModuleType) -> None:
    """Rollers unseen in one duty, rubber in another: the third type ties the duties together."""
    gone = (lived["bushing_type"] == "roller") & (lived["duty"] == "line-haul")
    gone |= (lived["bushing_type"] == "rubber-bonded") & (lived["duty"] == "vocational")
    paces = duty_paces(lived[~gone])
    true = survival.DUTY_FACTOR
    found = paces["vocational"] / paces["line-haul"]
    assert found == pytest.approx(true["vocational"] / true["line-haul"], rel=0.15)


def test_duties_that_share_no_type_have_no_pace(lived: pd.DataFrame) -> None:
    apart = {"roller": "line-haul", "threaded": "regional", "rubber-bonded": "vocational"}
    alone = lived["duty"] == lived["bushing_type"].map(apart)
    assert duty_paces(lived[alone]) == {}
    assert duty_paces(lived.iloc[:0]) == {}


def test_a_paced_law_speaks_of_miles_as_the_law_of_slower_miles(known: Any) -> None:
    rows = known.readings[known.readings["bushing_type"] == "threaded"]
    read = rows.assign(pivot_id=rows["life_id"], miles=rows["age_miles"])
    slow = FreePlayGrowth("normal").fit(read.assign(miles=read["miles"] / 0.25))
    hard = at_pace(slow, 0.25)
    asked = slow.chance_over(read.assign(miles=read["miles"] / 0.25), 3.2, 1_200_000.0)
    np.testing.assert_allclose(hard.chance_over(read, 3.2, 300_000.0), asked, atol=1e-9)
    due = slow.miles_until(read.assign(miles=read["miles"] / 0.25), 3.2, 0.2, 0.0)
    np.testing.assert_allclose(4.0 * hard.miles_until(read, 3.2, 0.2, 0.0), due, rtol=1e-4)
    assert slow.law_.miles_scale == pytest.approx(4.0 * hard.law_.miles_scale)


def test_a_duty_that_was_hardly_read_grows_at_its_own_pace(known: Any, lived: pd.DataFrame) -> None:
    """Thirty lives in a duty four times as hard: their law crosses at a quarter of the miles."""
    threaded = known.readings["bushing_type"] == "threaded"
    few = set(known.readings.loc[threaded, "life_id"].drop_duplicates().iloc[:30])
    hard = known.readings["life_id"].isin(few)
    age = known.readings["age_miles"].where(~hard, known.readings["age_miles"] / 4.0)
    readings = known.readings.assign(age_miles=age, duty=np.where(hard, "vocational", "regional"))
    paces = duty_paces(lived)
    quarter = lived["lower_miles"].where(lived["duty"] != "vocational", np.nan)
    factor = 0.25 * paces["regional"] / paces["vocational"]
    ends = ["entry_miles", "lower_miles", "upper_miles"]
    lives = lived.copy()
    lives.loc[quarter.isna(), ends] *= factor
    lives = lives[lives["bushing_type"] != "threaded"]
    laws = fit_laws(readings[threaded], lives)
    law, note = laws.law("threaded", "vocational")
    assert law is not None
    assert note.startswith("too few bushings read often enough in vocational: growth of all")
    assert law.name == "threaded, all duties at the pace of vocational"
    crossing = law.growth.law_.crossing_miles(3.2, 0.5)
    true = 0.25 * 500_000.0 * np.log(2.0) ** (1 / 2.2)
    assert crossing == pytest.approx(true, rel=0.2)
    mixed = laws.laws["threaded", "all"].growth.law_
    assert mixed.log_rate_spread > 1.15 * law.growth.law_.log_rate_spread
