"""Corrections: single cells that a person has put right, with a reason and a name.

They are applied when a table is read, before anything is judged, in the words of the source: the
old value must stand in the cell as the file writes it, and the new one is read like any other
cell of that file. Each one must meet its row; a correction that meets none is a fault, because the
table behind it has changed. The row keeps its corrections in the ledger, and the quarantine shows
it as it was handed in.

Not here: rules for many rows (that is a mapping), and files themselves, which are never changed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts, table_facts
from pivotlife.pipeline.cells import Text, cells_of
from pivotlife.pipeline.errors import SourceError, one_line
from pivotlife.pipeline.native_headers import nearest
from pivotlife.pipeline.raw_table import Correction, RawTable
from pivotlife.pipeline.row_names import row_ids

COLUMNS: Final = ("table", "row_id", "column", "old_value", "new_value", "reason", "by")
_FILLED: Final = ("table", "row_id", "column", "reason", "by")


def read_corrections(file: Path, where: str) -> pd.DataFrame:
    """Read a TOML file of corrections, one `[[corrections]]` each.

    Parameters
    ----------
    file : Path
    where : str
        How error messages call it.

    Returns
    -------
    DataFrame of str
        `COLUMNS`, `row_number` (1 = the first) and `where`.

    Raises
    ------
    SourceError
        When the file is not TOML or an entry holds something else than the seven texts.
    """
    try:
        content = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as fault:
        raise SourceError(one_line(f"{where}: cannot be read as TOML: {fault}")) from None
    entries = content.get("corrections", [])
    if list(content) != ["corrections"] or not isinstance(entries, list):
        raise SourceError(f"{where}: holds something else than [[corrections]] entries")
    rows = [_entry(entry, f"{where}, entry {place}") for place, entry in enumerate(entries, 1)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return frame.assign(row_number=range(1, len(rows) + 1), where=where)


def corrected(tables: Mapping[str, RawTable], corrections: pd.DataFrame) -> dict[str, RawTable]:
    """Apply corrections to the tables.

    Parameters
    ----------
    tables : mapping of str to RawTable
        As read.
    corrections : DataFrame of str
        `COLUMNS`, with `row_number` and `where` for messages.

    Returns
    -------
    dict of str to RawTable
        The same tables; those with corrections carry them.

    Raises
    ------
    SourceError
        Naming the correction, when its table, row or column is not there, or the cell does not
        hold the old value.
    """
    changed = dict(tables)
    names: dict[str, Text] = {}
    for row in corrections.to_dict("records"):
        cells = {name: str(row[name]).strip() for name in COLUMNS}
        place = f"{row['where']}, row {row['row_number']}"
        table = _table_of(cells, changed, place)
        if table.name not in names:
            names[table.name] = _names_of(table)
        rows = np.flatnonzero(names[table.name] == cells["row_id"])
        changed[table.name] = _applied(table, cells, rows, place)
    return changed


def _table_of(cells: Mapping[str, str], tables: Mapping[str, RawTable], place: str) -> RawTable:
    blank = [name for name in _FILLED if not cells[name]]
    if blank:
        raise SourceError(f"{place}: {', '.join(blank)} is blank; a correction needs them all")
    name, column = cells["table"], cells["column"]
    if name not in tables:
        raise SourceError(
            one_line(f"{place}: {name!r} is not a table with a source{nearest(name, tables)}")
        )
    table = tables[name]
    known = [*column_facts(CONTRACTS[name])]
    if column not in known or column not in table.frame.columns:
        there = [one for one in known if one in table.frame.columns]
        raise SourceError(
            one_line(f"{place}: {name} has no column {column!r} to correct{nearest(column, there)}")
        )
    return table


def _applied(
    table: RawTable, cells: Mapping[str, str], rows: np.ndarray[Any, Any], place: str
) -> RawTable:
    column, old, new = cells["column"], cells["old_value"], cells["new_value"]
    row_id = cells["row_id"]
    if not len(rows):
        raise SourceError(one_line(f"{place}: no row of {table.name} is called {row_id!r}"))
    texts = table.frame[column].iloc[rows]
    hit = rows[(texts == old).to_numpy(dtype=bool)]
    if not len(hit):
        raise SourceError(
            one_line(
                f"{place}: {column} of {table.name} {row_id!r} is {texts.iloc[0]!r}, not {old!r}; "
                "the correction no longer fits its row"
            )
        )
    column_now = table.frame[column].copy()
    if isinstance(column_now.dtype, pd.CategoricalDtype) and new not in column_now.cat.categories:
        column_now = column_now.cat.add_categories([new])
    column_now.iloc[hit] = new
    told = tuple(
        Correction(int(row), column, old, new, cells["reason"], cells["by"]) for row in hit
    )
    return replace(
        table,
        frame=table.frame.assign(**{column: column_now}),
        corrections=(*table.corrections, *told),
    )


def _names_of(table: RawTable) -> Text:
    """Name every row as the ledger does: by its id, or by its line (and file)."""
    id_column = table_facts(CONTRACTS[table.name]).id_column
    given = id_column in table.frame.columns
    ids = cells_of(table.frame[id_column]).written() if given else None
    return row_ids(table.frame, ids)


def _entry(entry: object, place: str) -> dict[str, str]:
    if not isinstance(entry, dict):
        raise SourceError(f"{place}: is not a [[corrections]] entry")
    unknown = [str(name) for name in entry if name not in COLUMNS]
    if unknown:
        raise SourceError(
            one_line(f"{place}: unknown key {unknown[0]!r}{nearest(unknown[0], COLUMNS)}")
        )
    missing = [name for name in COLUMNS if name not in entry]
    if missing:
        raise SourceError(f"{place}: lacks {', '.join(missing)}")
    wrong = [name for name, value in entry.items() if not isinstance(value, str)]
    if wrong:
        raise SourceError(f'{place}: {", ".join(wrong)} must be text, in "quotation marks"')
    return entry
