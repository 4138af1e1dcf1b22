"""Scores against hand-worked figures and scikit-learn; the stated test of calibration."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss

from pivotlife.models.backtest_calibration import (
    BIN_COLUMNS,
    SCORE_COLUMNS,
    calibration_bins,
    score,
    verdict,
)


def test_a_score_worked_by_hand(backtests: ModuleType) -> None:
    """Weights 1 and 3: forecast 0.35, found 0.25, Brier (0.64 + 3 x 0.16) / 4 = 0.28."""
    table = pd.DataFrame(
        [
            backtests.pair(unit_id="A", outcome="worn", chance_at_look=0.2, weight=1.0),
            backtests.pair(unit_id="B", outcome="sound", chance_at_look=0.4, weight=3.0),
        ]
    )
    found = score(table)
    assert list(found) == list(SCORE_COLUMNS)
    assert found["forecast"] == pytest.approx(0.35)
    assert found["found"] == pytest.approx(0.25)
    assert found["ratio"] == pytest.approx(0.25 / 0.35)
    assert found["brier"] == pytest.approx(0.28)
    assert found["skill"] == pytest.approx(1 - 0.28 / 0.1875)
    assert found["effective_sample_size"] == pytest.approx(1.6)
    assert found["verdict"] == "too few"


def test_brier_and_bins_agree_with_scikit_learn(backtests: ModuleType) -> None:
    rng = np.random.default_rng(5)
    table = backtests.many(5).assign(weight=rng.uniform(1.0, 4.0, 3_000))
    worn = table["outcome"].eq("worn")
    reference = brier_score_loss(worn, table["chance_at_look"], sample_weight=table["weight"])
    assert score(table)["brier"] == pytest.approx(reference)
    plain = table.assign(weight=1.0)
    whole = calibration_bins(plain)
    bins = whole[whole["duty"] == "all"]
    parts = whole[whole["duty"] != "all"].groupby("chance_from")["pairs"].sum()
    assert parts.tolist() == bins["pairs"].tolist()
    assert list(whole.columns) == list(BIN_COLUMNS)
    # Its bins are equally wide; ours are compared one by one.
    for row in bins.to_dict("records"):
        inside = plain["chance_at_look"].between(
            row["chance_from"], row["chance_to"], inclusive="right"
        )
        found, said = calibration_curve(worn[inside], plain.loc[inside, "chance_at_look"], n_bins=1)
        assert (row["forecast"], row["found"]) == pytest.approx((said[0], found[0]))


def test_right_chances_pass_and_wrong_ones_fail(backtests: ModuleType) -> None:
    """40 fleets of 150 trucks whose pivots are alike: under one in ten right ones may fail."""
    right = [score(backtests.many(seed, pairs=600, alike=0.5), draws=200) for seed in range(40)]
    assert sum(found["verdict"] == "not calibrated" for found in right) < 4
    for truth in (0.3, 4.0):
        wrong = [score(backtests.many(seed, pairs=600, truth=truth)) for seed in range(5)]
        assert all(found["verdict"] == "not calibrated" for found in wrong)


def test_the_interval_holds_the_truth(backtests: ModuleType) -> None:
    """95 % intervals of found over forecast over 60 fleets: 50 hold 1 unless luck is below 1 %."""
    held = 0
    for seed in range(100, 160):
        found = score(backtests.many(seed, pairs=600, units=100), draws=200)
        held += found["ratio_lower"] <= 1.0 <= found["ratio_upper"]
    assert held >= 51


@pytest.mark.parametrize(
    ("figures", "expected", "said"),
    [
        ({"worn": 9, "ratio": 3.0, "ratio_lower": 2.0, "ratio_upper": 4.0}, 3.0, "too few"),
        ({"worn": 0, "ratio": 0.0, "ratio_lower": 0.0, "ratio_upper": 0.0}, 20.0, "not calibrated"),
        ({"ratio": 1.4, "ratio_lower": 1.2, "ratio_upper": 1.6}, 20.0, "calibrated"),
        ({"ratio": 1.6, "ratio_lower": 1.2, "ratio_upper": 2.0}, 20.0, "not calibrated"),
        ({"ratio": 1.6, "ratio_lower": 0.9, "ratio_upper": 3.0}, 20.0, "calibrated"),
        ({"ratio": 0.6, "ratio_lower": 0.4, "ratio_upper": 0.8}, 20.0, "not calibrated"),
        ({"skill_upper": -0.01}, 20.0, "not calibrated"),
    ],
)
def test_the_rule_as_it_is_stated(figures: dict[str, float], expected: float, said: str) -> None:
    usual = {"worn": 30, "ratio": 1.0, "ratio_lower": 0.8, "ratio_upper": 1.2, "skill_upper": 0.3}
    assert verdict({**usual, **figures}, expected) == said


def test_nothing_verified_is_nothing_said(backtests: ModuleType) -> None:
    found = score(backtests.many(1, pairs=20).assign(weight=0.0))
    assert found["verdict"] == "too few"
    assert np.isnan(found["brier"])


def test_a_bin_with_worn_pivots_alone_is_no_certainty(backtests: ModuleType) -> None:
    table = backtests.many(1, pairs=6).assign(outcome="worn", chance_at_look=0.03)
    row = calibration_bins(table).set_index("chance_from").loc[0.01].iloc[0]
    assert (row["found"], row["found_upper"]) == (1.0, 1.0)
    assert row["found_lower"] == pytest.approx(0.5)
    alone = calibration_bins(table.head(1)).set_index("chance_from").loc[0.01].iloc[0]
    assert alone["found_lower"] == 0.0


def test_a_bin_without_a_worn_pivot_still_has_an_upper_limit(backtests: ModuleType) -> None:
    table = backtests.many(1, pairs=300).assign(outcome="sound", chance_at_look=0.03)
    row = calibration_bins(table).set_index("chance_from").loc[0.01].iloc[0]
    assert (row["found"], row["found_lower"]) == (0.0, 0.0)
    assert row["found_upper"] == pytest.approx(0.01)
