"""Every row judged: good, withheld with all its faults, or a word-for-word repeat.

No row is lost: each raw row is in exactly one of `tables`, `withheld` and `duplicates`. All
faults of a row are told at once. Nothing here raises on bad data.

Not here: reading files, and what the safety step makes of withheld rows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts, table_facts
from pivotlife.pipeline.cells import cells_of, same_spelling, spellings
from pivotlife.pipeline.compact_columns import ColumnBlocks, CompactColumn
from pivotlife.pipeline.conversion import Converted, convert, meant_texts
from pivotlife.pipeline.danger import with_dangers
from pivotlife.pipeline.errors import one_line
from pivotlife.pipeline.faults import Faults
from pivotlife.pipeline.judged_frame import (
    CompactTable,
    PlainTables,
    judged_columns_of,
    with_names,
)
from pivotlife.pipeline.raw_table import RawTable, row_files, verbatim_rows
from pivotlife.pipeline.row_names import is_joined, row_ids, row_namer
from pivotlife.pipeline.rules import (
    ROW,
    KnownUnits,
    note_left_before_in_service,
    note_outside_of_node,
    note_repeated_keys,
    note_unknown_units,
    repeats,
)
from pivotlife.pipeline.text_table import OFF_SHEET, RAGGED

QUARANTINE_COLUMNS: Final = ("table", "row_number", "row_id", "reasons", "row", "file")
#: Rows that are judged in one go.
_BLOCK_ROWS: Final = 200_000
DUPLICATE_COLUMNS: Final = (
    *("table", "row_number", "row_id", "reason", "file", "kept_row_number", "kept_file"),
)


@dataclass(frozen=True)
class Judged:
    """What became of every row.

    Attributes
    ----------
    tables : PlainTables
        Rows without a fault, by table; all tables, empty where there is no source. They are kept
        compact, and each is written out anew when it is asked for.
    withheld : dict of str to DataFrame
        Rows with a fault in the same columns, read as far as they can be, with `reasons`;
        readings and repairs also with `<play>_number` and `<word>_as_written`.
    quarantine : DataFrame
        table, row_number, row_id, reasons, row, file: the withheld rows word for word as JSON,
        under the headers of their file.
    duplicates : DataFrame
        table, row_number, row_id, reason, file: rows that repeat an earlier one word for word;
        kept_row_number, kept_file name that one.
    """

    tables: PlainTables
    withheld: dict[str, pd.DataFrame]
    quarantine: pd.DataFrame
    duplicates: pd.DataFrame


@dataclass(frozen=True)
class _Examined:
    """One table between reading and splitting; its repeats are already set aside."""

    source: RawTable
    raw: pd.DataFrame
    columns: dict[str, CompactColumn]
    faults: Faults
    duplicates: pd.DataFrame


def judge(raw: Mapping[str, RawTable]) -> Judged:
    """Judge every row of every table.

    Parameters
    ----------
    raw : mapping of str to RawTable
        As read; tables that are absent count as empty.

    Returns
    -------
    Judged
    """
    tables: dict[str, CompactTable] = {}
    withheld: dict[str, pd.DataFrame] = {}
    quarantine: list[pd.DataFrame] = []
    duplicates: list[pd.DataFrame] = []
    units: _Units | None = None  # they are judged first, the others lean on them
    for name in CONTRACTS:
        table = _examine(name, raw.get(name), units)
        units = units or _Units.of(table)
        duplicates.append(table.duplicates)
        tables[name], withheld[name] = _split(table)
        quarantine.append(_quarantined(withheld[name], table))
    return Judged(
        PlainTables(tables),
        withheld,
        _stacked(quarantine, QUARANTINE_COLUMNS),
        _stacked(duplicates, DUPLICATE_COLUMNS),
    )


@dataclass(frozen=True)
class _Units:
    """What the units table says that other tables are held against."""

    ids: Mapping[str, str]
    depots: Mapping[str, str]
    known: KnownUnits

    @classmethod
    def of(cls, table: _Examined) -> _Units:
        names = table.columns["unit_id"].plain()
        good = frozenset(names[~table.faults.is_faulty()].tolist())
        return cls(
            spellings(names.tolist()),
            spellings(table.columns["depot"].plain().tolist()),
            KnownUnits(good, frozenset(names.tolist())),
        )


def _examine(name: str, source: RawTable | None, units: _Units | None) -> _Examined:
    """Convert the rows of one table and note every fault; the units themselves come without any."""
    schema = CONTRACTS[name]
    given = source or RawTable(
        name, Path(), pd.DataFrame({"row_number": np.array([], dtype=np.int64)})
    )
    raw, duplicates = _without_repeats(given, table_facts(schema).id_column)
    faults = Faults(len(raw))
    # Of the units all rows are looked at together: the first spelling of a depot counts.
    step = _BLOCK_ROWS if units else max(len(raw), 1)
    columns: dict[str, ColumnBlocks] = defaultdict(ColumnBlocks)
    # Words, numbers and dates that cannot be right are cleared, but tell keys apart.
    facts, key = column_facts(schema), table_facts(schema).key
    as_given = {name: ColumnBlocks() for name in key if facts[name].kind != "text"}
    for start in range(0, max(len(raw), 1), step):
        rows = raw.iloc[start : start + step]
        converted = convert(rows, schema, given.dialect, given.labels())
        _apply_rules(converted, units)
        faults.add_block(converted.faults, start)
        for column, blocks in as_given.items():
            blocks.add(converted.columns[column])
        for column, values in judged_columns_of(rows, converted):
            columns[column].add(values)
    compact = {column: blocks.close() for column, blocks in columns.items()}
    keys = {name: as_given[name].close() if name in as_given else compact[name] for name in key}
    note_repeated_keys(faults, raw, keys, row_namer(raw))
    _note_marked(faults, raw)
    return _Examined(given, raw, compact, faults, duplicates)


def _without_repeats(given: RawTable, id_column: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Set aside the rows that repeat an earlier one word for word."""
    frame = given.frame
    if not isinstance(frame.index, pd.RangeIndex):
        frame = frame.reset_index(drop=True)
    columns = [str(column) for column in frame.columns if column not in ("row_number", "file")]
    found = repeats(frame, columns, id_column)
    repeated, first = frame.iloc[found[:, 0]], frame.iloc[found[:, 1]]
    kept = frame.drop(index=pd.Index(found[:, 0])).reset_index(drop=True) if len(found) else frame
    named = row_namer(frame) if len(found) else str
    ids = cells_of(repeated[id_column]).written() if id_column in frame.columns else None
    duplicates = pd.DataFrame(
        {
            "table": given.name,
            "row_number": repeated["row_number"],
            "row_id": row_ids(repeated, ids),
            "reason": [f"repeats {named(place)} word for word" for place in found[:, 1].tolist()],
            "file": row_files(repeated),
            "kept_row_number": first["row_number"].to_numpy(),
            "kept_file": row_files(first),
        }
    )
    return kept, duplicates


def _apply_rules(converted: Converted, units: _Units | None) -> None:
    """Note the faults of some rows that a single cell does not show."""
    columns = converted.columns
    if "depot" in columns:
        depots = units.depots if units else spellings(columns["depot"])
        columns["depot"] = same_spelling(columns["depot"], depots)
    if units is None:
        note_left_before_in_service(converted)
    elif "unit_id" in columns:
        columns["unit_id"] = same_spelling(columns["unit_id"], units.ids)
        note_unknown_units(converted, units.known)
    if {"node", "outside"} <= set(columns):
        note_outside_of_node(converted)


def _note_marked(faults: Faults, raw: pd.DataFrame) -> None:
    """Turn what the reader saw of a whole row into a fault."""
    for column, code in ((RAGGED, "row.ragged: row has"), (OFF_SHEET, "row.off_sheet:")):
        if column in raw.columns:
            marks = cells_of(raw[column])
            rows = marks.rows_where(marks.texts != "")
            said = [f"{code} {one_line(str(mark))}" for mark in marks.texts[marks.codes[rows]]]
            faults.add(ROW, rows, said)


def _split(table: _Examined) -> tuple[CompactTable, pd.DataFrame]:
    """Part good rows from faulty ones, column by column, so that no table is held twice."""
    faulty = table.faults.is_faulty()
    good, bad = np.flatnonzero(~faulty), np.flatnonzero(faulty)
    kept: dict[str, CompactColumn] = {}
    rest: dict[str, npt.NDArray[Any]] = {}
    for name in list(table.columns):
        column = table.columns.pop(name)
        kept[name] = column.of_rows(good) if len(bad) else column
        rest[name] = column.of_rows(bad).plain()
    schema, joined = CONTRACTS[table.source.name], is_joined(table.raw)
    named = with_names(rest, schema, joined=joined)
    named["reasons"] = table.faults.reasons()
    written = meant_texts(table.raw.iloc[bad], schema, table.source.dialect)
    withheld = with_dangers(pd.DataFrame(named), written, column_facts(schema))
    return CompactTable(schema, kept, joined), withheld


def _quarantined(withheld: pd.DataFrame, table: _Examined) -> pd.DataFrame:
    """Show the withheld rows word for word, under the headers and in the text of their file."""
    faulty = table.raw[table.faults.is_faulty()]
    named = withheld[["table", "row_number", "row_id", "reasons", "file"]]
    return named.assign(row=verbatim_rows(faulty, table.source))


def _stacked(frames: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    filled = [frame for frame in frames if len(frame)]
    if not filled:
        empty = pd.DataFrame({column: np.array([], dtype=object) for column in columns})
        return empty.astype({name: np.int64 for name in columns if name.endswith("row_number")})
    return pd.concat(filled, ignore_index=True)[list(columns)]
