"""Fitted lives as tables: one treatment at a time, words for what was not reached."""

from __future__ import annotations

import math
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.dashboards.comparison_tables import (
    cut_by,
    cut_table,
    one_treatment,
    pooled,
    removals_table,
    sample_words,
    type_table,
)
from pivotlife.dashboards.tables import Table


def texts(table: Table) -> list[list[str]]:
    return [[cell.text for cell in row] for row in table.rows]


def frame(factory: ModuleType, *rows: dict[str, object]) -> pd.DataFrame:
    return pd.DataFrame([factory.comparison_row(**row) for row in rows])


def test_pooled_rows_have_no_cut(factory: ModuleType) -> None:
    comparison = factory.small_tables()["comparison"]
    assert len(pooled(one_treatment(comparison))) == 3
    assert set(cut_by(one_treatment(comparison), "duty")["duty"]) == set(factory.DUTIES)


def test_the_best_treatment_is_shown_and_all_stand_side_by_side(factory: ModuleType) -> None:
    comparison = frame(
        factory,
        {"informative_removals": "counted", "b10": 100_000.0},
        {"informative_removals": "censored", "b10": 200_000.0},
    )
    assert texts(type_table(comparison))[0][6] == "200,000"
    assert {row[1] for row in texts(removals_table(comparison))} == {
        "as failures",
        "as still good when removed",
    }


def test_unadjusted_is_said(factory: ModuleType) -> None:
    caption = type_table(factory.small_tables()["comparison"]).caption
    assert "unadjusted: duty mix not removed" in caption
    assert "n = 960 lives" in caption


def test_an_interval_stands_below_its_estimate(factory: ModuleType) -> None:
    row = type_table(frame(factory, {})).rows[0]
    assert row[4].notes == ("1.87 to 2.53",)
    assert row[6].text == "150,000"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"b50": math.nan}, "not reached"),
        ({"shape": math.nan, "scale": math.nan, "b50": math.nan}, "too few failures"),
        ({"b50": math.inf}, "beyond the records"),
    ],
)
def test_missing_estimates_are_words(
    factory: ModuleType, change: dict[str, object], told: str
) -> None:
    assert texts(type_table(frame(factory, change)))[0][7] == told


def test_classes_of_a_cut_stand_side_by_side(factory: ModuleType) -> None:
    table = cut_table(factory.small_tables()["comparison"], "duty", "Duty", "Caption.")
    assert [row[:2] for row in texts(table)[:3]] == [
        ["line-haul", "roller"],
        ["line-haul", "rubber-bonded"],
        ["line-haul", "threaded"],
    ]


def test_samples_are_told(factory: ModuleType) -> None:
    assert sample_words(frame(factory, {})) == "failures of lives: threaded 120 of 320"
    assert sample_words(factory.empty("comparison")) == "n unknown"


def test_an_empty_comparison_says_so(factory: ModuleType) -> None:
    assert type_table(factory.empty("comparison")).empty == "No type has been fitted."
    assert removals_table(factory.empty("comparison")).rows == ()
