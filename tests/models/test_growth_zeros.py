"""Zeros that nobody measured: their share found again, little wear not taken for much."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_law import Density, GrowthLaw
from pivotlife.models.growth_readings import growth_readings
from pivotlife.models.growth_zeros import with_share_not_measured, zero_doubts

LIMIT_MM, RESOLUTION = 3.0, 0.05


def little_worn(factory: ModuleType, n: int, seed: int, lost: float) -> pd.DataFrame:
    """Bushings with little play, many true zeros, and a share of zeros nobody measured."""
    table: pd.DataFrame = factory.readings(
        n, seed, alpha=0.08, sigma_a=0.03, sigma_e=0.15, exponent=3.0, median_rate=0.2,
        spread=1.2, resolution=RESOLUTION, fewest=2, greased=0.25,
    )  # fmt: skip
    blank = np.random.default_rng(seed + 1).random(len(table)) < lost
    table["not_measured"] = blank
    table.loc[blank, "free_play_mm"] = 0.0
    return table


def the_law(density: Density = "normal", not_measured: float = 0.0) -> GrowthLaw:
    return GrowthLaw(
        density, 0.08, 0.03, 0.15, 3.0, np.log(0.2), 1.2, 1.0, -0.25, 1e5, not_measured
    )


@pytest.mark.parametrize("lost", [0.02, 0.1])
def test_the_share_is_found_again_under_the_true_law(factory: ModuleType, lost: float) -> None:
    table = little_worn(factory, 1_500, 3, lost)
    data = growth_readings(table)
    assert len(data.censored_row) > 0.2 * len(table)
    found = with_share_not_measured(the_law(), data).not_measured
    true = table["not_measured"].mean()
    assert found == pytest.approx(true, abs=4.0 * np.sqrt(true / len(table)))


def test_doubts_are_calibrated(factory: ModuleType) -> None:
    table = little_worn(factory, 1_500, 5, 0.08)
    doubts = zero_doubts(growth_readings(table), the_law(not_measured=0.08))
    zero = table["free_play_mm"] <= 0.5 * RESOLUTION
    assert len(doubts) == zero.sum()
    true = table.loc[zero, "not_measured"].sum()
    spread = np.sqrt((doubts * (1.0 - doubts)).sum())
    assert doubts.sum() == pytest.approx(true, abs=3.0 * spread)
    assert (doubts > 0.9).any()
    assert (doubts < 0.1).any()


def test_no_share_means_no_doubt(factory: ModuleType) -> None:
    data = growth_readings(little_worn(factory, 60, 7, 0.0))
    assert not zero_doubts(data, the_law()).any()


def test_chances_of_little_worn_bushings_come_true(factory: ModuleType) -> None:
    """A fleet fitted and asked: the chance is right where zeros are many and where there are none.

    Leaving out the doubtful zeros says too much for bushings that showed several.
    """
    table = little_worn(factory, 1_500, 11, 0.05)
    growth = FreePlayGrowth("normal").fit(table)
    assert growth.law_.not_measured == pytest.approx(0.05, abs=0.015)
    assert growth.law_.exponent == pytest.approx(3.0, rel=0.05)
    asked = table.groupby("pivot_id")["miles"].max() + 25_000.0
    said = growth.chance_over(table, LIMIT_MM, asked)
    first = table.groupby("pivot_id")[["start_mm", "rate"]].first()
    was = first["start_mm"] + first["rate"] * (asked / 1e5) ** 3.0 >= LIMIT_MM
    is_zero = table["free_play_mm"].le(0.0).astype(int)
    zeros = is_zero.groupby(table["pivot_id"]).sum()
    for group in (zeros == 0, zeros == 1, zeros >= 2):
        error = np.sqrt((said[group] * (1.0 - said[group])).sum()) / group.sum()
        assert said[group].mean() == pytest.approx(was[group].mean(), abs=3.0 * error + 0.002)


def test_one_zero_leaves_at_least_its_share_of_the_odds() -> None:
    """However clear a zero seems, a worn bushing may be behind it: a blank filled in."""
    growth = FreePlayGrowth("normal")
    rows = pd.DataFrame(
        {"pivot_id": "p", "miles": [2e5], "free_play_mm": [0.0], "resolution_mm": RESOLUTION}
    )
    share = 0.05
    law = the_law(not_measured=share)
    growth.law_ = law
    unread = law.chance_over(LIMIT_MM, np.array(2e5))
    found = growth.chance_over(rows, LIMIT_MM, 2e5)["p"]
    odds = found / (1.0 - found)
    before = unread / (1.0 - unread)
    assert share * before < odds < before
    growth.law_ = replace(law, not_measured=0.0)
    assert growth.chance_over(rows, LIMIT_MM, 2e5)["p"] < 0.01 * found


def test_who_trusts_every_reading_trusts_every_zero(factory: ModuleType) -> None:
    table = little_worn(factory, 200, 13, 0.0)
    fitted = FreePlayGrowth("normal", wild="keep").fit(table)
    assert fitted.law_.not_measured == 0.0
    assert fitted.estimate_.n_not_measured == 0
