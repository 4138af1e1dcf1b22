"""Verdicts and ratios side by side as the engineer reads them."""

from __future__ import annotations

from typing import Any

import pytest

from pivotlife.dashboards import fair_tables
from pivotlife.dashboards.inputs import COLUMNS


def cells(table: Any, row: int) -> list[str]:
    return [cell.text for cell in table.rows[row]]


@pytest.fixture
def tables(factory: Any) -> Any:
    return factory.small_tables()


def test_verdicts_are_sentences_on_the_whole_fleet(tables: Any) -> None:
    said = fair_tables.fair_verdicts(tables["life_ratios"])
    assert said == (
        "Threaded lasts less long than rubber-bonded in this fleet's mix",
        "Roller / rubber-bonded: not enough evidence yet: 3 roller and 230 rubber-bonded failures",
    )


def test_three_methods_stand_in_one_row(tables: Any) -> None:
    table = fair_tables.ratio_table(tables["life_ratios"])
    assert len(table.rows) == 3
    row = table.rows[1]
    assert cells(table, 1)[:6] == ["threaded / rubber-bonded", "all", "B10", "0.41", "0.74", "0.78"]
    assert row[3].notes == ("0.30 to 0.50",)
    assert cells(table, 1)[6:8] == ["190 / 230", "412"]


def test_what_is_not_told_is_words(tables: Any) -> None:
    table = fair_tables.ratio_table(tables["life_ratios"])
    assert cells(table, 0)[3:6] == ["not told"] * 3
    assert cells(table, 0)[7] == "unknown"
    assert cells(table, 2)[5] == "not told"


def test_balance_shows_signs_and_unknowns(tables: Any) -> None:
    table = fair_tables.balance_table(tables["balance"])
    assert cells(table, 0) == ["threaded / rubber-bonded", "duty vocational", "+0.93", "0.00"]
    assert cells(table, 1)[2] == "unknown"


def test_grease_and_outlasting(tables: Any) -> None:
    lube = fair_tables.lube_table(tables["lube_effect"])
    assert cells(lube, 0)[2:4] == ["1.050", "0.980"]
    assert cells(lube, 1)[2] == "too few failures"
    outlast = fair_tables.outlast_table(tables["outlast"])
    assert cells(outlast, 0)[2].startswith("46")
    assert cells(outlast, 0)[5] == "788,000"


def test_empty_tables_say_so() -> None:
    import pandas as pd

    made = {
        "life_ratios": fair_tables.ratio_table,
        "balance": fair_tables.balance_table,
        "outlast": fair_tables.outlast_table,
        "lube_effect": fair_tables.lube_table,
    }
    for name, build in made.items():
        table = build(pd.DataFrame(columns=list(COLUMNS[name])))
        assert table.rows == ()
        assert table.empty
