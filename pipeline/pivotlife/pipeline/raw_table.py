"""One table as it was handed in, under native headers, with what the settings say of it.

Not here: reading it, and judging its rows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from pivotlife.pipeline.cells import Text
from pivotlife.pipeline.dialect import PLAIN, Dialect


@dataclass(frozen=True)
class Correction:
    """One cell that a person has put right.

    Attributes
    ----------
    place : int
        Place of the row in the table.
    column : str
        Native column.
    old_value, new_value : str
        As the source writes.
    reason, by : str
        Why, and who says so.
    """

    place: int
    column: str
    old_value: str
    new_value: str
    reason: str
    by: str

    def sentence(self) -> str:
        """Say it in the ledger."""
        return (
            f"corrected by {self.by}: {self.column} {self.old_value!r} -> {self.new_value!r} "
            f"({self.reason})"
        )


class SheetCount(NamedTuple):
    """Filled inspection sheets among a table's files: how many, their rows filled and blank."""

    files: int = 0
    filled: int = 0
    blank: int = 0


@dataclass(frozen=True)
class RawTable:
    """One table as it was handed in.

    Attributes
    ----------
    name : str
        The table's name in the settings.
    path : Path
        The file, the pattern that named several, or the database.
    frame : DataFrame
        The columns as text ("" = empty) under native headers where the settings map them;
        `row_number` (int64); `file` (text) names the file of each row; `ragged_row` when a
        row's cells do not match the header.
    dialect : Dialect
        How the source writes.
    headers : mapping of str to mapping
        By file: native column to the header that the file itself has, where they differ.
    corrections : tuple of Correction
        Already applied to the frame.
    sheets : SheetCount
        Of the readings: what filled inspection sheets brought.
    """

    name: str
    path: Path
    frame: pd.DataFrame
    dialect: Dialect = PLAIN
    headers: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()
    sheets: SheetCount = field(default_factory=SheetCount)

    def labels(self) -> dict[str, str]:
        """Give what the user calls each mapped column, for the words of its faults."""
        called: dict[str, list[str]] = {}
        for renamed in self.headers.values():
            for native, header in renamed.items():
                called.setdefault(native, []).append(header)
        return {
            native: f"{native} (header {' or '.join(map(repr, dict.fromkeys(headers)))})"
            for native, headers in called.items()
        }

    def files(self) -> Text:
        """Name the file of every row; "" where the table does not say."""
        return row_files(self.frame)


def row_files(frame: pd.DataFrame) -> Text:
    """Name the file of every row of a raw or judged table; "" where it does not say."""
    if "file" not in frame.columns:
        return np.full(len(frame), "", dtype=object)
    files = frame["file"]
    if not isinstance(files.dtype, pd.CategoricalDtype):
        return files.to_numpy(dtype=object)
    known = files.cat.categories.to_numpy(dtype=object)
    named: Text = known[files.cat.codes.to_numpy()] if len(frame) else np.array([], dtype=object)
    return named


def verbatim_rows(rows: pd.DataFrame, table: RawTable) -> Text:
    """Write raw rows as JSON, word for word: the file's own headers, corrections undone.

    Parameters
    ----------
    rows : DataFrame
        Some rows of the table's frame, or of a part of it.
    table : RawTable
        Where they come from.

    Returns
    -------
    ndarray of str, shape (n_rows,)
    """
    names = [str(name) for name in rows.columns if name not in ("row_number", "file")]
    cells = rows[names].astype(object).fillna("").astype(str).to_numpy(dtype=object).tolist()
    undone = {
        (row_key(table.frame, one.place), one.column): one.old_value
        for one in reversed(table.corrections)
    }
    texts = []
    for row, number, file in zip(cells, rows["row_number"], row_files(rows), strict=True):
        known = table.headers.get(file, {})
        told = {
            known.get(name, name): undone.get(((file, number), name), cell)
            for name, cell in zip(names, row, strict=True)
        }
        texts.append(json.dumps(told, ensure_ascii=False))
    written = np.empty(len(texts), dtype=object)
    written[:] = texts
    return written


def row_key(frame: pd.DataFrame, place: int) -> tuple[str, int]:
    """Give file and number of the row at a place: together they name it."""
    row = frame.iloc[place]
    return str(row.get("file", "")), int(row["row_number"])
