"""Empty files to fill in: one CSV and one XLSX a table, made from the contracts.

The workbook offers the allowed words and the usual units as drop-down lists, marks the required
columns, and explains every column on a second sheet. Filled in, it can be read as it is.

Not here: inspection sheets for a visit.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any, Final

import pandera.pandas as pa
import xlsxwriter

from pivotlife.data.contracts.columns import EARLIEST_DAY, LATEST_DAY, ColumnFacts
from pivotlife.data.contracts.registry import INCOMING
from pivotlife.data.contracts.tables import column_facts, required_columns
from pivotlife.data.dictionary import contract_entries
from pivotlife.pipeline.errors import SourceError, cannot_write

#: Rows of a workbook that have drop-downs.
ROWS: Final = 5_000
EXPLAINED: Final = "columns"
_UNITS: Final = {
    "distance": ("mi", "km"),
    "play": ("in", "thou", "mm", "1/16 in", "1/32 in", "1/64 in"),
    "length": ("mm", "cm", "in"),
}


def write_templates(folder: Path) -> list[Path]:
    """Write the templates of all tables; nothing that is there is overwritten.

    Parameters
    ----------
    folder : Path
        Made when missing.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    SourceError
        When a file of that name is there already, or the folder cannot be written to.
    """
    files = [folder / f"{name}{kind}" for name in INCOMING for kind in (".csv", ".xlsx")]
    there = [file.name for file in files if file.exists()]
    if there:
        raise SourceError(
            f"{folder}: {there[0]} and {len(there) - 1} more of the templates are there already; "
            "name another folder"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, schema in INCOMING.items():
            headers = list(column_facts(schema))
            text = ",".join(headers) + "\n"
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
            _write_workbook(folder / f"{name}.xlsx", name, schema)
    except OSError as fault:
        raise cannot_write(folder, fault, "--templates") from None
    return files


def _write_workbook(file: Path, name: str, schema: pa.DataFrameSchema) -> None:
    with xlsxwriter.Workbook(str(file)) as book:
        # Equal contracts give equal bytes.
        book.set_properties({"created": dt.datetime(2026, 1, 1, tzinfo=dt.UTC)})
        sheet = book.add_worksheet(name)
        head = {
            True: book.add_format({"bold": True, "bottom": 1}),
            False: book.add_format({"italic": True, "bottom": 1}),
        }
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        required = set(required_columns(schema))
        for place, (column, facts) in enumerate(column_facts(schema).items()):
            sheet.write_string(0, place, column, head[column in required])
            is_day = facts.kind == "date"
            sheet.set_column(place, place, max(12, len(column) + 2), day if is_day else None)
            if rule := _rule(facts):
                sheet.data_validation(1, place, ROWS, place, rule)
        sheet.freeze_panes(1, 0)
        _explain(book, schema)


def _rule(facts: ColumnFacts) -> dict[str, Any] | None:
    """Give the drop-down or the bounds of a column; none for free text and written fractions."""
    if facts.kind == "words":
        return {"validate": "list", "source": list(facts.allowed)}
    if facts.kind == "unit" and facts.measure is not None:
        # Other units are read as well: a warning, not a refusal.
        source = list(_UNITS[facts.measure])
        return {"validate": "list", "source": source, "error_type": "warning"}
    if facts.kind == "date":
        first, last = EARLIEST_DAY.to_pydatetime(), LATEST_DAY.to_pydatetime()
        return {"validate": "date", "criteria": "between", "minimum": first, "maximum": last}
    if facts.kind == "whole":
        low, high = facts.lowest or 0, facts.highest or 0
        return {"validate": "integer", "criteria": "between", "minimum": low, "maximum": high}
    if facts.kind == "number" or facts.measure == "distance":
        return {"validate": "decimal", "criteria": ">=", "value": 0}
    return None


def _explain(book: Any, schema: pa.DataFrameSchema) -> None:
    sheet = book.add_worksheet(EXPLAINED)
    bold = book.add_format({"bold": True, "bottom": 1})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    for place, title in enumerate(("column", "holds", "unit", "meaning")):
        sheet.write_string(0, place, title, bold)
        sheet.set_column(place, place, (26, 50, 30, 60)[place], wrapped)
    for row, entry in enumerate(contract_entries(schema), start=1):
        cells = (entry.name, entry.holds, entry.unit.replace("`", ""), entry.meaning)
        for place, text in enumerate(cells):
            sheet.write_string(row, place, text.replace("`", ""), wrapped)
    sheet.freeze_panes(1, 0)
