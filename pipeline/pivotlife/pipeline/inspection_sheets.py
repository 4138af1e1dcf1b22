"""Inspection sheets for the coming visits: a spreadsheet to fill in and a page to print.

Every pivot in service of a unit that comes in has one row, under the headers of the readings
table, with its position and a reading_id filled in and locked; the words a cell may hold are
offered in it. The last columns tell the inspector what was read last and which sizes are on
record; they are not read back. A hidden tab lists the rows that were written. A sheet in which
somebody has written is never overwritten.

Not here: reading filled sheets back (`filled_sheets`); what a tear-down shows, which is written
into the line of the repair; who decides.
"""

from __future__ import annotations

import datetime as dt
import difflib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from pivotlife.dashboards.inspection import inspection_page
from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.data.contracts.vocabulary import FINDINGS
from pivotlife.pipeline.dialect import PLAIN
from pivotlife.pipeline.errors import SettingsError, SourceError, cannot_write
from pivotlife.pipeline.filled_sheets import (
    FILL_TAB,
    ID_COLUMNS,
    KEY_TAB,
    READING_COLUMNS,
    SIZE_COLUMNS,
    read_filled,
)
from pivotlife.pipeline.publish import safe_name
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Records
from pivotlife.pipeline.workbook import harmless

FOLDER: Final = "inspection"
SIZES_ON_RECORD: Final = {f"{size}_mm": f"recorded_{size}_mm" for size in SIZE_COLUMNS}
TOLD_COLUMNS: Final = (
    *("bushing_type", "last_reading_date", "last_free_play_mm", "limit_mm"),
    *SIZES_ON_RECORD.values(),
)
PLAY_UNITS: Final = ("mm", "in", "thou", "1/16 in", "1/32 in")
#: Days ahead that are meant by "the coming visits" when no week is named.
AHEAD_DAYS: Final = 14
_UNTIL_ROW: Final = 5_000


@dataclass(frozen=True)
class SheetFiles:
    """What was written: files, and how many units and pivots stand on them."""

    paths: tuple[Path, ...]
    units: int
    pivots: int


def due_rows(
    records: Records, day: dt.date, depot: str | None = None, week: dt.date | None = None
) -> pd.DataFrame:
    """List the pivots of the units that come in.

    Parameters
    ----------
    records : Records
    day : date
        Today.
    depot : str, optional
        Only this depot.
    week : date, optional
        Any day of the week (Monday to Sunday) meant; else the next fourteen days.

    Returns
    -------
    DataFrame
        depot, visit_date, then the readings columns (only position and reading_id filled), then
        `TOLD_COLUMNS`; in the order in which the units come in.

    Raises
    ------
    SettingsError
        When no unit belongs to the depot.
    """
    visits = records.visits
    if depot is not None and depot not in set(visits["depot"]):
        near = difflib.get_close_matches(depot, sorted(set(visits["depot"])), n=1, cutoff=0.0)
        hint = f"; the nearest is {near[0]!r}" if near else ""
        raise SettingsError(f"--depot {depot!r}: no unit in service belongs to it{hint}")
    first = pd.Timestamp(day if week is None else week - dt.timedelta(days=week.weekday()))
    last = first + pd.Timedelta(days=(AHEAD_DAYS if week is None else 7) - 1)
    here = visits["visit_date"].between(first, last)
    if depot is not None:
        here &= visits["depot"] == depot
    coming = visits.loc[here, ["unit_id", "visit_date"]]
    rows = records.histories.in_service.merge(coming, on="unit_id")
    rows = rows.sort_values(["depot", "visit_date", "unit_id", "pivot_id"], kind="stable")
    units = records.placed.tables["units"].drop_duplicates("unit_id")
    sizes = units[["unit_id", *SIZES_ON_RECORD]].rename(columns=SIZES_ON_RECORD)
    rows = rows.merge(sizes, on="unit_id", how="left")
    stamp = rows["visit_date"].dt.strftime("%Y%m%d")
    rows = rows.assign(reading_id="IS-" + rows["pivot_id"] + "-" + stamp)
    blank = rows.reindex(columns=["depot", "visit_date", *READING_COLUMNS, *TOLD_COLUMNS])
    return blank.reset_index(drop=True)


def write_sheets(rows: pd.DataFrame, settings: Settings, day: dt.date, out: Path) -> SheetFiles:
    """Write one spreadsheet and one page for each depot.

    Parameters
    ----------
    rows : DataFrame
        From `due_rows`.
    settings : Settings
        For the fleet's name.
    day : date
        Today.
    out : Path
        Folder of the runs; the sheets go to `inspection` in it.

    Returns
    -------
    SheetFiles

    Raises
    ------
    SourceError
        When the folder cannot be written to, or a sheet there is filled in.
    """
    paths: list[Path] = []
    for depot, own in rows.groupby("depot", sort=True):
        first = own["visit_date"].min()
        stem = out / FOLDER / f"{safe_name(str(depot))}-{first:%Y-%m-%d}"
        page = inspection_page(own, str(depot), settings.publish.fleet_name, day, FINDINGS)
        _refuse_filled(stem.with_suffix(".xlsx"))
        try:
            stem.parent.mkdir(parents=True, exist_ok=True)
            for file, data in (
                (stem.with_suffix(".xlsx"), sheet_workbook(own, day)),
                (stem.with_suffix(".html"), page.encode("utf-8")),
            ):
                file.write_bytes(data)
                paths.append(file)
        except OSError as fault:
            raise cannot_write(stem.parent, fault) from None
    return SheetFiles(tuple(paths), rows["unit_id"].nunique(), len(rows))


def _refuse_filled(file: Path) -> None:
    """Stop before a sheet in which somebody has written is written over."""
    if not file.is_file():
        return
    rows = len(read_filled(file, str(file), PLAIN, PLAIN).frame)
    if rows:
        raise SourceError(
            f"{file}: {rows} rows are filled in; move it to where [sources.sheets] reads it"
        )


def sheet_workbook(rows: pd.DataFrame, day: dt.date) -> bytes:
    """Write the rows of one depot as a spreadsheet to fill in.

    Parameters
    ----------
    rows : DataFrame
        From `due_rows`, one depot.
    day : date
        Today.

    Returns
    -------
    bytes
        An XLSX file: frozen header and position, words offered where only words are allowed.
    """
    target = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(target, options) as book:
        book.set_properties({"created": dt.datetime.combine(day, dt.time())})
        _write_rows(book, book.add_worksheet(FILL_TAB), rows)
        keys = book.add_worksheet(KEY_TAB)
        for number, cells in enumerate([ID_COLUMNS, *rows[list(ID_COLUMNS)].to_numpy().tolist()]):
            for place, value in enumerate(cells):
                keys.write_string(number, place, _plain(value))
        keys.protect()
        keys.hide()
    return target.getvalue()


def _write_rows(book: xlsxwriter.Workbook, sheet: Worksheet, rows: pd.DataFrame) -> None:
    names = [*READING_COLUMNS, *TOLD_COLUMNS]
    head = book.add_format({"bold": True, "bottom": 1})
    told = book.add_format({"font_color": "#565e69"})
    fixed = book.add_format({})
    opened = book.add_format({"locked": False})
    # Else a spreadsheet makes a date of `1/8`.
    as_text = book.add_format({"locked": False, "num_format": "@"})
    as_day = book.add_format({"locked": False, "num_format": "yyyy-mm-dd"})
    sheet.freeze_panes(1, READING_COLUMNS.index("node") + 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    styles = dict.fromkeys(READING_COLUMNS, opened) | {"reading_date": as_day, "free_play": as_text}
    for place, name in enumerate(names):
        sheet.write_string(0, place, name, head)
        width = 34 if name == "reading_id" else max(9, len(name) + 1)
        sheet.set_column(place, place, width, styles.get(name, told))
    for place, name, words in _choices():
        told_words = f"{name}: {', '.join(words)}"
        rule = {"validate": "list", "source": words, "error_message": told_words}
        sheet.data_validation(1, place, _UNTIL_ROW, place, rule)
    # Only what names the row and what is told is locked; lines below the last one stay open.
    for number, row in enumerate(rows[names].to_dict("records"), start=1):
        for place, name in enumerate(names):
            if name in ID_COLUMNS or name in TOLD_COLUMNS:
                style = told if name in TOLD_COLUMNS else fixed
                sheet.write_string(number, place, _cell(row[name]), style)
            else:
                sheet.write_blank(number, place, None, styles[name])
    sheet.protect(options={"format_columns": True, "format_rows": True})


def _choices() -> Iterator[tuple[int, str, list[str]]]:
    """Columns with the words that they may hold."""
    for place, (name, facts) in enumerate(
        (name, facts) for name, facts in column_facts(READINGS).items() if name != "entered_date"
    ):
        if name == "free_play_unit":
            yield place, name, list(PLAY_UNITS)
        elif facts.kind == "words":
            yield place, name, list(facts.allowed)


def _plain(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _cell(value: object) -> str:
    if value is None or value is pd.NaT or value is pd.NA or value != value:  # noqa: PLR0124 - NaN alone differs from itself
        return ""
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, float):
        return f"{value:.10g}"
    return harmless(str(value))
