"""Inspection sheets: who stands on them, and that a filled one is a set of readings."""

from __future__ import annotations

import io
from pathlib import Path
from types import ModuleType
from typing import Any

import openpyxl
import pandas as pd
import pytest

from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.inspection_sheets import (
    READING_COLUMNS,
    due_rows,
    sheet_workbook,
    write_sheets,
)
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.sources import RawTable
from pivotlife.pipeline.work import Records

TODAY = 1000


def records(factory: ModuleType, *visits: dict[str, Any], **tables: Any) -> Records:
    fleet = factory.fleet(
        today=TODAY,
        pivots=factory.six_pivots(),
        odometer=[factory.odometer(990)],
        visits=list(visits),
        **tables,
    )
    nothing = pd.DataFrame()
    return Records(
        fleet.placed, fleet.histories, fleet.visits, fleet.safety, nothing, nothing, nothing
    )


def rows(factory: ModuleType, *visits: dict[str, Any], **asked: Any) -> pd.DataFrame:
    return due_rows(records(factory, *visits), factory.stamp(TODAY).date(), **asked)


@pytest.mark.parametrize(("ahead", "stands"), [(0, True), (13, True), (14, False)])
def test_the_coming_fourteen_days(factory: ModuleType, ahead: int, stands: bool) -> None:
    found = rows(factory, factory.visit(TODAY + ahead))
    assert len(found) == (6 if stands else 0)


def test_a_week_is_monday_to_sunday(factory: ModuleType) -> None:
    """Day 1000 is 2022-09-27, a Tuesday."""
    sunday = factory.visit(TODAY + 5)
    assert len(rows(factory, sunday, week=factory.stamp(TODAY).date())) == 6
    assert rows(factory, sunday, week=factory.stamp(TODAY + 6).date()).empty


def test_an_unknown_depot_is_an_error_with_the_nearest(factory: ModuleType) -> None:
    with pytest.raises(SettingsError, match=r"'Nothpit'.*nearest is 'Northpit'"):
        rows(factory, factory.visit(TODAY), depot="Nothpit")
    assert len(rows(factory, factory.visit(TODAY), depot="Northpit")) == 6


def test_a_filled_sheet_is_a_set_of_readings(factory: ModuleType) -> None:
    """Filled in as an inspector would, read back by another library, judged without a fault."""
    day = factory.stamp(TODAY).date()
    due = due_rows(records(factory, factory.visit(TODAY + 2)), day)
    book = openpyxl.load_workbook(io.BytesIO(sheet_workbook(due, day)))
    sheet = book["readings"]
    header = [cell.value for cell in sheet[1]]
    assert header[: len(READING_COLUMNS)] == list(READING_COLUMNS)
    assert sheet.freeze_panes == "F2"
    fill = {
        "reading_date": factory.date(TODAY + 2),
        "odometer": "100200",
        "free_play": "0.06",
        "free_play_unit": "in",
        "finding": "ok",
        "takes_grease": "yes",
    }
    for line in range(2, sheet.max_row + 1):
        for name, value in fill.items():
            sheet.cell(line, header.index(name) + 1, value)
    cells = [["" if c is None else str(c) for c in r] for r in sheet.iter_rows(2, values_only=True)]
    frame = pd.DataFrame(cells, columns=header)
    frame["row_number"] = range(2, len(frame) + 2)
    tables = {
        "units": [factory.unit()],
        "pivots": factory.six_pivots(),
        "repairs": [],
    }
    raw = factory.fleet(**tables)
    judged = judge(
        {
            "units": RawTable("units", Path("u.csv"), _frame(raw.tables["units"])),
            "pivots": RawTable("pivots", Path("p.csv"), _frame(raw.tables["pivots"])),
            "readings": RawTable("readings", Path("r.csv"), frame),
        }
    )
    assert judged.quarantine.empty
    good = judged.tables["readings"]
    assert sorted(good["pivot_id"]) == sorted(due["reading_id"].str[3:-9])
    assert good["free_play_mm"].tolist() == pytest.approx([1.524] * 6)


def _frame(table: Any) -> pd.DataFrame:
    frame = pd.DataFrame(list(table)).fillna("").astype(str)
    return frame.assign(row_number=range(2, len(frame) + 2))


def test_words_are_offered_where_only_words_are_allowed(factory: ModuleType) -> None:
    due = rows(factory, factory.visit(TODAY))
    book = openpyxl.load_workbook(io.BytesIO(sheet_workbook(due, factory.stamp(TODAY).date())))
    offered = {
        str(rule.sqref).split(":")[0].rstrip("0123456789"): rule.formula1
        for rule in book["readings"].data_validations.dataValidation
    }
    header = {cell.value: cell.column_letter for cell in book["readings"][1]}
    assert "seized" in offered[header["finding"]]
    assert "not-greasable" in offered[header["takes_grease"]]
    assert "thou" in offered[header["free_play_unit"]]
    assert header["odometer"] not in offered


def test_files_are_named_by_depot_and_day_and_escaped(factory: ModuleType, tmp_path: Path) -> None:
    due = rows(factory, factory.visit(TODAY)).assign(depot="../<b>North & pit")
    made = write_sheets(due, factory.settings(), factory.stamp(TODAY).date(), tmp_path)
    assert (made.units, made.pivots) == (1, 6)
    assert {path.parent for path in made.paths} == {tmp_path / "inspection"}
    assert [path.name for path in made.paths] == [
        f"b_North_pit-{factory.date(TODAY)}{end}" for end in (".xlsx", ".html")
    ]
    page = made.paths[1].read_text(encoding="utf-8")
    assert "&lt;b&gt;North &amp; pit" in page
    assert page.count("<tr><td>axle 1") == 6
    assert "No unit" not in page
