"""The spreadsheet of the shortlist, read back by another library."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.workbook import workbook_bytes

DAY = dt.date(2026, 6, 30)


def read_back(table: pd.DataFrame) -> openpyxl.worksheet.worksheet.Worksheet:
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(table, "shortlist", DAY)))
    assert book.sheetnames == ["shortlist"]
    return book["shortlist"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "=HYPERLINK(1)"])
def test_no_text_is_run_as_a_formula(text: str) -> None:
    cell = read_back(pd.DataFrame({"remark": [text]}))["A2"]
    assert cell.data_type == "s"
    assert str(cell.value).startswith("'")


def test_kinds_stay_kinds_and_gaps_stay_empty() -> None:
    table = pd.DataFrame(
        {
            "day": [pd.Timestamp("2026-07-03"), pd.NaT],
            "miles": [1.5, float("nan")],
            "axle": pd.array([1, None], dtype="Int64"),
            "mandatory": [True, False],
            "why": ["http://no.link", ""],
        }
    )
    sheet = read_back(table)
    assert [cell.value for cell in sheet[2]][1:] == [1.5, 1, True, "http://no.link"]
    assert pd.Timestamp(sheet["A2"].value) == pd.Timestamp("2026-07-03")
    assert sheet["A2"].number_format == "yyyy-mm-dd"
    assert sheet["E2"].hyperlink is None
    assert [sheet.cell(3, n).value for n in (1, 2, 3)] == [None, None, None]


def test_a_number_without_end_is_written_as_in_the_csv() -> None:
    sheet = read_back(pd.DataFrame({"miles": [float("inf"), 2.0]}))
    assert [sheet["A2"].value, sheet["A3"].value] == ["inf", 2]


def test_header_is_frozen_and_columns_are_wide_enough() -> None:
    sheet = read_back(pd.DataFrame({"reason": ["x" * 40, "y" * 200]}))
    assert sheet.freeze_panes == "A2"
    assert sheet.column_dimensions["A"].width == pytest.approx(60, abs=1)
    assert sheet["A1"].font.bold


def test_equal_tables_give_equal_bytes() -> None:
    table = pd.DataFrame({"a": [1.0]})
    assert workbook_bytes(table, "a", DAY) == workbook_bytes(table, "a", DAY)


def test_the_shortlist_reads_back_as_published(small_run: RunResult) -> None:
    book = openpyxl.load_workbook(Path(small_run.folder / "shortlist.xlsx"))
    rows = list(book.active.iter_rows(values_only=True))
    table = small_run.tables["shortlist"]
    assert list(rows[0]) == list(table.columns)
    assert len(rows) == len(table) + 1
    place = list(table.columns).index("reason")
    assert [row[place] for row in rows[1:]] == table["reason"].tolist()
