"""Filled inspection sheets read back as readings, each row traced to its sheet and its line.

A sheet carries in a hidden list which rows it was written with. A row in which nobody wrote is
counted and skipped. Every other row is a reading like those of the readings table and is judged
with them; where its id, unit or position is not what the sheet was written with, that is a fault of
the row. Numbers and dates are put down the way the readings source writes its own.

Not here: writing sheets (`inspection_sheets`); faults of single cells; what a tear-down shows,
which belongs to the line of the repair.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.dialect import Dialect
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.raw_table import RawTable, SheetCount
from pivotlife.pipeline.sheet_text import read_sheet_text
from pivotlife.pipeline.text_table import OFF_SHEET, RAGGED, TEXT, Typed, categorical, joined_text

SHEETS: Final = "sheets"
#: Tabs of a sheet: the rows to fill in, and the hidden list of what it was written with.
FILL_TAB: Final = "readings"
KEY_TAB: Final = "written_for"
READING_COLUMNS: Final = tuple(name for name in column_facts(READINGS) if name != "entered_date")
ID_COLUMNS: Final = ("reading_id", "unit_id", "axle", "side", "node")
FILL_COLUMNS: Final = tuple(name for name in READING_COLUMNS if name not in ID_COLUMNS)
#: Sizes that confirm the kit before the pivot is taken apart.
SIZE_COLUMNS: Final = ("side_bar_centres", "spring_width", "bushing_outside_diameter")
#: Office programs lay such files beside an open workbook.
LOCK_FILES: Final = ("~$", ".~lock")
_NUMBER: Final = re.compile(r"\s*-?[0-9]+([.,][0-9]+)?\s*")
_FORMULA_GUARD: Final = re.compile(r"^'(?=[=+\-@\t\r])")


@dataclass(frozen=True)
class FilledSheet:
    """One sheet: its filled rows under the readings' headers, and how many were left blank."""

    frame: pd.DataFrame
    blank: int


def with_filled_sheets(
    readings: RawTable, files: Sequence[tuple[Path, str, str]], sheets: Dialect
) -> RawTable:
    """Put the filled rows of sheets behind the rows of the readings table.

    Parameters
    ----------
    readings : RawTable
        Under native headers.
    files : sequence of (file, what messages call it, what the ledger calls it)
        Workbooks; what an office program leaves beside an open one is passed over.
    sheets : Dialect
        Decimal sign and date patterns of text cells in the sheets.

    Returns
    -------
    RawTable
        With the count of sheets, filled and blank rows.

    Raises
    ------
    SourceError
        When a file is no inspection sheet, or its headers were changed.
    """
    named = [one for one in files if not one[0].name.startswith(LOCK_FILES)]
    read = [read_filled(file, where, readings.dialect, sheets) for file, where, _ in named]
    count = SheetCount(
        len(read), sum(len(one.frame) for one in read), sum(one.blank for one in read)
    )
    if not count.filled:
        return replace(readings, sheets=count)
    frames = [
        one.frame.assign(file=categorical(np.zeros(len(one.frame), dtype=np.int8), [label]))
        for one, (_, _, label) in zip(read, named, strict=True)
        if len(one.frame)
    ]
    return replace(readings, frame=_behind([readings.frame, *frames]), sheets=count)


def read_filled(file: Path, where: str, readings: Dialect, sheets: Dialect) -> FilledSheet:
    """Read one sheet.

    Parameters
    ----------
    file : Path
        A workbook that `pivotlife sheet` wrote and somebody filled in.
    where : str
        How error messages call it.
    readings, sheets : Dialect
        How the readings source writes, and how text cells of the sheet are written.

    Returns
    -------
    FilledSheet

    Raises
    ------
    SourceError
        When it is none, or its headers were changed.
    """
    try:
        keys = read_sheet_text(file, where, table=KEY_TAB, sheet=KEY_TAB, typed=Typed())
    except SourceError as fault:
        if "has no sheet" not in str(fault):
            raise
        raise SourceError(
            f"{where}: is no inspection sheet as `pivotlife sheet` writes it; other tables of "
            "readings go under [sources.readings]"
        ) from None
    frame = read_sheet_text(file, where, table=FILL_TAB, sheet=FILL_TAB, typed=readings.typed)
    lost = [name for name in READING_COLUMNS if name not in frame.columns]
    if lost:
        raise SourceError(f"{where}: header {lost[0]!r} is gone; write it back as the sheet had it")
    cells = frame[list(READING_COLUMNS)].astype(object)
    marks = frame[RAGGED].astype(object) if RAGGED in frame else pd.Series("", index=frame.index)
    written = (cells[list(FILL_COLUMNS)] != "").any(axis=1) | (marks != "")
    known = _keys(keys)
    strange = ~cells["reading_id"].isin(list(known))
    rows = cells[written | strange].copy()
    for name in ID_COLUMNS:
        rows[name] = rows[name].str.replace(_FORMULA_GUARD, "", regex=True)
    rows[OFF_SHEET] = [
        _off_sheet(dict(zip(ID_COLUMNS, ids, strict=True)), known)
        for ids in rows[list(ID_COLUMNS)].to_numpy().tolist()
    ]
    _as_readings_write(rows, readings, sheets)
    if RAGGED in frame:
        rows[RAGGED] = marks[rows.index].to_numpy()
    rows["row_number"] = frame.loc[rows.index, "row_number"].to_numpy()
    return FilledSheet(rows.reset_index(drop=True), int((~written & ~strange).sum()))


def _keys(keys: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """Give reading_id -> unit, axle, side, node as the sheet was written."""
    rows = keys[list(ID_COLUMNS)].astype(object).to_numpy().tolist()
    return {str(row[0]): tuple(map(str, row[1:])) for row in rows}


def _off_sheet(row: dict[str, str], known: dict[str, tuple[str, ...]]) -> str:
    """Say why a row is none that the sheet was written with; "" when it is one."""
    mine = known.get(row["reading_id"])
    if mine is None:
        told = f"reading_id {row['reading_id']!r}" if row["reading_id"] else "a row without an id"
        return f"{told} is not on this sheet as it was written; hand it in with the readings"
    changed = [
        f"{name} {row[name]!r} was {was!r}"
        for name, was in zip(ID_COLUMNS[1:], mine, strict=True)
        if row[name] != was
    ]
    if not changed:
        return ""
    return f"{' and '.join(changed)} when the sheet was written; write the row of its own pivot"


def _as_readings_write(rows: pd.DataFrame, readings: Dialect, sheets: Dialect) -> None:
    """Rewrite text numbers and dates of a sheet as the readings source writes them."""
    for name, facts in column_facts(READINGS).items():
        if name not in FILL_COLUMNS:
            continue
        if facts.kind in ("quantity", "number") and sheets.decimal != readings.decimal:
            rows[name] = [_number(text, readings, sheets) for text in rows[name]]
        if facts.kind == "date" and sheets.date_formats != readings.date_formats:
            days = [sheets.read_day(text)[0] if text else None for text in rows[name]]
            rows[name] = [
                readings.typed.text(day) if day is not None else text
                for day, text in zip(days, rows[name], strict=True)
            ]


def _number(text: str, readings: Dialect, sheets: Dialect) -> str:
    """Change the decimal sign; a number with another sign stays as it is and will be a fault."""
    if not _NUMBER.fullmatch(text) or readings.decimal in text:
        return text
    return text.replace(sheets.decimal, readings.decimal)


def _behind(frames: list[pd.DataFrame]) -> pd.DataFrame:
    names = dict.fromkeys(str(name) for frame in frames for name in frame.columns)
    columns = {
        name: joined_text(
            [
                frame[name] if name in frame else pd.Series("", index=frame.index, dtype=TEXT)
                for frame in frames
            ]
        )
        for name in names
        if name != "row_number"
    }
    numbers = np.concatenate([frame["row_number"].to_numpy() for frame in frames])
    return pd.DataFrame({**columns, "row_number": numbers.astype(np.int64)}, copy=False)
