"""The store: what was read, kept for good, with the day on which it became known.

Each content of a row is kept once, as read, under a key (`store_rows`); a log says for every
reading that found something new which rows stood in each table, in which order, which came in and
which were gone (`store_log`). Rows are written first and the log last, in one step: a reading
counts when the log has it. A writer that is killed before that leaves rows that the next reading
finds and uses; nothing is ever changed or taken out, files are only joined.

Whoever finds that another has written since begins the comparison anew, so that two writers at
once keep every content once. Delta tables hold it all (`store_delta`).

Not here: when a run keeps and when it asks (`stored_intake`), one row over time
(`store_history`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import table_facts
from pivotlife.pipeline import store_log as log
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.store_delta import (
    Store,
    append,
    column_names,
    columns_of,
    opened,
    opened_or_made,
    tidy,
    told,
)
from pivotlife.pipeline.store_rows import (
    Hashes,
    Keys,
    cell_columns,
    keys_of,
    row_blocks,
    row_hashes,
    rows_schema,
)
from pivotlife.pipeline.store_state import (
    ABSENT,
    LOG,
    intakes,
    last_batch,
    newest,
    rebuilt,
    stood,
)

_TRIES: Final = 60


@dataclass(frozen=True)
class Kept:
    """What keeping a reading came to.

    Attributes
    ----------
    batch : int
        Number of the newest batch.
    changed : tuple of str
        Tables that had changed; empty when nothing was written.
    new_rows : int
        Contents that were not kept before.
    """

    batch: int
    changed: tuple[str, ...]
    new_rows: int


@dataclass(frozen=True)
class _Fresh:
    """A table that was just read, with what tells it from its last state."""

    table: RawTable
    hashes: Hashes
    record: dict[str, Any]


def keep(store: Store, tables: Mapping[str, RawTable], day: dt.date, folder: Path = Path()) -> Kept:
    """Keep what was read, as known from a day on.

    Parameters
    ----------
    store : Store
    tables : mapping of str to RawTable
        All tables of one reading; a table that is missing here is no longer handed in.
    day : date
        The day on which this became known; a day before the last kept one counts as that.
    folder : Path
        Folder of the settings.

    Returns
    -------
    Kept

    Raises
    ------
    SourceError
        When the store cannot be read or written.
    """
    fresh = {name: _fresh(table, folder) for name, table in tables.items()}
    with told(store):
        for attempt in range(_TRIES):
            done = _kept(store, fresh, day)
            if done is not None:
                return done
            time.sleep(0.01 * (attempt + os.getpid() % 5))
    raise SourceError(f"store {store.uri}: others write to it without a pause; run again later")


def known_tables(store: Store, day: dt.date, folder: Path = Path()) -> dict[str, RawTable]:
    """Give the tables as they were known on a day.

    Parameters
    ----------
    store : Store
    day : date
    folder : Path
        Folder of the settings, put before the tables' paths.

    Returns
    -------
    dict of str to RawTable
        As the last reading on or before the day found them: rows, order, headers, corrections and
        the way the source wrote then. Empty when the store begins later.

    Raises
    ------
    SourceError
        When the store cannot be read.
    """
    with told(store):
        entries = opened(store, LOG)
        if entries is None:
            return {}
        records = newest(intakes(entries), day)
        return {
            name: rebuilt(store, entries, name, records[name], folder)
            for name in sorted(records, key=[*CONTRACTS, *records].index)
            if ABSENT not in records[name]
        }


def kept_batches(store: Store) -> pd.DataFrame:
    """List the readings that found something new.

    Returns
    -------
    DataFrame
        `batch` (1 = first), `known_on` (date), `read_at` (text, UTC) and `tables` (names of those
        that had changed, by a space), in order; empty when there is no store.

    Raises
    ------
    SourceError
        When the store cannot be read.
    """
    with told(store):
        entries = opened(store, LOG)
        found = [] if entries is None else intakes(entries)
    flat = [{**one, "read_at": one["record"]["read_at"]} for one in found]
    columns = ["batch", "known_on", "read_at"]
    frame = pd.DataFrame(flat, columns=[*columns, "table_name"]).sort_values("table_name")
    return frame.groupby(columns)["table_name"].agg(" ".join).rename("tables").reset_index()


def _fresh(table: RawTable, folder: Path) -> _Fresh:
    hashes = row_hashes(table.frame)
    record = log.description(table, folder)
    numbers = table.frame["row_number"].to_numpy(dtype=np.int64)
    codes, names = pd.factorize(table.files())
    mark = hashlib.sha256(json.dumps(record, sort_keys=True).encode())
    for block in (hashes, numbers, codes.astype(np.int64)):
        mark.update(np.ascontiguousarray(block).data)
    mark.update(json.dumps([str(name) for name in names]).encode())
    return _Fresh(table, hashes, {**record, "rows": len(numbers), "digest": mark.hexdigest()})


def _kept(store: Store, fresh: Mapping[str, _Fresh], day: dt.date) -> Kept | None:
    """Try once; None when somebody else was faster."""
    entries = opened_or_made(store, LOG, log.SCHEMA, ["kind"])
    found = intakes(entries)
    before, last = newest(found), last_batch(found)
    changed = [name for name, one in fresh.items() if not _is_as(one, before.get(name))]
    ended = [n for n, record in before.items() if n not in fresh and ABSENT not in record]
    if not changed and not ended:
        return Kept(last.number, (), 0)
    batch = log.Batch(last.number + 1, max(day, last.day))
    read_at = {"read_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds")}
    written: list[pa.Table] = []
    added = 0
    for name in (*changed, *ended):
        then = stood(entries, name, before.get(name)).keys
        now = then[:0]
        record: dict[str, Any] = {ABSENT: True, "rows": 0}
        if name in fresh:
            stored = _stored_rows(store, fresh[name], batch.day)
            if stored is None:
                return None
            now, new = stored
            added += new
            record = fresh[name].record
            written.append(log.place_entries(batch, name, fresh[name].table.frame, now))
        written.append(log.intake_entry(batch, name, record | read_at))
        written += _marks(store, batch, name, then, now)
    if not append(entries, log.blocks(written), log.SCHEMA):
        return None
    tidy(entries)
    return Kept(batch.number, (*changed, *ended), added)


def _is_as(fresh: _Fresh, before: Mapping[str, Any] | None) -> bool:
    return before is not None and before.get("digest") == fresh.record["digest"]


def _stored_rows(store: Store, fresh: _Fresh, day: dt.date) -> tuple[Keys, int] | None:
    """Write the rows that are not kept yet; give the keys of all. None: somebody was faster."""
    frame, hashes = fresh.table.frame, fresh.hashes
    schema = rows_schema(cell_columns(frame))
    kept = opened_or_made(store, fresh.table.name, schema, [])
    known = columns_of(kept, ["row_key", "hash_high", "hash_low"])
    keys = keys_of(hashes, known)
    new = np.flatnonzero(keys < 0)
    if not len(new):
        return keys, 0
    first = int(pc.max(known.column("row_key")).as_py() or 0) + 1
    keys[new] = np.arange(len(new)) + first
    if not append(kept, row_blocks(frame, hashes, new, first, day), schema):
        return None
    tidy(kept)
    return keys, len(new)


def _marks(store: Store, batch: log.Batch, table: str, then: Keys, now: Keys) -> list[pa.Table]:
    """Mark what came in and what is gone between two states of a table."""
    came, gone = (np.setdiff1d(*pair, assume_unique=True) for pair in ((now, then), (then, now)))
    marks = [log.mark_entries(batch, table, log.IN, came)] if len(came) else []
    if len(gone):
        others = _successors(store, table, gone, came)
        marks.append(log.mark_entries(batch, table, log.GONE, gone, others))
    return marks


def _successors(store: Store, table: str, gone: Keys, came: Keys) -> Keys:
    """Find for rows that are gone the row that came with the same id."""
    nobody = np.full(len(gone), log.NOBODY)
    id_column = table_facts(CONTRACTS[table]).id_column
    kept = opened(store, table)
    if kept is None or not len(came) or id_column not in column_names(kept):
        return nobody
    found = columns_of(kept, ["row_key", id_column])
    keys = found.column("row_key").to_numpy()
    wanted = np.flatnonzero(np.isin(keys, np.concatenate([gone, came])))
    ids = pd.Series(found.column(id_column).take(pa.array(wanted)).to_pylist(), keys[wanted])
    ids = ids[ids.notna()]
    newer = ids[ids.index.isin(came)].drop_duplicates()
    by_id = pd.Series(newer.index, newer.to_numpy())
    return ids.reindex(gone).map(by_id).fillna(log.NOBODY).to_numpy(dtype=np.int64)
