"""What a withheld row still tells: every danger that can be read in it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from judge_rows import REPAIR, raw_of, reading_of
from pivotlife.pipeline.judge import judge


def test_a_withheld_row_tells_every_danger_it_can() -> None:
    row = (
        reading_of(odometer="?", finding=" Seized", side="lft", free_play="4", free_play_unit="mm")
        .withheld["readings"]
        .iloc[0]
    )
    assert row["finding"] == "seized"
    assert row["finding_as_written"] == ""
    assert row["free_play_mm"] == 4.0
    assert row["pivot_id"] == ""
    assert row["side"] == ""
    assert row["unit_id"] == "MD-001"
    assert row["reading_date"] == pd.Timestamp("2020-05-01")
    assert np.isnan(row["odometer_miles"])


def test_a_withheld_row_keeps_a_finding_nobody_can_read() -> None:
    row = reading_of(finding="crakced eye").withheld["readings"].iloc[0]
    assert (row["finding"], row["finding_as_written"]) == ("", "crakced eye")


@pytest.mark.parametrize(
    ("play", "unit", "millimetres", "number"),
    [
        ("0.2", "", np.nan, 0.2),
        ("0.2", "furl", np.nan, 0.2),
        ("0.2 in", "", 5.08, 0.2),
        ("3,5", "mm", 3.5, 3.5),
        (">3", "mm", 3.0, 3.0),
        ("3-4", "mm", 4.0, 4.0),
        ("-4", "mm", 4.0, 4.0),
        ("60", "in", 1524.0, 60.0),
        ("3/16", "1/16", 4.7625, 0.1875),
        ("1/8", "mm", 3.175, 0.125),
        ("1/8", "", np.nan, 0.125),
        ("loose", "mm", np.nan, np.nan),
    ],
)
def test_a_withheld_play_is_read_generously(
    play: str, unit: str, millimetres: float, number: float
) -> None:
    row = reading_of(free_play=play, free_play_unit=unit).withheld["readings"].iloc[0]
    assert row["free_play_as_written"] == play
    assert row["free_play_mm"] == pytest.approx(millimetres, nan_ok=True)
    assert row["free_play_number"] == pytest.approx(number, nan_ok=True)


def test_a_withheld_repair_tells_its_tear_down() -> None:
    repair = REPAIR | {
        "repair_date": "last May",
        "entered_date": "2021-06-01",
        "teardown_finding": "brokn",
        "teardown_free_play": "0.15",
        "reason": "snapped",
    }
    row = judge(raw_of(repairs=[repair])).withheld["repairs"].iloc[0]
    assert pd.isna(row["repair_date"])
    assert row["entered_date"] == pd.Timestamp("2021-06-01")
    assert row["teardown_finding_as_written"] == "brokn"
    assert row["reason_as_written"] == "snapped"
    assert row["teardown_free_play_number"] == 0.15
    assert np.isnan(row["teardown_free_play_mm"])
