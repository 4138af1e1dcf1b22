"""One sheet of an XLSX workbook as text columns; every row keeps its number in the sheet.

Of several filled sheets the one to read must be named, or be called like the table: taking the
first would lose the others without a word. Numbers and dates are written as text the way the
source's own text cells are.

Not here: sheets of other programs, formulas that were never calculated (their cells are blank).
"""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import openpyxl
import pandas as pd
from openpyxl.utils.exceptions import InvalidFileException

from pivotlife.pipeline.errors import SourceError, one_line
from pivotlife.pipeline.text_table import TextTable, Typed, unique_headers

SUFFIXES: Final = (".xlsx", ".xlsm")


def read_sheet_text(
    path: Path, where: str, *, table: str, sheet: str = "", skip_rows: int = 0, typed: Typed
) -> pd.DataFrame:
    """Read one sheet as text.

    Parameters
    ----------
    path : Path
        The workbook.
    where : str
        How error messages call it.
    table : str
        A sheet of this name is taken when none is named.
    sheet : str
        Name of the sheet; "" = the only filled one, or the one called like the table.
    skip_rows : int
        Rows above the header.
    typed : Typed
        How numbers and dates are written.

    Returns
    -------
    DataFrame
        As `csv_text.read_csv_text`; `row_number` is the row as the sheet shows it.

    Raises
    ------
    SourceError
        When the workbook cannot be read, the sheet is not there or is empty.
    """
    try:
        with _opened(path) as book:
            return _frame(_sheet(book, where, table, sheet), where, skip_rows, typed)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, EOFError):
        raise SourceError(
            f"{where}: is not a readable XLSX workbook; save it anew, without a password"
        ) from None
    except OSError as fault:
        raise SourceError(f"{where}: cannot be read ({fault.strerror or fault})") from None


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    with warnings.catch_warnings():
        # Styles, drop-downs and print areas that the library does not know are none of ours.
        warnings.simplefilter("ignore", UserWarning)
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            yield book
        finally:
            book.close()


def _sheet(book: Any, where: str, table: str, wanted: str) -> Any:
    names = list(book.sheetnames)
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    if wanted:
        if wanted not in sheets:
            raise SourceError(one_line(f"{where}: has no sheet {wanted!r}, only {_named(names)}"))
        return sheets[wanted]
    if table in sheets:
        return sheets[table]
    filled = [name for name, sheet in sheets.items() if next(_rows(sheet), None) is not None]
    if len(filled) > 1:
        raise SourceError(
            one_line(f"{where}: has {len(filled)} filled sheets; name one: sheet = {filled[0]!r}")
            + one_line(f" (there are {_named(filled)})")
        )
    if not filled:
        raise SourceError(f"{where}: is empty; its first row must hold the headers")
    return sheets[filled[0]]


def _frame(sheet: Any, where: str, skip_rows: int, typed: Typed) -> pd.DataFrame:
    rows = ((number, cells) for number, cells in _rows(sheet) if number > skip_rows)
    _, first = next(rows, (0, ()))
    headers = [typed.text(cell) for cell in first]
    while headers and not headers[-1].strip():
        headers.pop()
    if not headers:
        raise SourceError(f"{where}: sheet {sheet.title!r} is empty; it must hold the headers")
    table = TextTable(unique_headers(headers, where))
    width = len(headers)
    for number, cells in rows:
        texts = [_text(cell, typed) for cell in cells]
        while len(texts) > width and not texts[-1].strip():
            texts.pop()
        table.add([*texts, *([""] * (width - len(texts)))], number)
    return table.frame()


def _rows(sheet: Any) -> Iterator[tuple[int, tuple[object, ...]]]:
    """Yield number and cells of every row that is not wholly blank."""
    sheet.reset_dimensions()
    for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
        if any(cell is not None and str(cell).strip() for cell in cells):
            yield number, cells


def _text(cell: object, typed: Typed) -> str:
    if isinstance(cell, dt.time):
        return cell.isoformat()
    return typed.text(cell)


def _named(names: list[str]) -> str:
    return ", ".join(map(repr, names))
