"""A Parquet file as text columns; rows count from 1.

Not here: folders of Parquet files as one data set (a pattern names the files).
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pivotlife.pipeline.errors import SourceError, one_line
from pivotlife.pipeline.text_table import ARROW_TEXT, TextColumn, Typed, unique_headers

SUFFIXES: Final = (".parquet", ".pq")
_BLOCK_ROWS: Final = 200_000
#: Kinds that Arrow itself writes as the text they are.
_PLAIN: Final = (pa.types.is_string, pa.types.is_large_string, pa.types.is_integer)


def read_parquet_text(path: Path, where: str, *, typed: Typed) -> pd.DataFrame:
    """Read one Parquet file as text.

    Parameters
    ----------
    path : Path
        The file.
    where : str
        How error messages call it.
    typed : Typed
        How numbers and dates are written.

    Returns
    -------
    DataFrame
        As `csv_text.read_csv_text`; `row_number` counts rows from 1.

    Raises
    ------
    SourceError
        When the file cannot be read or repeats a header.
    """
    try:
        with pq.ParquetFile(path) as file:
            headers = unique_headers(list(file.schema_arrow.names), where)
            columns = [TextColumn() for _ in headers]
            for batch in file.iter_batches(_BLOCK_ROWS):
                for kept, column in zip(columns, batch.columns, strict=True):
                    kept.add(_text(column, typed))
            rows = file.metadata.num_rows
    except (pa.ArrowException, OSError, ValueError) as fault:
        reason = one_line(str(fault))[:200]
        raise SourceError(f"{where}: is not a readable Parquet file ({reason})") from None
    closed = {name: kept.close() for name, kept in zip(headers, columns, strict=True)}
    frame = pd.DataFrame(closed, copy=False)
    frame["row_number"] = np.arange(1, rows + 1, dtype=np.int64)
    return frame


def _text(column: pa.Array, typed: Typed) -> pa.Array:
    """Write one block of a column as text; null is ""."""
    kind = column.type
    if pa.types.is_dictionary(kind):
        return _text(column.dictionary_decode(), typed)
    if pa.types.is_boolean(kind):
        column = pc.if_else(column, "yes", "no")
    elif pa.types.is_date(kind) or pa.types.is_timestamp(kind):
        column = pc.strftime(column, format=typed.day_format)
    elif pa.types.is_floating(kind):
        column = _numbers(column, typed)
    elif not any(is_plain(kind) for is_plain in _PLAIN):
        texts = [typed.text(value) for value in column.to_pylist()]
        column = pa.array(texts, type=ARROW_TEXT)
    return pc.fill_null(pc.cast(column, ARROW_TEXT), "")


def _numbers(column: pa.Array, typed: Typed) -> pa.Array:
    """Write floats; each distinct one once, because they repeat (nothing and NaN are "")."""
    coded = pc.dictionary_encode(column, null_encoding="mask")
    texts = pa.array([typed.text(value) for value in coded.dictionary.to_pylist()], ARROW_TEXT)
    return pc.take(texts, coded.indices)
