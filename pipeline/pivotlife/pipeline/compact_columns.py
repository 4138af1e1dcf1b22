"""Columns of judged tables in little memory, collected block by block.

A value that repeats is held once, with a small number in each row that has it: a column of words
takes one byte a row, a date two. Texts that hardly repeat, such as ids, are held by Arrow, numbers
that hardly repeat as they are. What comes out again is what went in, bit for bit.

Not here: which columns a judged table has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from pivotlife.pipeline.text_table import ARROW_TEXT

Values = npt.NDArray[Any]
Rows = npt.NDArray[np.intp]

#: A block whose share of different values is larger, beyond a few, holds values of each row's own.
_REPEATING: Final = 0.5
_FEW: Final = 1_000


@dataclass(frozen=True)
class CompactColumn:
    """One column of text, numbers or dates.

    Attributes
    ----------
    held : ndarray or ChunkedArray
        The different values, shape (n_distinct,); each row's own where there are no codes.
    codes : ndarray of unsigned int, shape (n_rows,), or None
        Place of each row's value in `held`, in the smallest integer that holds it.
    """

    held: Values | pa.ChunkedArray
    codes: npt.NDArray[np.unsignedinteger[Any]] | None = None

    @property
    def is_text(self) -> bool:
        """Whether it holds text."""
        return isinstance(self.held, pa.ChunkedArray) or self.held.dtype == object

    def plain(self) -> Values:
        """Give the value of every row: text as Python strings, float or datetime64[ns]."""
        if isinstance(self.held, pa.ChunkedArray):
            return np.asarray(self.held.to_numpy(), dtype=object)
        return self.held if self.codes is None else self.held[self.codes]

    def of_rows(self, rows: Rows) -> CompactColumn:
        """Keep some rows, by their places."""
        if self.codes is not None:
            return CompactColumn(self.held, self.codes[rows])
        if isinstance(self.held, pa.ChunkedArray):
            return CompactColumn(self.held.take(pa.array(rows)))
        return CompactColumn(self.held[rows])

    def distinct_texts(self) -> tuple[Rows, Values | pd.Index[Any]]:
        """Give the place of each row's text among the different texts, and these."""
        if isinstance(self.held, pa.ChunkedArray):
            return pd.factorize(pd.Index(pd.arrays.ArrowStringArray(self.held)))
        codes = np.arange(len(self.held)) if self.codes is None else self.codes.astype(np.intp)
        return codes, self.held


class ColumnBlocks:
    """Collects a column, block by block."""

    def __init__(self) -> None:
        self._blocks: list[CompactColumn] = []
        self._repeats = True

    def add(self, values: Values) -> None:
        """Add the values of some more rows: text without gaps, float, int or datetime64[ns]."""
        block = _coded(values) if self._repeats else None
        self._repeats = block is not None
        self._blocks.append(block or CompactColumn(_own(values)))

    def close(self) -> CompactColumn:
        """Give the whole column; the blocks are used up."""
        blocks, self._blocks = self._blocks, []
        if len(blocks) == 1:
            return blocks[0]
        if self._repeats:
            return _united(blocks)
        own = [block.held if block.codes is None else _own(block.plain()) for block in blocks]
        texts = [chunk for one in own if isinstance(one, pa.ChunkedArray) for chunk in one.chunks]
        if texts:
            return CompactColumn(pa.chunked_array(texts))
        return CompactColumn(np.concatenate(own))


def _coded(values: Values) -> CompactColumn | None:
    """Hold each value once; None where that would not be less."""
    codes, found = pd.factorize(_bits(values))
    if len(codes) and codes.min() < 0:
        raise ValueError("missing text is written as an empty one")
    if len(found) > max(_FEW, _REPEATING * len(values)):
        return None
    return CompactColumn(found.view(values.dtype), codes.astype(np.min_scalar_type(len(found))))


def _united(blocks: list[CompactColumn]) -> CompactColumn:
    """Put blocks end to end that each hold a value once, so that all together do."""
    values = np.concatenate([block.held for block in blocks])
    places, found = pd.factorize(_bits(values))
    places = places.astype(np.min_scalar_type(len(found)))
    ends = np.cumsum([len(block.held) for block in blocks])
    parts = [
        own[block.codes]
        for own, block in zip(np.split(places, ends[:-1]), blocks, strict=True)
        if block.codes is not None
    ]
    return CompactColumn(found.view(values.dtype), np.concatenate(parts))


def _bits(values: Values) -> Values:
    """Compare numbers and dates by their bits: 0 and -0 differ, every gap is the same."""
    return values if values.dtype == object else values.view(np.int64)


def _own(values: Values) -> Values | pa.ChunkedArray:
    if values.dtype != object:
        return values
    return pa.chunked_array([pa.array(values, type=ARROW_TEXT)])
