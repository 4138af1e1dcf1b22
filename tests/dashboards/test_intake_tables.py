"""What the records hold and what looks wrong in them, as the engineer reads it."""

from __future__ import annotations

from types import ModuleType

import pandas as pd

from pivotlife.dashboards.intake_tables import (
    odometer_stretches,
    profile_sentence,
    profile_table,
    suspect_kinds,
)
from pivotlife.dashboards.pages import build_pages
from pivotlife.dashboards.tables import Table


def cells(table: Table) -> list[list[str]]:
    return [[cell.text for cell in row] for row in table.rows]


def test_kinds_are_counted_with_an_example(factory: ModuleType) -> None:
    table = suspect_kinds(factory.small_tables()["suspects"])
    zero, kilometres = cells(table)
    assert zero[0] == "zero-not-measured"
    assert zero[2:] == ["2", "1", "1", "readings RD-1 (MD-014): 0 after 1.50 mm"]
    assert kilometres[2:5] == ["2", "1", "0"]
    assert table.caption.startswith("4 suspect values, 1 of them left out")
    assert suspect_kinds(factory.empty("suspects")).rows == ()


def test_a_stretch_of_odometers_is_one_line(factory: ModuleType) -> None:
    (line,) = cells(odometer_stretches(factory.small_tables()["suspects"]))
    assert line[:2] == ["MD-031", "kilometres"]
    assert line[3:] == ["2", "odometer row 88, odometer row 93"]


def test_long_stretches_name_only_their_first_rows(factory: ModuleType) -> None:
    suspects = factory.small_tables()["suspects"]
    many = pd.concat([suspects.head(1)] * 12, ignore_index=True)
    (line,) = cells(odometer_stretches(many))
    assert line[-1].endswith("and 4 more")


def test_an_unknown_kind_is_shown_all_the_same(factory: ModuleType) -> None:
    suspects = factory.small_tables()["suspects"].assign(kind="something-new")
    ((kind, *_),) = cells(suspect_kinds(suspects))
    assert kind == "something-new"


def test_the_profile_is_one_sentence_and_a_table(factory: ModuleType) -> None:
    profile = factory.small_tables()["profile"]
    assert profile_sentence(profile) == (
        "The records hold 9,000 rows, readings of 170 of 179 units, readings of 1,000 of 1,074 "
        "pivots, half of the pivots in service that have a reading were read within 131 days."
    )
    rows = cells(profile_table(profile))
    assert rows[0] == ["rows", "readings", "8,000", "97.0\u00a0%", "200 withheld, 40 repeated"]
    assert rows[-1][2:4] == ["131 days", ""]


def test_evidence_is_escaped_on_the_page(factory: ModuleType) -> None:
    rows = factory.small_tables()["suspects"].iloc[[3]]
    page = build_pages(factory.make_inputs({"suspects": rows}))["engineer.html"]
    assert "<b>1.60</b>" not in page
    assert "&lt;b&gt;1.60" in page
