"""Rows of one table, each content once: what names a content, and how its cells are kept.

A row is known by a hash of its filled cells and their columns; an empty column more or less makes
no other row. A content that a table holds several times is kept as often as it ever stood there
at once. Cells are kept as text under the column's own name where that is plain, an empty cell as
a null.

Not here: in which order and when the rows stood in the source (`store_log`).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pivotlife.pipeline.text_table import ARROW_TEXT, categorical

Keys = npt.NDArray[np.int64]
Hashes = npt.NDArray[np.uint64]

#: Columns of our own beside the cells.
OWN: Final = {
    "row_key": pa.int64(),
    "known_on": pa.date32(),
    "hash_high": pa.int64(),
    "hash_low": pa.int64(),
}
#: What says where a row stood; kept by the log, not with the row.
STANDING: Final = ("row_number", "file")
_KEPT: Final = pa.string()
_PREFIX: Final = "as_given_"
_PLAIN: Final = re.compile(r"[a-z][a-z0-9_]*")
#: Two keys make two hashes of 64 bits that know nothing of each other.
_HASH_KEYS: Final = ("bushings-of-pins", "shackles-of-leaf")
_BLOCK_ROWS: Final = 100_000
_REPEATING: Final = 0.5


def cell_columns(frame: pd.DataFrame) -> list[str]:
    """Name the columns whose cells make a row's content."""
    return [str(name) for name in frame.columns if name not in STANDING]


def kept_name(column: str) -> str:
    """Give the name that a column has in the store: its own where that is plain.

    Parameters
    ----------
    column : str
        Native, or as the source has it.

    Returns
    -------
    str
        Lower-case letters, digits and underscores; equal only for equal columns.
    """
    if _PLAIN.fullmatch(column) and column not in OWN and not column.startswith(_PREFIX):
        return column
    slug = re.sub(r"[^a-z0-9]+", "_", column.casefold()).strip("_")
    mark = hashlib.sha256(column.encode()).hexdigest()[:12]
    return f"{_PREFIX}{slug}_{mark}"


def row_hashes(frame: pd.DataFrame) -> Hashes:
    """Hash every row's content.

    Parameters
    ----------
    frame : DataFrame
        Text columns; row number and file do not count.

    Returns
    -------
    ndarray of uint64, shape (n_rows, 2)
        No two rows are equal: the second of equal contents is hashed as such.
    """
    sums = np.zeros((len(frame), 2), dtype=np.uint64)
    for name in cell_columns(frame):
        salt = _salt(name)
        for rows, codes, texts in _distinct_blocks(frame[name]):
            cells = _mixed(_text_hashes(texts) ^ salt)
            cells[texts == ""] = 0
            sums[rows] += cells[codes]
    return _numbered(_mixed(sums))


def keys_of(hashes: Hashes, known: pa.Table) -> Keys:
    """Find the rows that are kept already.

    Parameters
    ----------
    hashes : ndarray of uint64, shape (n_rows, 2)
    known : pyarrow.Table
        `row_key, hash_high, hash_low` of the kept rows.

    Returns
    -------
    ndarray of int64, shape (n_rows,)
        Key of each row, -1 where its content is new.
    """
    if not known.num_rows or not len(hashes):
        return np.full(len(hashes), -1, dtype=np.int64)
    high, low = hashes.view(np.int64).T
    keys, kept_high, kept_low = (
        known.column(name).to_numpy() for name in ("row_key", "hash_high", "hash_low")
    )
    index = pd.Index(kept_low)
    if index.is_unique:
        place = index.get_indexer(pd.Index(low))
        found = (place >= 0) & (kept_high[place] == high)
        return np.where(found, keys[place], -1)
    # Two contents share half of their hash: so rare that speed does not matter.
    kept = pd.DataFrame({"high": kept_high, "low": kept_low, "key": keys})
    asked = pd.DataFrame({"high": high, "low": low})
    both = asked.merge(kept.drop_duplicates(["high", "low"]), how="left", on=["high", "low"])
    return both["key"].fillna(-1).to_numpy(dtype=np.int64)


def rows_schema(columns: Sequence[str]) -> pa.Schema:
    """Give the schema of a table of rows with these columns of the source."""
    cells = {kept_name(column): _KEPT for column in columns}
    return pa.schema(list({**OWN, **cells}.items()))


def row_blocks(
    frame: pd.DataFrame, hashes: Hashes, places: npt.NDArray[np.intp], first_key: int, day: Any
) -> Iterator[pa.RecordBatch]:
    """Write some rows of a table as blocks for the store.

    Parameters
    ----------
    frame : DataFrame
        The table as read.
    hashes : ndarray of uint64, shape (n_rows, 2)
    places : ndarray of int
        Rows to write; they get keys one after the other.
    first_key : int
    day : date
        The day on which they became known.

    Yields
    ------
    RecordBatch
        In `rows_schema`.
    """
    names = cell_columns(frame)
    schema = rows_schema(names)
    columns = [_taken(frame[name], places) for name in names]
    for start in range(0, len(places), _BLOCK_ROWS):
        rows = places[start : start + _BLOCK_ROWS]
        high, low = np.ascontiguousarray(hashes[rows]).view(np.int64).T
        own = [
            pa.array(np.arange(len(rows), dtype=np.int64) + first_key + start),
            pa.repeat(pa.scalar(day, pa.date32()), len(rows)),
            pa.array(high),
            pa.array(low),
        ]
        cells = [_kept_cells(column.slice(start, len(rows))) for column in columns]
        yield pa.RecordBatch.from_arrays([*own, *cells], schema=schema)


def read_cells(column: pa.ChunkedArray, places: npt.NDArray[np.intp]) -> pd.Series:
    """Give the kept cells of some rows as a text column, categorical where texts repeat.

    Parameters
    ----------
    column : ChunkedArray of text
    places : ndarray of int
        Rows that are wanted, in their order.
    """
    taken = pc.fill_null(pc.cast(column, ARROW_TEXT).combine_chunks().take(pa.array(places)), "")
    coded = pc.dictionary_encode(taken)
    if len(coded.dictionary) > _REPEATING * len(taken):
        return pd.Series(pd.arrays.ArrowStringArray(pa.chunked_array([taken])), copy=False)
    return categorical(coded.indices.to_numpy(), coded.dictionary.to_pylist())


def _taken(cells: pd.Series, places: npt.NDArray[np.intp]) -> pa.Array:
    """Take some rows of a column in one go: out of many chunks each take costs the whole column."""
    column = pa.array(cells, from_pandas=True)
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
    return column if len(places) == len(column) else column.take(pa.array(places))


def _kept_cells(text: pa.Array) -> pa.Array:
    if pa.types.is_dictionary(text.type):
        text = text.dictionary_decode()
    text = pc.cast(text, _KEPT)
    return pc.if_else(pc.equal(text, ""), pa.scalar(None, _KEPT), text)


def _distinct_blocks(
    column: pd.Series,
) -> Iterator[tuple[slice, npt.NDArray[Any], npt.NDArray[np.object_]]]:
    """Give rows, the place of each one's text, and the texts, in blocks that stay small."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        # A missing cell has the code -1: it finds the empty text at the end.
        texts = np.append(column.cat.categories.to_numpy(dtype=object), "")
        yield slice(None), column.cat.codes.to_numpy(), texts
        return
    for start in range(0, len(column), _BLOCK_ROWS):
        rows = slice(start, start + _BLOCK_ROWS)
        texts = column.iloc[rows].fillna("").to_numpy(dtype=object)
        yield rows, np.arange(len(texts)), texts


def _text_hashes(texts: npt.NDArray[np.object_]) -> Hashes:
    pair = [pd.util.hash_array(texts, hash_key=key, categorize=False) for key in _HASH_KEYS]
    return np.column_stack(pair).astype(np.uint64, copy=False)


def _salt(column: str) -> Hashes:
    digest = hashlib.sha256(column.encode()).digest()
    return np.frombuffer(digest[:16], dtype=np.uint64)


def _mixed(values: Hashes) -> Hashes:
    """Spread every bit over all others (the finishing step of common 64-bit hashes)."""
    mixed = values ^ (values >> np.uint64(30))
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(27)
    mixed *= np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    return mixed


def _numbered(hashes: Hashes) -> Hashes:
    """Tell the second, third ... row of one content from the first."""
    alike = pd.Series(hashes[:, 1]).duplicated(keep=False).to_numpy()
    if not alike.any():
        return hashes
    rows = np.flatnonzero(alike)
    same = pd.DataFrame(hashes[rows], columns=["high", "low"])
    before = same.groupby(["high", "low"]).cumcount().to_numpy().astype(np.uint64)
    again = before > 0
    hashes[rows[again]] = _mixed(hashes[rows[again]] + before[again][:, None])
    return hashes
