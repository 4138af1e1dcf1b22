"""Failures that free play did not announce."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.missed_by_play import COLUMNS, NO_LIMIT, NO_READING, missed_by_play

MEASURE = {"regional": 30_000.0}


def life(**over: Any) -> dict[str, Any]:
    row = {
        "life_id": "L1",
        "bushing_type": "threaded",
        "duty": "regional",
        "mode": "wear",
        "first_evidence_miles": 100_000.0,
    }
    return {**row, **over}


def reading(**over: Any) -> dict[str, Any]:
    row = {"life_id": "L1", "age_miles": 100_000.0, "free_play_mm": 3.4, "limit_mm": 3.2}
    return {**row, **over}


def table(lives: list[dict[str, Any]], readings: list[dict[str, Any]]) -> pd.Series:
    frame = pd.DataFrame(readings, columns=list(reading()))
    found = missed_by_play(pd.DataFrame(lives), frame.astype({"limit_mm": float}), MEASURE)
    assert tuple(found.columns) == COLUMNS
    assert len(found) == 1
    return found.iloc[0]


def test_a_reading_over_its_limit_announced_the_failure() -> None:
    row = table([life()], [reading(), reading(age_miles=80_000.0, free_play_mm=2.0)])
    assert (row["with_reading"], row["missed"]) == (1, 0)
    assert row["median_last_play_over_limit"] == pytest.approx(3.4 / 3.2)


def test_a_seized_pin_that_read_nothing_was_missed() -> None:
    row = table([life(mode="seized")], [reading(free_play_mm=0.0)])
    assert (row["missed"], row["share_missed"]) == (1, 1.0)
    # Wilson's 95 % interval of 1 of 1, lower end 1 / (1 + 1.959964^2).
    assert row["share_missed_lower"] == pytest.approx(1.0 / (1.0 + 1.959964**2), abs=1e-6)


def test_of_one_day_the_worst_counts() -> None:
    row = table([life(mode="broken")], [reading(free_play_mm=1.0), reading(free_play_mm=3.3)])
    assert row["missed"] == 0


def test_an_older_reading_says_nothing() -> None:
    row = table([life()], [reading(age_miles=69_000.0, free_play_mm=1.0)])
    assert row["with_reading"] == 0
    assert np.isnan(row["share_missed"])
    assert row["warning"] == NO_READING
    edge = table([life()], [reading(age_miles=70_000.0, free_play_mm=1.0)])
    assert edge["missed"] == 1


def test_later_readings_do_not_count() -> None:
    row = table([life()], [reading(age_miles=101_000.0)])
    assert row["with_reading"] == 0


def test_without_a_limit_no_share_is_claimed() -> None:
    split = life(bushing_type="rubber-bonded", mode="split")
    row = table([split], [reading(limit_mm=np.nan, free_play_mm=5.0)])
    assert (row["failures"], row["with_reading"]) == (1, 1)
    assert np.isnan(row["missed"])
    assert row["warning"] == NO_LIMIT
    assert row["median_last_play_mm"] == 5.0


def test_a_reading_at_the_limit_is_over_it() -> None:
    row = table([life()], [reading(free_play_mm=3.2)])
    assert row["missed"] == 0


def test_what_has_not_failed_is_not_counted() -> None:
    lives = pd.DataFrame([life(mode="", first_evidence_miles=np.nan)])
    assert missed_by_play(lives, pd.DataFrame([reading()]), MEASURE).empty


def test_a_suspect_zero_is_left_out() -> None:
    frame = pd.DataFrame([reading(free_play_mm=0.0)]).assign(is_suspect=True)
    found = missed_by_play(pd.DataFrame([life()]), frame, MEASURE)
    assert found["with_reading"].tolist() == [0]
