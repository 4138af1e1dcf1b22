"""Repeatability from the daily records: which readings are repeats, and what follows from them."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pivotlife.models.gauge import GaugeError
from pivotlife.models.gauge_history import repeatability_from_history


def readings(*rows: Mapping[str, object]) -> pd.DataFrame:
    """Readings that differ from a usual one only as said."""
    usual = {
        "pivot_id": "MD-014.1.left.fixed-eye",
        "reading_date": "2024-03-05",
        "free_play_mm": 1.0,
        "inspector": "inspector 1",
        "tool": "dial",
        "direction": "vertical",
        "repeat": "",
    }
    frame = pd.DataFrame([{**usual, **row} for row in rows])
    return frame.assign(reading_date=pd.to_datetime(frame["reading_date"]))


def view(found: pd.DataFrame, inspector: str, tool: str) -> pd.Series:
    rows = found[(found["inspector"] == inspector) & (found["tool"] == tool)]
    assert len(rows) == 1
    return rows.iloc[0]


def test_squares_add_up_over_sets() -> None:
    other = {"pivot_id": "MD-020.1.right.shackle-lower", "inspector": "inspector 2"}
    found = repeatability_from_history(
        readings(
            {"free_play_mm": 1.0, "repeat": "1"},
            {"free_play_mm": 1.2, "repeat": "2"},
            {"free_play_mm": 2.0, "repeat": "1", **other},
            {"free_play_mm": 2.3, "repeat": "2", **other},
            {"free_play_mm": 2.6, "repeat": "3", **other},
        )
    )
    every = view(found, "all", "all")
    assert every["degrees_of_freedom"] == 3
    assert (every["sets"], every["readings"]) == (2, 5)
    squares = 0.02 + 0.18
    assert every["repeatability_mm"] == pytest.approx(math.sqrt(squares / 3))
    assert every["lower_mm"] == pytest.approx(math.sqrt(squares / stats.chi2.ppf(0.975, 3)))
    assert every["upper_mm"] == pytest.approx(math.sqrt(squares / stats.chi2.ppf(0.025, 3)))
    assert view(found, "inspector 1", "all")["repeatability_mm"] == pytest.approx(math.sqrt(0.02))
    assert view(found, "inspector 2", "dial")["repeatability_mm"] == pytest.approx(0.3)
    assert len(found) == 1 + 2 + 1 + 2


@pytest.mark.parametrize(
    "change",
    [
        {"repeat": ""},
        {"inspector": "inspector 2"},
        {"tool": "bar"},
        {"reading_date": "2024-03-06"},
        {"direction": "lateral"},
        {"pivot_id": "MD-014.1.right.fixed-eye"},
        {"free_play_mm": np.nan},
        {"reading_date": None},
    ],
)
def test_readings_that_are_no_repeats_are_not_used(change: dict[str, object]) -> None:
    second = {"free_play_mm": 1.2, "repeat": "2"}
    assert not repeatability_from_history(readings({}, second)).empty
    assert repeatability_from_history(readings({}, {**second, **change})).empty


def test_readings_of_no_known_pivot_are_not_used() -> None:
    unknown = {"pivot_id": "", "repeat": "2"}
    assert repeatability_from_history(readings(unknown, {**unknown, "free_play_mm": 2.0})).empty


def test_repeats_that_never_differ_are_said_to_hide_the_spread() -> None:
    found = repeatability_from_history(readings({"repeat": "1"}, {"repeat": "2"}))
    every = view(found, "all", "all")
    assert every["repeatability_mm"] == 0.0
    assert math.isnan(every["upper_mm"])
    assert "step of recording" in every["warning"]


def test_known_spreads_are_recovered() -> None:
    rng = np.random.default_rng(8)
    true = {"inspector 1": 0.1, "inspector 2": 0.2}
    rows = [
        {
            "pivot_id": f"MD-{pivot:03d}.1.left.fixed-eye",
            "inspector": inspector,
            "repeat": str(trial),
            "free_play_mm": 1.0 + 0.01 * pivot + sd * rng.standard_normal(),
        }
        for pivot in range(300)
        for inspector, sd in true.items()
        for trial in (1, 2)
    ]
    found = repeatability_from_history(readings(*rows))
    for inspector, sd in true.items():
        row = view(found, inspector, "dial")
        assert row["repeatability_mm"] == pytest.approx(sd, rel=4.0 / math.sqrt(2 * 300))
        assert row["lower_mm"] < row["repeatability_mm"] < row["upper_mm"]


def test_a_missing_column_is_named() -> None:
    with pytest.raises(GaugeError, match="lack the column repeat"):
        repeatability_from_history(readings({}).drop(columns="repeat"))
