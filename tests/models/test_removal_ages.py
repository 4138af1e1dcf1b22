"""Ages given to bushings removed because of their play: truth recovery and what is left alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.removal_ages import IMPUTATIONS, removal_ages

LIMIT = 3.2


def removed_fleet(lives: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame, np.ndarray]:
    """Play is 0.2 + 3 (m / T)^1.3; half the bushings are taken out at 40 to 90 % of T."""
    random = np.random.default_rng(seed)
    pace = np.where(np.arange(lives) % 2 == 0, 0.0, -1.0)
    failure = np.exp(pace) * 300_000.0 * random.weibull(2.5, lives)
    removed = np.arange(lives) % 4 < 2
    end = failure * np.where(removed, random.uniform(0.4, 0.9, lives), 1.1)
    table = pd.DataFrame(
        {
            "life_id": [f"L{i}" for i in range(lives)],
            "bushing_type": "threaded",
            "in_fit": True,
            "informative": removed,
            "upper_miles": np.where(removed, np.inf, failure),
            "failure": failure,
        }
    )
    share = np.array([0.3, 0.5, 0.7, 0.85, 1.0])
    age = end[:, None] * share
    play = 0.2 + 3.0 * (age / failure[:, None]) ** 1.3 + 0.12 * random.standard_normal(age.shape)
    readings = pd.DataFrame(
        {
            "life_id": np.repeat(table["life_id"].to_numpy(), share.size),
            "age_miles": age.ravel(),
            "free_play_mm": np.maximum(play.ravel(), 0.01),
            "limit_mm": LIMIT,
        }
    )
    return table, readings, pace


def test_the_true_age_lies_among_the_draws() -> None:
    lives, readings, pace = removed_fleet(120, 1)
    ages = removal_ages(lives, readings, pace, seed=2)
    assert ages.shape == (int(lives["informative"].sum()), IMPUTATIONS)
    failure = lives.set_index("life_id")["failure"].reindex(ages.index)
    error = np.log(ages.median(axis="columns") / failure)
    assert abs(error.mean()) < 0.05
    # The rank of the truth among twenty draws is even: mean 0.5, here within 3 standard errors.
    rank = (ages.to_numpy() < failure.to_numpy()[:, None]).mean(axis=1)
    assert rank.mean() == pytest.approx(0.5, abs=3 * 0.29 / np.sqrt(len(rank)) + 0.03)


def test_only_removals_that_are_in_the_fit_and_read_are_aged() -> None:
    lives, readings, pace = removed_fleet(80, 3)
    lives.loc[0, "in_fit"] = False
    readings = readings[readings["life_id"] != "L1"].assign(takes_grease="yes")
    readings.loc[readings["life_id"] == "L4", "takes_grease"] = "no"
    ages = removal_ages(lives, readings, pace)
    assert set(ages.index) == set(lives.loc[lives["informative"], "life_id"]) - {"L0", "L1", "L4"}


def test_without_readings_or_limit_nothing_is_aged() -> None:
    lives, readings, pace = removed_fleet(80, 3)
    assert removal_ages(lives, None, pace).empty
    assert removal_ages(lives, readings.drop(columns="limit_mm"), pace).empty
    assert removal_ages(lives, readings.assign(limit_mm=np.nan), pace).empty
    assert removal_ages(lives.assign(informative=False), readings, pace).empty
