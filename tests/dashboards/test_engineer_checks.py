"""The engineer's checks: what each table and sentence says, and what it says without data."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pandas as pd
import pytest

import checks_factory
from pivotlife.dashboards.check_tables import (
    early_effect,
    early_table,
    early_warnings,
    fit_sentences,
    fit_table,
    sensitivity_table,
)
from pivotlife.dashboards.engineer_checks import checks_context
from pivotlife.dashboards.gauge_tables import gauge_sentences, gauge_table
from pivotlife.dashboards.mode_tables import incidence_table, missed_table


@pytest.fixture(scope="module")
def checks() -> dict[str, Any]:
    return vars(checks_factory)


def texts(table: Any, row: int) -> list[str]:
    return [cell.text for cell in table.rows[row]]


def test_a_mode_is_written_with_and_without_the_others(checks: dict[str, Any]) -> None:
    table = incidence_table(checks["incidence"]())
    wear = table.rows[1]
    assert [cell.text for cell in wear[:4]] == ["threaded", "wear", "240", "fitted"]
    assert wear[4].text.replace("\u00a0", " ") == "18 %"
    assert wear[4].notes[0].replace("\u00a0", " ") == "alone 19 %"
    assert wear[6].text == "older than any seen"
    assert "independent cannot be tested" in table.caption


def test_missed_failures_are_counted_and_rubber_is_not_judged(checks: dict[str, Any]) -> None:
    table = missed_table(checks["missed"]())
    assert texts(table, 0)[:5] == ["threaded", "seized", "13", "12", "12"]
    assert texts(table, 2)[4:6] == ["not judged", "not judged"]
    assert "n = 543 failures" in table.caption


def test_sentences_say_what_speaks_against_a_curve(checks: dict[str, Any]) -> None:
    roller, threaded, rubber = fit_sentences(checks["fit_check"]())
    assert "the records speak against one Weibull curve for all duties (p = 0.010)" in roller
    assert roller.endswith("within a duty it does not fit vocational.")
    assert "nothing speaks against a Weibull curve (p = 0.24), which is no proof" in threaded
    assert rubber == "Rubber-bonded (3 failures): too few failures to check."
    assert texts(fit_table(checks["fit_check"]()), 4)[4] == "not tested"


def test_early_failures_warn_where_the_curve_misses_them(checks: dict[str, Any]) -> None:
    early = checks["early"]()
    said = early_warnings(early)
    assert len(said) == 2
    assert said[0].startswith("roller, whole type all: 32.6 early failures where")
    calm = early_warnings(early[early["warning"] == ""])
    assert calm == ("The fitted curves account for the early failures on record.",)
    assert texts(early_table(early), 1)[:6] == ["roller", "mode", "wear", "402", "31.6", "19.6"]


def test_b10_stands_with_and_without_early_failures(checks: dict[str, Any]) -> None:
    said = early_effect(checks["sensitivity"]())
    start = (
        "Roller, B10 in miles: 76,000 with its early failures, 122,000 without; that lies beyond"
    )
    assert said[0].startswith(start)
    assert said[1].endswith("too few failures without.")
    assert early_effect(checks["sensitivity"]().iloc[:0]) == ()
    table = sensitivity_table(checks["sensitivity"]())
    assert table.rows[0][2].notes == ("58,000 to 110,000",)


def test_a_gauge_study_is_put_into_words(checks: dict[str, Any]) -> None:
    said = gauge_sentences(checks["gauge"]())
    assert (
        said[0]
        .replace("\u00a0", " ")
        .startswith("A single reading, whoever took it, is typically off by 0.15 mm (0.006 in)")
    )
    assert "tells 11 groups of pivots apart" in said[0]
    assert said[1] == "No reading is marked as a repeat, so the daily records tell nothing."
    assert texts(gauge_table(checks["gauge"]()), 0)[2] == "interaction pooled (chosen)"


def test_a_study_that_says_nothing_says_why(checks: dict[str, Any]) -> None:
    failed = checks["gauge"]().iloc[:1].assign(quantity="", chosen=False, warning="one part only")
    assert "The study says nothing: one part only." in gauge_sentences(failed)
    assert gauge_table(failed).rows == ()


def test_without_rows_every_part_says_so(factory: ModuleType, checks: dict[str, Any]) -> None:
    empty = {name: table.iloc[:0] for name, table in checks["check_tables"]().items()}
    context = checks_context(empty)
    assert context["recurrences"] == ()
    assert fit_sentences(empty["fit_check"]) == ()
    assert any("No gauge study" in text for text in gauge_sentences(empty["gauge"]))
    page = factory.make_inputs(empty)
    assert isinstance(page.tables["gauge"], pd.DataFrame)


def test_both_counts_of_replacements_are_drawn(checks: dict[str, Any]) -> None:
    drawings = checks_context(checks["check_tables"]())["recurrences"]
    assert [drawing.title for drawing in drawings] == [
        "Replaced for any reason",
        "Replaced after a failure",
    ]
    assert "threaded 36 from 1,000 miles on" in drawings[0].caption
    assert "replacements per pivot" in drawings[0].svg
