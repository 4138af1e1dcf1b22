"""The log of a store: what each reading of the sources found, and in which order.

Every reading that found something new is one batch, written at once. For each table that had
changed it holds one `intake` entry (what the settings said of the table), `place` entries (which
kept rows stood in it, one entry a run of neighbours), and the marks `in` and `gone` (which rows
came and which were no longer there, with what took their place). Nothing is ever changed in it.

Not here: the cells of the rows (`store_rows`).
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, astuple, dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from pivotlife.pipeline.dialect import Dialect
from pivotlife.pipeline.raw_table import Correction, RawTable, row_files
from pivotlife.pipeline.store_rows import Keys
from pivotlife.pipeline.text_table import categorical

INTAKE, PLACE, IN, GONE = "intake", "place", "in", "gone"
NOBODY: Final = -1

#: One row a run of neighbours (place, in, gone) or a table's description (intake).
SCHEMA: Final = pa.schema(
    [
        ("kind", pa.string()),
        ("batch", pa.int64()),
        ("known_on", pa.date32()),
        ("table_name", pa.string()),
        ("place", pa.int64()),
        ("row_key", pa.int64()),
        ("rows", pa.int64()),
        ("row_number", pa.int64()),
        ("file", pa.string()),
        ("superseded_by", pa.int64()),
        ("record", pa.string()),
    ]
)


@dataclass(frozen=True)
class Batch:
    """One reading of the sources.

    Attributes
    ----------
    number : int
        1 for the first.
    day : date
        The day on which its content became known.
    """

    number: int
    day: dt.date


@dataclass(frozen=True)
class Standing:
    """Which rows stood in a table, in order.

    Attributes
    ----------
    keys : ndarray of int64, shape (n_rows,)
        The kept rows.
    numbers : ndarray of int64, shape (n_rows,)
        Their row numbers.
    files : Series of str, shape (n_rows,)
        Their files.
    """

    keys: Keys
    numbers: npt.NDArray[np.int64]
    files: pd.Series


def description(table: RawTable, folder: Path) -> dict[str, Any]:
    """Write down what belongs to a table besides its rows.

    Parameters
    ----------
    table : RawTable
    folder : Path
        Folder of the settings; the table's path is told from there where it lies below it.
    """
    path = table.path.relative_to(folder) if table.path.is_relative_to(folder) else table.path
    return {
        "path": path.as_posix(),
        "columns": [str(name) for name in table.frame.columns],
        "headers": {file: dict(renamed) for file, renamed in table.headers.items()},
        "dialect": asdict(table.dialect),
        "corrections": [list(astuple(one)) for one in table.corrections],
    }


def described(name: str, record: Mapping[str, Any], frame: pd.DataFrame, folder: Path) -> RawTable:
    """Make a table of its rows and its description."""
    return RawTable(
        name,
        folder / record["path"],
        frame,
        Dialect(**{**record["dialect"], "date_formats": tuple(record["dialect"]["date_formats"])}),
        record["headers"],
        tuple(Correction(*one) for one in record["corrections"]),
    )


def intake_entry(batch: Batch, table: str, record: Mapping[str, Any]) -> pa.Table:
    """Write the entry that describes a table in a batch."""
    said = json.dumps(record, ensure_ascii=False)
    return _entries(batch, table, INTAKE, {"record": pa.array([said], pa.string())}, 1)


def place_entries(batch: Batch, table: str, frame: pd.DataFrame, keys: Keys) -> pa.Table:
    """Write which kept rows stand in a table, one entry a run of neighbours.

    Neighbours have keys and row numbers one after the other and the same file.

    Parameters
    ----------
    batch : Batch
    table : str
    frame : DataFrame
        With `row_number` and `file`.
    keys : ndarray of int64, shape (n_rows,)
    """
    files = row_files(frame)
    numbers = frame["row_number"].to_numpy(dtype=np.int64)
    codes, names = pd.factorize(files)
    starts = run_starts(keys, numbers, still=codes)
    columns = {
        "place": pa.array(starts),
        "row_key": pa.array(keys[starts]),
        "rows": pa.array(run_lengths(starts, len(keys))),
        "row_number": pa.array(numbers[starts]),
        "file": pa.array(np.asarray(names, dtype=object)[codes[starts]].tolist(), pa.string()),
    }
    return _entries(batch, table, PLACE, columns, len(starts))


def mark_entries(
    batch: Batch, table: str, kind: str, keys: Keys, superseded_by: Keys | None = None
) -> pa.Table:
    """Write which rows came in or are gone, one entry a run of neighbours.

    Parameters
    ----------
    batch : Batch
    table : str
    kind : str
        `IN` or `GONE`.
    keys : ndarray of int64
    superseded_by : ndarray of int64, optional
        Of each row the one that took its place, `NOBODY` where none did.
    """
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    others = np.full(len(keys), NOBODY) if superseded_by is None else superseded_by[order]
    ahead = np.where(others == NOBODY, keys, others)  # nobody's neighbour is nobody's
    starts = run_starts(keys, ahead, still=others == NOBODY)
    first = others[starts]
    columns = {
        "row_key": pa.array(keys[starts]),
        "rows": pa.array(run_lengths(starts, len(keys))),
        "superseded_by": pa.array(first, mask=first == NOBODY, type=pa.int64()),
    }
    return _entries(batch, table, kind, columns, len(starts))


def standing(entries: pa.Table) -> Standing:
    """Unfold the place entries of one table in one batch, in whatever order they are."""
    entries = entries.sort_by("place")
    first, rows, number = (
        entries.column(name).to_numpy() for name in ("row_key", "rows", "row_number")
    )
    codes, names = pd.factorize(np.asarray(entries.column("file").to_pylist(), dtype=object))
    return Standing(
        unfolded(first, rows),
        unfolded(number, rows),
        categorical(np.repeat(codes, rows), [str(name) for name in names]),
    )


def unfolded(first: npt.NDArray[np.int64], rows: npt.NDArray[np.int64]) -> Keys:
    """Write out runs of numbers that follow one another: [5, 9] and [3, 1] are 5, 6, 7, 9."""
    ends = np.cumsum(rows)
    before = np.repeat(ends - rows, rows)
    total = int(ends[-1]) if len(ends) else 0
    return np.repeat(first, rows) + np.arange(total, dtype=np.int64) - before


def run_starts(*rising: npt.NDArray[Any], still: npt.NDArray[Any]) -> npt.NDArray[np.intp]:
    """Find where runs begin: all rising columns go up by one and the still one stays."""
    if not len(still):
        return np.array([], dtype=np.intp)
    goes_on = still[1:] == still[:-1]
    for values in rising:
        goes_on &= values[1:] == values[:-1] + 1
    return np.flatnonzero(np.concatenate([[True], ~goes_on]))


def run_lengths(starts: npt.NDArray[np.intp], rows: int) -> npt.NDArray[np.int64]:
    """Give the length of each run."""
    return np.diff(np.append(starts, rows)).astype(np.int64)


def blocks(tables: Sequence[pa.Table]) -> list[pa.RecordBatch]:
    """Put entries end to end."""
    batches: list[pa.RecordBatch] = pa.concat_tables(tables).to_batches()
    return batches


def _entries(
    batch: Batch, table: str, kind: str, columns: Mapping[str, pa.Array], rows: int
) -> pa.Table:
    told: dict[str, Any] = {
        "kind": pa.repeat(kind, rows),
        "batch": pa.repeat(pa.scalar(batch.number, pa.int64()), rows),
        "known_on": pa.repeat(pa.scalar(batch.day, pa.date32()), rows),
        "table_name": pa.repeat(table, rows),
        **columns,
    }
    arrays = [told.get(field.name, pa.nulls(rows, field.type)) for field in SCHEMA]
    return pa.Table.from_arrays([pa.array(one) for one in arrays], schema=SCHEMA)
