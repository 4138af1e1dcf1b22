"""Every row judged: good, withheld with all its faults, or a word-for-word repeat.

No row is lost: each raw row is in exactly one of `tables`, `withheld` and `duplicates`. All
faults of a row are told at once. Nothing here raises on bad data.

Not here: reading files, and what the safety step makes of withheld rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts, table_facts
from pivotlife.pipeline.cells import cells_of, same_spelling
from pivotlife.pipeline.conversion import Converted, convert
from pivotlife.pipeline.danger import with_dangers
from pivotlife.pipeline.errors import one_line
from pivotlife.pipeline.judged_frame import judged_columns_of
from pivotlife.pipeline.raw_table import RawTable, row_files, verbatim_rows
from pivotlife.pipeline.row_names import row_ids, row_namer
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
DUPLICATE_COLUMNS: Final = (
    *("table", "row_number", "row_id", "reason", "file", "kept_row_number", "kept_file"),
)


@dataclass(frozen=True)
class Judged:
    """What became of every row.

    Attributes
    ----------
    tables : dict of str to DataFrame
        Rows without a fault, by table; all ten tables, empty where there is no source.
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

    tables: dict[str, pd.DataFrame]
    withheld: dict[str, pd.DataFrame]
    quarantine: pd.DataFrame
    duplicates: pd.DataFrame


@dataclass(frozen=True)
class _Examined:
    """One table between reading and splitting; its repeats are already set aside."""

    source: RawTable
    raw: pd.DataFrame
    converted: Converted
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
    examined = {name: _examine(name, raw.get(name)) for name in CONTRACTS}
    _apply_rules(examined)
    tables: dict[str, pd.DataFrame] = {}
    withheld: dict[str, pd.DataFrame] = {}
    quarantine: list[pd.DataFrame] = []
    duplicates = [table.duplicates for table in examined.values()]
    for name in CONTRACTS:
        table = examined.pop(name)  # its memory is wanted for the next one
        tables[name], withheld[name] = _split(table)
        quarantine.append(_quarantined(withheld[name], table))
    return Judged(
        tables,
        withheld,
        _stacked(quarantine, QUARANTINE_COLUMNS),
        _stacked(duplicates, DUPLICATE_COLUMNS),
    )


def _examine(name: str, source: RawTable | None) -> _Examined:
    schema = CONTRACTS[name]
    given = source or RawTable(
        name, Path(), pd.DataFrame({"row_number": np.array([], dtype=np.int64)})
    )
    frame = given.frame
    if not isinstance(frame.index, pd.RangeIndex):
        frame = frame.reset_index(drop=True)
    columns = [str(column) for column in frame.columns if column not in ("row_number", "file")]
    id_column = table_facts(schema).id_column
    found = repeats(frame, columns, id_column)
    repeated, first = frame.iloc[found[:, 0]], frame.iloc[found[:, 1]]
    kept = frame.drop(index=pd.Index(found[:, 0])).reset_index(drop=True) if len(found) else frame
    named = row_namer(frame) if len(found) else str
    ids = cells_of(repeated[id_column]).written() if id_column in frame.columns else None
    duplicates = pd.DataFrame(
        {
            "table": name,
            "row_number": repeated["row_number"],
            "row_id": row_ids(repeated, ids),
            "reason": [f"repeats {named(place)} word for word" for place in found[:, 1].tolist()],
            "file": row_files(repeated),
            "kept_row_number": first["row_number"].to_numpy(),
            "kept_file": row_files(first),
        }
    )
    converted = convert(kept, schema, given.dialect, given.labels())
    return _Examined(given, kept, converted, duplicates)


def _apply_rules(examined: Mapping[str, _Examined]) -> None:
    """Note the faults that a single cell does not show; units first, the others lean on them."""
    units = examined["units"].converted
    depots = units.columns["depot"]
    for name in ("units", "visits", "capacity"):
        columns = examined[name].converted.columns
        columns["depot"] = same_spelling(columns["depot"], depots)
    for table in examined.values():
        columns = table.converted.columns
        if "unit_id" in columns and table.converted is not units:
            columns["unit_id"] = same_spelling(columns["unit_id"], units.columns["unit_id"])
        note_repeated_keys(table.converted, row_namer(table.raw))
        _note_marked(table)
    note_left_before_in_service(units)
    note_outside_of_node(examined["kits"].converted)
    named = units.columns["unit_id"]
    known = KnownUnits(
        good=frozenset(named[~units.faults.is_faulty()].tolist()),
        named=frozenset(named.tolist()),
    )
    for table in examined.values():
        if "unit_id" in table.converted.columns and table.converted is not units:
            note_unknown_units(table.converted, known)


def _note_marked(table: _Examined) -> None:
    """Turn what the reader saw of a whole row into a fault."""
    for column, code in ((RAGGED, "row.ragged: row has"), (OFF_SHEET, "row.off_sheet:")):
        if column in table.raw.columns:
            marks = cells_of(table.raw[column]).written()
            rows = np.flatnonzero(marks != "")
            said = [f"{code} {one_line(str(mark))}" for mark in marks[rows]]
            table.converted.faults.add(ROW, rows, said)


def _split(table: _Examined) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part good rows from faulty ones, column by column, so that no table is held twice."""
    faulty = table.converted.faults.is_faulty()
    good, bad = np.flatnonzero(~faulty), np.flatnonzero(faulty)
    kept: dict[str, npt.NDArray[Any]] = {}
    rest: dict[str, npt.NDArray[Any]] = {}
    for name, column in judged_columns_of(table.raw, table.converted):
        kept[name] = column[good] if len(bad) else column
        rest[name] = column[bad]
    rest["reasons"] = table.converted.faults.reasons()[bad]
    written = pd.DataFrame(
        {name: cells.texts[cells.codes[bad]] for name, cells in table.converted.meant.items()}
    )
    facts = column_facts(table.converted.schema)
    withheld = with_dangers(pd.DataFrame(rest), written, facts)
    return pd.DataFrame(kept, copy=False), withheld


def _quarantined(withheld: pd.DataFrame, table: _Examined) -> pd.DataFrame:
    """Show the withheld rows word for word, under the headers and in the text of their file."""
    faulty = table.raw[table.converted.faults.is_faulty()]
    named = withheld[["table", "row_number", "row_id", "reasons", "file"]]
    return named.assign(row=verbatim_rows(faulty, table.source))


def _stacked(frames: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    filled = [frame for frame in frames if len(frame)]
    if not filled:
        empty = pd.DataFrame({column: np.array([], dtype=object) for column in columns})
        return empty.astype({name: np.int64 for name in columns if name.endswith("row_number")})
    return pd.concat(filled, ignore_index=True)[list(columns)]
