"""A hash of a table's cells, without making Python texts of them.

Equal cells give an equal hash, however the columns are cut into chunks in memory.

Not here: what is done with the hash.
"""

from __future__ import annotations

import hashlib
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.text_table import ARROW_TEXT

_BLOCK_ROWS = 200_000


def table_hash(table: RawTable) -> str:
    """Hash a table as it was handed in, with its corrections.

    Parameters
    ----------
    table : RawTable

    Returns
    -------
    str
        Hexadecimal SHA-256 over headers, cells, row numbers, files and corrections.
    """
    whole = hashlib.sha256()
    for name in map(str, table.frame.columns):
        whole.update(f"{name}\x00".encode())
        whole.update(_column_hash(table.frame[name]))
    whole.update(repr((sorted(table.headers.items()), table.corrections)).encode())
    return whole.hexdigest()


def _column_hash(column: pd.Series) -> bytes:
    lengths, content = hashlib.sha256(), hashlib.sha256()
    for start in range(0, len(column), _BLOCK_ROWS):
        block = pa.array(column.iloc[start : start + _BLOCK_ROWS], from_pandas=True)
        for chunk in block.chunks if isinstance(block, pa.ChunkedArray) else [block]:
            text = pc.fill_null(pc.cast(_plain(chunk), ARROW_TEXT), "")
            lengths.update(pc.binary_length(text).to_numpy(zero_copy_only=False).tobytes())
            # The text of a fresh array lies in one piece behind its offsets.
            content.update(pa.concat_arrays([text]).buffers()[2] or b"")
    return lengths.digest() + content.digest()


def _plain(chunk: Any) -> Any:
    return chunk.dictionary_decode() if pa.types.is_dictionary(chunk.type) else chunk
