"""Workbooks as text: typed cells, the right sheet, rows by their number, clear refusals."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.sheet_text import read_sheet_text
from pivotlife.pipeline.text_table import RAGGED, Typed

GERMAN = Typed(",", "%d.%m.%Y")


def _book(folder: Path, **sheets: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    file = folder / "book.xlsx"
    book.save(file)
    return file


def test_typed_cells_are_written_as_the_source_writes(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["Export of May"],
        [],
        ["unit", " play ", "on", "new", "n"],
        ["MD-1", 3.5, dt.datetime.fromisoformat("2024-05-06T07:08"), True, 60000.0],
        [],
        [None, 0.1, dt.date(2024, 5, 7), False, None, "x"],
        ["MD-2", "3,25", "08.05.2024", "yes", 12],
    ]
    frame = read_sheet_text(
        _book(tmp_path, May=rows), "f", table="readings", skip_rows=2, typed=GERMAN
    )
    assert frame.columns.tolist() == ["unit", "play", "on", "new", "n", RAGGED, "row_number"]
    assert frame["play"].tolist() == ["3,5", "0,1", "3,25"]
    assert frame["on"].tolist() == ["06.05.2024", "07.05.2024", "08.05.2024"]
    assert frame["new"].tolist() == ["yes", "no", "yes"]
    assert frame["n"].tolist() == ["60000", "", "12"]
    assert frame["row_number"].tolist() == [4, 6, 7]
    assert frame[RAGGED].tolist()[1] == '6 cells under 5 headers, too many: ["x"]'


def test_the_sheet_called_like_the_table_or_the_only_filled_one(tmp_path: Path) -> None:
    file = _book(tmp_path, readings=[["a"], ["1"]], notes=[["b"], ["2"]])
    assert read_sheet_text(file, "f", table="readings", typed=Typed())["a"].tolist() == ["1"]
    named = read_sheet_text(file, "f", table="readings", sheet="notes", typed=Typed())
    assert named["b"].tolist() == ["2"]
    file = _book(tmp_path, empty=[], May=[["a"], [7]])
    assert read_sheet_text(file, "f", table="readings", typed=Typed())["a"].tolist() == ["7"]


def test_what_cannot_be_read_is_one_line(tmp_path: Path) -> None:
    two = _book(tmp_path, May=[["a"], [1]], June=[["a"], [2]])
    with pytest.raises(SourceError, match=r"f: has 2 filled sheets; name one: sheet = 'May'"):
        read_sheet_text(two, "f", table="readings", typed=Typed())
    with pytest.raises(SourceError, match="f: has no sheet 'July', only 'May', 'June'"):
        read_sheet_text(two, "f", table="readings", sheet="July", typed=Typed())
    with pytest.raises(SourceError, match="f: is empty"):
        read_sheet_text(_book(tmp_path, May=[]), "f", table="readings", typed=Typed())
    with pytest.raises(SourceError, match="f: header 'a' occurs more than once"):
        read_sheet_text(_book(tmp_path, May=[["a", "a"]]), "f", table="r", typed=Typed())
    text = tmp_path / "text.xlsx"
    text.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(SourceError, match="f: is not a readable XLSX workbook"):
        read_sheet_text(text, "f", table="readings", typed=Typed())
    with pytest.raises(SourceError, match="f: cannot be read"):
        read_sheet_text(tmp_path / "none.xlsx", "f", table="readings", typed=Typed())
