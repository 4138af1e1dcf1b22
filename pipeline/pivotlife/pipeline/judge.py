"""Every row judged: good, withheld with all its faults, or a word-for-word repeat.

No row is lost: each raw row is in exactly one of `tables`, `withheld` and `duplicates`. All
faults of a row are told at once. Nothing here raises on bad data.

Not here: reading files, and what the safety step makes of withheld rows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts, table_facts
from pivotlife.pipeline.cells import cells_of, same_spelling
from pivotlife.pipeline.conversion import Converted, convert
from pivotlife.pipeline.csv_text import RAGGED
from pivotlife.pipeline.danger import with_dangers
from pivotlife.pipeline.judged_frame import judged_frame, row_ids
from pivotlife.pipeline.rules import (
    ROW,
    KnownUnits,
    note_left_before_in_service,
    note_outside_of_node,
    note_repeated_keys,
    note_unknown_units,
    repeats,
)
from pivotlife.pipeline.sources import RawTable

QUARANTINE_COLUMNS: Final = ("table", "row_number", "row_id", "reasons", "row")
DUPLICATE_COLUMNS: Final = ("table", "row_number", "row_id", "reason")


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
        table, row_number, row_id, reasons, row: the withheld rows word for word as JSON.
    duplicates : DataFrame
        table, row_number, row_id, reason: rows that repeat an earlier one word for word.
    """

    tables: dict[str, pd.DataFrame]
    withheld: dict[str, pd.DataFrame]
    quarantine: pd.DataFrame
    duplicates: pd.DataFrame


@dataclass(frozen=True)
class _Examined:
    """One table between reading and splitting; its repeats are already set aside."""

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
    for name, table in examined.items():
        frame = judged_frame(table.raw, table.converted)
        faulty = table.converted.faults.is_faulty()
        tables[name] = frame[~faulty].reset_index(drop=True)
        withheld[name] = _withheld(frame, table, faulty)
        quarantine.append(_quarantined(withheld[name], table.raw[faulty]))
    return Judged(
        tables,
        withheld,
        _stacked(quarantine, QUARANTINE_COLUMNS),
        _stacked([table.duplicates for table in examined.values()], DUPLICATE_COLUMNS),
    )


def _examine(name: str, source: RawTable | None) -> _Examined:
    schema = CONTRACTS[name]
    if source is None:
        frame = pd.DataFrame({"row_number": np.array([], dtype=np.int64)})
    else:
        frame = source.frame.reset_index(drop=True)
    columns = [str(column) for column in frame.columns if column not in ("row_number", "path")]
    id_column = table_facts(schema).id_column
    first = repeats(frame, columns, id_column)
    repeated = frame.loc[first.index]
    kept = frame.drop(index=first.index).reset_index(drop=True)
    ids = cells_of(repeated[id_column]).written() if id_column in frame.columns else None
    duplicates = pd.DataFrame(
        {
            "table": name,
            "row_number": repeated["row_number"],
            "row_id": row_ids(repeated, ids),
            "reason": [f"repeats row {number} word for word" for number in first],
        }
    )
    return _Examined(kept, convert(kept, schema), duplicates)


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
        note_repeated_keys(table.converted, table.raw["row_number"].to_numpy(dtype=np.int64))
        _note_ragged(table)
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


def _note_ragged(table: _Examined) -> None:
    if RAGGED not in table.raw.columns:
        return
    marks = cells_of(table.raw[RAGGED]).written()
    rows = np.flatnonzero(marks != "")
    table.converted.faults.add(ROW, rows, [f"row.ragged: row has {mark}" for mark in marks[rows]])


def _withheld(frame: pd.DataFrame, table: _Examined, faulty: npt.NDArray[np.bool_]) -> pd.DataFrame:
    facts = column_facts(table.converted.schema)
    rows = np.flatnonzero(faulty)
    written = pd.DataFrame(
        {
            name: cells.texts[cells.codes[rows]] if len(rows) else np.array([], dtype=object)
            for name, cells in table.converted.cells.items()
        }
    )
    reasons = table.converted.faults.reasons()[rows]
    kept = frame.iloc[rows].reset_index(drop=True).assign(reasons=reasons)
    return with_dangers(kept, written, facts)


def _quarantined(withheld: pd.DataFrame, raw: pd.DataFrame) -> pd.DataFrame:
    names = [str(name) for name in raw.columns if name != "row_number"]
    cells = zip(*(raw[name].fillna("").astype(str).tolist() for name in names), strict=True)
    rows = [json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False) for row in cells]
    named = withheld[["table", "row_number", "row_id", "reasons"]]
    return named.assign(row=np.array(rows, dtype=object))


def _stacked(frames: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    filled = [frame for frame in frames if len(frame)]
    if not filled:
        empty = pd.DataFrame({column: np.array([], dtype=object) for column in columns})
        return empty.astype({"row_number": np.int64})
    return pd.concat(filled, ignore_index=True)[list(columns)]
