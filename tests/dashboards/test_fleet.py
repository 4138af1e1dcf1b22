"""The fleet page: every line once, in the chapter where it is looked for."""

from __future__ import annotations

from types import ModuleType

from pivotlife.dashboards.fleet import (
    CAUTIONS,
    acted_rows,
    as_written,
    fleet_context,
    left_reasons,
)


def test_chapters_come_in_the_order_of_the_morning(factory: ModuleType) -> None:
    context = fleet_context(factory.make_inputs())
    chapters = context["chapters"]
    found = [(c.name, c.size) for c in chapters]
    assert found == [
        ("park", "1 unit, 1 line"),
        ("must", "1 unit, 2 lines"),
        ("choice", "0 units, 0 lines"),
        ("measure", "1 unit, 1 line"),
    ]
    assert context["left_size"] == "1 pivot"
    assert context["depots"] == ["Lowfen", "Northpit", "Saltmere"]


def test_only_withheld_rows_that_acted_are_listed(factory: ModuleType) -> None:
    table = acted_rows(factory.small_tables()["quarantine"])
    assert [row[2].text for row in table.rows] == ["R-0077"]
    assert "1 row of 2 withheld" in table.caption
    assert "axle-shifted" in table.rows[0][3].notes[0]


def test_left_lines_are_counted_by_rule(factory: ModuleType) -> None:
    table = left_reasons(factory.small_tables()["shortlist"])
    assert [cell.text for cell in table.rows[0]] == ["leave", "1"]
    assert left_reasons(factory.empty("shortlist")).rows == ()


def test_cautions_say_which_and_when_never_how() -> None:
    told = " ".join(CAUTIONS)
    for word in (
        "never how",
        "maker's procedure",
        "qualified",
        "stands",
        "all force",
        "refuses grease",
    ):
        assert word in told.lower() or word in told


def test_a_withheld_row_reads_as_words() -> None:
    row = '{"reading_id": "R-1", "free_play": "<12", "remark": "", "repeat": null}'
    assert as_written(row) == "reading_id R-1; free_play <12"
    assert as_written("not JSON") == "not JSON"
    assert as_written("[1]") == "[1]"
