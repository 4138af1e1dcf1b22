"""Rows of text collected into a table: what every kind of source is turned into.

A source hands over rows of cells with the number of each row. The cells go into Arrow columns
block by block, so that a file of millions of rows fits in memory. A row with more or fewer cells
than the header is kept and marked, so that it can be quarantined.

Not here: how the rows of a kind of source are found, and what a cell means.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final, cast

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from pivotlife.pipeline.errors import SourceError

#: Column that says what is wrong with a row whose cells do not match the header.
RAGGED: Final = "ragged_row"
#: Column that says why a row is none of the sheet it stands on.
OFF_SHEET: Final = "off_sheet"
#: Columns that the reader adds; a file's own column of that name gets a suffix.
ADDED: Final = ("row_number", "file", RAGGED, OFF_SHEET)
SUFFIX: Final = "_as_given"

#: Text kept by Arrow: a tenth of the memory of Python strings.
TEXT: Final = pd.StringDtype("pyarrow")
ARROW_TEXT: Final = pa.large_string()

_BLOCK_ROWS: Final = 50_000
#: A block whose share of different texts is larger, beyond a few, holds texts that do not repeat.
_REPEATING: Final = 0.5
_FEW: Final = 1_000
#: Whole numbers up to here are written without a decimal sign.
_EXACT: Final = 10**15


@dataclass(frozen=True)
class Typed:
    """How cells that are numbers or dates, not text, are written down.

    They are written the way the text cells of the same source are, so that both read alike.

    Attributes
    ----------
    decimal : str
        The decimal sign.
    day_format : str
        The pattern of a date, as `strftime` takes it.
    """

    decimal: str = "."
    day_format: str = "%Y-%m-%d"

    def text(self, value: object) -> str:
        """Write one cell; nothing and not-a-number are "", truth is yes or no."""
        if value is None:
            return ""
        if isinstance(value, str):
            return value
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, dt.date):  # a datetime is one too
            return value.strftime(self.day_format)
        if isinstance(value, float | Decimal):
            return self._number(value)
        return str(value)

    def _number(self, value: float | Decimal) -> str:
        if math.isnan(value):
            return ""
        if math.isfinite(value) and value == int(value) and abs(int(value)) < _EXACT:
            return str(int(value))
        return str(value).replace(".", self.decimal)


class TextColumn:
    """Collects one column's cells, block by block.

    Texts that repeat are kept once, with the place of each row's; a column whose texts hardly
    repeat (ids, odometers) stays plain text.
    """

    def __init__(self) -> None:
        self._blocks: list[pa.Array] = []
        self._repeats = True

    def add(self, cells: pa.Array) -> None:
        """Add a block of texts; spaces around them are removed."""
        text = pc.utf8_trim_whitespace(pc.cast(cells, ARROW_TEXT))
        if self._repeats:
            coded = pc.dictionary_encode(text)
            self._repeats = len(coded.dictionary) <= max(_FEW, _REPEATING * len(text))
            text = coded if self._repeats else text
        self._blocks.append(text)

    def close(self) -> pd.Series:
        """Give the whole column, as a categorical where its texts repeat; it is used up."""
        blocks, self._blocks = self._blocks, []  # their memory is wanted for the next column
        if not self._repeats or not blocks:
            plain = [pc.cast(block, ARROW_TEXT) for block in blocks]
            chunks = pa.chunked_array(plain, type=ARROW_TEXT)
            return pd.Series(pd.arrays.ArrowStringArray(chunks), copy=False)
        whole = pa.chunked_array(blocks).unify_dictionaries()
        texts = whole.chunk(0).dictionary if whole.num_chunks else pa.array([], ARROW_TEXT)
        codes = np.concatenate([chunk.indices.to_numpy() for chunk in whole.chunks])
        return categorical(codes, texts.to_pylist())


class TextTable:
    """Collects rows under their headers.

    Parameters
    ----------
    headers : list of str
        Unique names, from `unique_headers`.
    """

    def __init__(self, headers: list[str]) -> None:
        self.headers = headers
        self._columns = [TextColumn() for _ in headers]
        self._numbers: list[npt.NDArray[np.int64]] = []
        self._rows: list[list[str]] = []
        self._line: list[int] = []
        self._ragged: dict[int, str] = {}
        self._before = 0

    def add(self, cells: list[str], number: int) -> None:
        """Add one row; its number is its line, sheet row or place in the result."""
        width = len(self.headers)
        if len(cells) != width:
            self._ragged[self._before + len(self._rows)] = _ragged(cells, width)
            cells = [*cells[:width], *([""] * (width - len(cells)))]
        self._rows.append(cells)
        self._line.append(number)
        if len(self._rows) == _BLOCK_ROWS:
            self._close_block()

    def frame(self) -> pd.DataFrame:
        """Give the table.

        Returns
        -------
        DataFrame
            The columns as text ("" = empty cell, spaces around it removed), `row_number`
            (int64), and `ragged_row` where a row has not as many cells as the header.
        """
        self._close_block()
        columns = [column.close() for column in self._columns]
        frame = pd.DataFrame(dict(zip(self.headers, columns, strict=True)), copy=False)
        if self._ragged:
            marks = np.full(self._before, "", dtype=object)
            marks[list(self._ragged)] = list(self._ragged.values())
            frame[RAGGED] = pd.Series(marks, dtype=TEXT)
        frame["row_number"] = np.concatenate(self._numbers)
        return frame

    def _close_block(self) -> None:
        if self._rows:
            for column, cells in zip(self._columns, zip(*self._rows, strict=True), strict=True):
                column.add(pa.array(cells, type=ARROW_TEXT))
        self._numbers.append(np.asarray(self._line, dtype=np.int64))
        self._before += len(self._rows)
        self._rows, self._line = [], []


def categorical(codes: npt.NDArray[np.integer[Any]], texts: list[str]) -> pd.Series:
    """Make a column of texts that repeat."""
    names = pd.Index(texts, dtype=object)
    return pd.Series(pd.Categorical.from_codes(cast("Sequence[int]", codes), names), copy=False)


def joined_text(parts: Sequence[pd.Series]) -> pd.Series:
    """Put the same column of several files end to end."""
    if all(isinstance(part.dtype, pd.CategoricalDtype) for part in parts):
        return pd.Series(pd.api.types.union_categoricals(list(parts)), copy=False)
    return pd.concat([part.astype(TEXT) for part in parts], ignore_index=True)


def unique_headers(cells: list[str], where: str) -> list[str]:
    """Name the columns: blank headers by their place, the reader's own names with a suffix.

    Raises
    ------
    SourceError
        When a header occurs twice.
    """
    stripped = [cell.strip() for cell in cells]
    names = [
        f"{name}{SUFFIX}" if name in ADDED else name or f"column {place}"
        for place, name in enumerate(stripped, start=1)
    ]
    repeated = sorted({name for name in names if names.count(name) > 1})
    if repeated:
        raise SourceError(
            f"{where}: header {', '.join(map(repr, repeated))} occurs more than once; "
            "rename or remove one"
        )
    return names


def written_columns(frame: pd.DataFrame) -> list[str]:
    """List the columns that came from the source."""
    return [str(name) for name in frame.columns if name not in ADDED]


def _ragged(cells: list[str], width: int) -> str:
    surplus = cells[width:]
    tail = f", too many: {json.dumps(surplus, ensure_ascii=False)}" if surplus else ""
    return f"{len(cells)} cells under {width} headers{tail}"
