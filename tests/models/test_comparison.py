"""Likelihood-ratio tests between groups of lives."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.comparison import likelihood_ratio
from pivotlife.models.errors import LivesError, NoMaximumError


def groups(survival: Any, seed: int, **second: float) -> pd.DataFrame:
    both: pd.DataFrame = pd.concat(
        [
            survival.mixed_lives(200, seed).assign(kind="a"),
            survival.mixed_lives(200, seed + 1, **second).assign(kind="b"),
        ]
    )
    return both


def test_twins_do_not_differ(survival: Any) -> None:
    lives = survival.mixed_lives(200, 1)
    test = likelihood_ratio(pd.concat([lives.assign(kind="a"), lives.assign(kind="b")]), "kind")
    assert test.equal_shape.statistic == pytest.approx(0.0, abs=1e-8)
    assert test.equal_curves.p_value == pytest.approx(1.0, abs=1e-6)


def test_a_longer_life_shows_in_the_curves_and_not_in_the_shape(survival: Any) -> None:
    test = likelihood_ratio(groups(survival, 5, scale=600_000.0), "kind")
    assert test.equal_curves.p_value < 1e-8
    assert test.equal_shape.p_value > 0.01


def test_another_shape_shows_in_both(survival: Any) -> None:
    test = likelihood_ratio(groups(survival, 5, shape=5.0), "kind")
    assert test.equal_shape.p_value < 1e-6
    assert test.equal_curves.p_value < 1e-6
    assert test.equal_curves.statistic > test.equal_shape.statistic


def test_p_values_of_equal_groups_are_spread_evenly(survival: Any) -> None:
    p = [
        likelihood_ratio(groups(survival, 100 + 2 * k), "kind").equal_curves.p_value
        for k in range(80)
    ]
    # Kolmogorov's 1 % limit for 80 values.
    assert np.max(np.abs(np.sort(p) - (np.arange(80) + 0.5) / 80)) < 1.63 / np.sqrt(80)


def test_several_columns_make_the_groups(survival: Any) -> None:
    lives = groups(survival, 5).assign(duty=lambda frame: np.arange(len(frame)) % 2)
    test = likelihood_ratio(lives, ["kind", "duty"])
    assert test.groups == ("a 0", "a 1", "b 0", "b 1")
    assert test.equal_curves.degrees_of_freedom == 6


def test_a_group_without_failures_is_named(survival: Any) -> None:
    lives = groups(survival, 5)
    lives.loc[lives["kind"] == "b", "upper_miles"] = np.inf
    with pytest.raises(NoMaximumError, match="group b cannot be compared: none of the"):
        likelihood_ratio(lives, "kind")


def test_one_group_and_a_missing_column_are_refused(survival: Any) -> None:
    lives = survival.mixed_lives(50, 1).assign(kind="a")
    with pytest.raises(LivesError, match="two groups or more; kind has 1"):
        likelihood_ratio(lives, "kind")
    with pytest.raises(LivesError, match="lack the column duty"):
        likelihood_ratio(lives, "duty")
