"""Tables as a spreadsheet: frozen header, widths, real dates and numbers, no live formula.

Equal tables give equal bytes: the file carries the day of the run, not the hour it was written.

Not here: which tables are offered so.
"""

from __future__ import annotations

import datetime as dt
import io
import math
from typing import Any, Final

import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from pivotlife.pipeline.publish import FORMULA_STARTS

_WIDEST: Final = 60
_NARROWEST: Final = 9
#: Rows that tell a column's width.
_LOOKED_AT: Final = 500


def workbook_bytes(table: pd.DataFrame, title: str, day: dt.date) -> bytes:
    """Write one table as an XLSX file.

    Parameters
    ----------
    table : DataFrame
        Dates, numbers, booleans and text; missing cells stay empty.
    title : str
        Name of the sheet, at most 31 letters.
    day : date
        The day of the run.

    Returns
    -------
    bytes
        The file. Text that a spreadsheet would run as a formula gets a leading apostrophe.
    """
    target = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(target, options) as book:
        book.set_properties({"title": title, "created": dt.datetime.combine(day, dt.time())})
        sheet = book.add_worksheet(title[:31])
        head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        dates = book.add_format({"num_format": "yyyy-mm-dd"})
        sheet.freeze_panes(1, 0)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        for place, name in enumerate(table.columns):
            sheet.write_string(0, place, str(name), head)
            _write_column(sheet, place, table[name], dates)
            sheet.set_column(place, place, _width(str(name), table[name]))
        if len(table):
            sheet.autofilter(0, 0, len(table), len(table.columns) - 1)
    return target.getvalue()


def _write_column(sheet: Worksheet, place: int, column: pd.Series, dates: Any) -> None:
    for row, value in enumerate(column.astype(object), start=1):
        if pd.isna(value):
            continue
        if isinstance(value, (pd.Timestamp, dt.date)):
            sheet.write_datetime(row, place, pd.Timestamp(value).to_pydatetime(), dates)
        elif isinstance(value, bool):
            sheet.write_boolean(row, place, value)
        elif isinstance(value, str):
            sheet.write_string(row, place, harmless(value))
        elif math.isinf(value):
            sheet.write_string(row, place, str(float(value)))  # a sheet has no such number
        else:
            sheet.write_number(row, place, float(value))


def harmless(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run as a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _width(name: str, column: pd.Series) -> int:
    kind = column.dtype
    if pd.api.types.is_datetime64_any_dtype(kind) or pd.api.types.is_numeric_dtype(kind):
        return max(_NARROWEST, min(len(name) + 1, 14))
    longest = column.head(_LOOKED_AT).astype(str).str.len().max() if len(column) else 0
    return int(min(_WIDEST, max(_NARROWEST, len(name) + 1, longest + 1)))
