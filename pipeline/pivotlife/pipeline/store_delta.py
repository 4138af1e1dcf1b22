"""The only place that knows Delta tables: open, make, append, read columns, tidy.

An append takes effect only if nobody else has written since the table was opened (the number of
the next version is taken by whoever comes first), so that two writers never build on the same
state. A writer that dies leaves at most files that no version names.

Not here: what the tables hold (`store`, `store_rows`, `store_log`).
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import pyarrow as pa
import pyarrow.dataset as pds
from deltalake import CommitProperties, DeltaTable, write_deltalake
from deltalake.exceptions import CommitFailedError, DeltaError

from pivotlife.pipeline.errors import SourceError, one_line

#: So many files make a table slow to open; they are then joined.
MOST_FILES: Final = 64
#: A file that no version names any more stays this long: a reader may still hold it open.
KEPT_HOURS: Final = 168
_MESSAGE_LENGTH: Final = 300


@dataclass(frozen=True)
class Store:
    """Where the store lies.

    Attributes
    ----------
    uri : str
        A folder, or an address such as `s3://bucket/folder`.
    options : mapping of str to str
        What the object storage asks for: keys, region, endpoint. Never shown.
    """

    uri: str
    options: Mapping[str, str] = field(default_factory=dict, repr=False)

    def place(self, table: str) -> str:
        """Give the address of one of its tables."""
        return f"{self.uri.rstrip('/')}/{table}"


@contextlib.contextmanager
def told(store: Store) -> Iterator[None]:
    """Turn a fault of the storage into one line for the user.

    Raises
    ------
    SourceError
    """
    try:
        yield
    except (DeltaError, OSError) as fault:
        text = one_line(" ".join(str(fault).split()))[:_MESSAGE_LENGTH]
        raise SourceError(
            f"store {store.uri}: {text}; mend it, or set [store] path to another place "
            '("" keeps nothing)'
        ) from None


def opened(store: Store, table: str) -> DeltaTable | None:
    """Open a table at its newest version; None when it is not there yet."""
    place, options = store.place(table), dict(store.options)
    if not DeltaTable.is_deltatable(place, options):
        return None
    return DeltaTable(place, storage_options=options)


def opened_or_made(store: Store, table: str, schema: pa.Schema, parts: Sequence[str]) -> DeltaTable:
    """Open a table, making an empty one when there is none.

    Parameters
    ----------
    store : Store
    table : str
    schema : pyarrow.Schema
        Of a new table; an old one keeps its own.
    parts : sequence of str
        Columns that a new table is partitioned by.
    """
    found = opened(store, table)
    if found is not None:
        return found
    try:
        return DeltaTable.create(
            store.place(table),
            schema=schema,
            partition_by=list(parts),
            storage_options=dict(store.options),
        )
    except DeltaError:
        found = opened(store, table)
        if found is None:
            raise
        return found  # somebody else has just made it


def append(delta: DeltaTable, blocks: Iterable[pa.RecordBatch], schema: pa.Schema) -> bool:
    """Append rows as one new version, unless the table has moved on since it was opened.

    Parameters
    ----------
    delta : DeltaTable
        As opened; it stands on the new version afterwards.
    blocks : iterable of RecordBatch
    schema : pyarrow.Schema
        Of the blocks; columns that are new to the table are added to it.

    Returns
    -------
    bool
        False when somebody else has written in between: nothing was appended.
    """
    try:
        write_deltalake(
            delta,
            pa.RecordBatchReader.from_batches(schema, blocks),
            mode="append",
            schema_mode="merge",
            commit_properties=CommitProperties(max_commit_retries=0),
        )
    except CommitFailedError:
        return False
    return True


def dataset_of(delta: DeltaTable) -> pds.Dataset:
    """Give the files of the version that the table stands on."""
    return delta.to_pyarrow_dataset(as_large_types=True)


def columns_of(
    source: DeltaTable | pds.Dataset, names: Sequence[str], where: Any = None
) -> pa.Table:
    """Read columns; of one dataset the rows come in the same order each time."""
    dataset = dataset_of(source) if isinstance(source, DeltaTable) else source
    return dataset.to_table(columns=list(names), filter=where, use_threads=False)


def column_names(delta: DeltaTable) -> set[str]:
    """Name the columns of a table."""
    return {column.name for column in delta.schema().fields}


def tidy(delta: DeltaTable, *, most_files: int = MOST_FILES, hours: int = KEPT_HOURS) -> bool:
    """Join a table's files when they have become many, and remove those long out of use.

    Rows, and what the table says, stay as they are.

    Parameters
    ----------
    delta : DeltaTable
    most_files : int
        Up to so many files are left alone.
    hours : int
        Hours that a file stays after it has gone out of use.

    Returns
    -------
    bool
        Whether it was done; another writer in between leaves it to the next run.
    """
    if len(delta.file_uris()) <= most_files:
        return False
    try:
        delta.optimize.compact()
        delta.vacuum(
            retention_hours=hours,
            dry_run=False,
            enforce_retention_duration=hours >= KEPT_HOURS,
            full=True,
        )
    except CommitFailedError:
        return False
    return True
