"""What the log of a store says of a day: descriptions, keys in order, whole tables.

Not here: writing (`store`), single rows over time (`store_history`).
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow.compute as pc
import pyarrow.dataset as pds
from deltalake import DeltaTable

from pivotlife.pipeline import store_log as log
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.store_delta import Store, columns_of, dataset_of, opened
from pivotlife.pipeline.store_rows import Keys, kept_name, read_cells

LOG: Final = "log"
#: Key of the description of a table that is no longer handed in.
ABSENT: Final = "absent"


def intakes(entries: DeltaTable) -> list[dict[str, Any]]:
    """List the descriptions of tables, oldest first: `batch, known_on, table_name, record`."""
    where = pc.field("kind") == log.INTAKE
    found = columns_of(entries, ["batch", "known_on", "table_name", "record"], where).to_pylist()
    found.sort(key=lambda one: int(one["batch"]))
    return [{**one, "record": json.loads(one["record"])} for one in found]


def newest(found: list[dict[str, Any]], day: dt.date = dt.date.max) -> dict[str, dict[str, Any]]:
    """Give the description of each table as it was on a day, with its `batch`."""
    return {
        one["table_name"]: {**one["record"], "batch": one["batch"]}
        for one in found
        if one["known_on"] <= day
    }


def last_batch(found: list[dict[str, Any]]) -> log.Batch:
    """Name the newest batch; number 0 when there is none."""
    if not found:
        return log.Batch(0, dt.date.min)
    return log.Batch(found[-1]["batch"], found[-1]["known_on"])


def stood(entries: DeltaTable, table: str, record: Mapping[str, Any] | None) -> log.Standing:
    """Say which kept rows stood in a table in the batch that its description is from.

    Parameters
    ----------
    entries : DeltaTable
        The log.
    table : str
    record : mapping, optional
        The table's description; nothing stood in a table without one.
    """
    number = 0 if record is None else record["batch"]
    where = (
        (pc.field("kind") == log.PLACE)
        & (pc.field("table_name") == table)
        & (pc.field("batch") == number)
    )
    names = ["place", "row_key", "rows", "row_number", "file"]
    return log.standing(columns_of(entries, names, where))


def rebuilt(
    store: Store, entries: DeltaTable, name: str, record: Mapping[str, Any], folder: Path
) -> RawTable:
    """Make a table as it was read of what is kept.

    Raises
    ------
    SourceError
        When rows that the log names are not there.
    """
    then = stood(entries, name, record)
    kept = opened(store, name)
    dataset = None if kept is None else dataset_of(kept)
    places = _places(dataset, then.keys)
    lost = int((places < 0).sum())
    if lost:
        raise SourceError(
            f"store {store.uri}: {lost:,} rows of {name} are missing; put the folder back as it was"
        )
    own = {"row_number": then.numbers, "file": then.files}
    columns = {
        column: own[column] if column in own else _cells(dataset, column, places)
        for column in record["columns"]
    }
    return log.described(name, record, pd.DataFrame(columns, copy=False), folder)


def _places(dataset: pds.Dataset | None, keys: Keys) -> npt.NDArray[np.intp]:
    """Find the rows of the keys in the files; -1 where one is missing."""
    if dataset is None:
        return np.full(len(keys), -1, dtype=np.intp)
    kept = columns_of(dataset, ["row_key"]).column("row_key").to_numpy()
    return np.asarray(pd.Index(kept).get_indexer(pd.Index(keys)), dtype=np.intp)


def _cells(dataset: pds.Dataset, column: str, places: npt.NDArray[np.intp]) -> pd.Series:
    name = kept_name(column)
    return read_cells(columns_of(dataset, [name]).column(name), places)
