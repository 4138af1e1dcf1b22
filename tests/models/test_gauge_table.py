"""The gauges in one table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.gauge import gauge_study
from pivotlife.models.gauge_table import COLUMNS, HISTORY, STUDY, gauge_table


def study(seed: int = 1) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    rows = [
        (f"G{part}", f"I{who}", trial, 0.4 * part + 0.1 * who + random.normal(0.0, 0.15))
        for part in range(10)
        for who in range(3)
        for trial in range(3)
    ]
    return pd.DataFrame(rows, columns=["part", "inspector", "trial", "free_play_mm"])


def readings(repeat: str = "") -> pd.DataFrame:
    return pd.DataFrame(
        {
            "pivot_id": ["A", "A", "B", "B"],
            "reading_date": pd.Timestamp("2026-01-05"),
            "free_play_mm": [1.0, 1.2, 2.0, 2.2],
            "inspector": "Lowfen A",
            "tool": "dial indicator",
            "repeat": ["", repeat, "", repeat],
        }
    )


def test_both_versions_stand_and_the_chosen_one_is_marked() -> None:
    found = gauge_study(study(), limit_mm=3.2)
    table = gauge_table(study(), readings(), limit_mm=3.2)
    assert tuple(table.columns) == COLUMNS
    assert set(table["version"]) == {"interaction pooled", "interaction kept"}
    chosen = table[table["chosen"]].set_index("quantity")
    assert chosen.loc["gauge_rr", "standard_deviation_mm"] == pytest.approx(found.gauge_rr)
    assert chosen.loc["gauge_rr", "distinct_categories"] == found.distinct_categories
    row = chosen.loc["repeatability"]
    assert row["lower_mm"] < row["standard_deviation_mm"] < row["upper_mm"]
    assert row["percent_of_tolerance"] == pytest.approx(600.0 * found.repeatability / 3.2)
    assert table.loc[~table["chosen"], "lower_mm"].isna().all()


def test_repeats_in_the_records_stand_beside_the_study() -> None:
    table = gauge_table(study(), readings("2"), limit_mm=3.2)
    history = table[table["source"] == HISTORY]
    assert history["standard_deviation_mm"].to_numpy() == pytest.approx(np.sqrt(0.02))
    assert history["chosen"].all()


def test_a_study_that_cannot_be_evaluated_says_why() -> None:
    table = gauge_table(study()[lambda t: t["inspector"] == "I0"], readings())
    assert table["source"].tolist() == [STUDY]
    assert "one inspector" in table["warning"].iloc[0]
    assert not table["chosen"].any()
    assert table["standard_deviation_mm"].isna().all()


def test_nothing_on_record_gives_no_row() -> None:
    assert gauge_table(study().iloc[:0], readings()).empty
