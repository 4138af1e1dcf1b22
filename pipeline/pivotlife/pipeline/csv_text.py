"""A CSV file as text columns: nothing is converted, no row is dropped, every row has its line.

Python's own csv reader splits the lines, because it names the line of every row; the cells go
into Arrow columns block by block, so that a file of millions of rows fits in memory. A row with
more or fewer cells than the header is kept and marked, so that it can be quarantined.

Not here: which columns a table needs, and where its files are.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Final, cast

import numpy as np
import pandas as pd

from pivotlife.pipeline.errors import SourceError

#: Column that says what is wrong with a row whose cells do not match the header.
RAGGED: Final = "ragged_row"
#: Columns that the reader adds; a file's own column of that name gets a suffix.
ADDED: Final = ("row_number", "path", RAGGED)
SUFFIX: Final = "_as_given"

#: Text kept by Arrow: a tenth of the memory of Python strings.
TEXT: Final = pd.StringDtype("pyarrow")

_BLOCK_ROWS: Final = 50_000
_GZIP_START: Final = b"\x1f\x8b"
_UTF16_STARTS: Final = (b"\xff\xfe", b"\xfe\xff")


@dataclass
class _Block:
    """Rows collected until they are turned into Arrow columns."""

    width: int
    rows: list[list[str]] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    ragged: dict[int, str] = field(default_factory=dict)

    def add(self, cells: list[str], number: int) -> None:
        if len(cells) != self.width:
            self.ragged[len(self.rows)] = _ragged(cells, self.width)
            cells = [*cells[: self.width], *([""] * (self.width - len(cells)))]
        self.rows.append(cells)
        self.numbers.append(number)

    def frame(self, headers: list[str]) -> pd.DataFrame:
        cells = zip(*self.rows, strict=True) if self.rows else ([] for _ in headers)
        text = {
            name: pd.Series(list(column), dtype=TEXT).str.strip()
            for name, column in zip(headers, cells, strict=True)
        }
        marks = [self.ragged.get(place, "") for place in range(len(self.rows))]
        return pd.DataFrame(
            {
                **text,
                RAGGED: pd.Series(marks, dtype=TEXT),
                "row_number": np.asarray(self.numbers, dtype=np.int64),
            }
        )


def read_csv_text(path: Path, where: str) -> pd.DataFrame:
    """Read one CSV file as text.

    Parameters
    ----------
    path : Path
        The file; gzip is recognised by its first bytes, not by its name.
    where : str
        How error messages call the file.

    Returns
    -------
    DataFrame
        The file's columns as text ("" = empty cell, spaces around it removed), `row_number`
        (int64, the line on which the row ends, the header being 1), and `ragged_row` where a
        row has not as many cells as the header.

    Raises
    ------
    SourceError
        When the file cannot be read, is no UTF-8 text, is empty or repeats a header.
    """
    try:
        with _opened(path, where) as stream:
            return _frame(stream, where)
    except UnicodeDecodeError as fault:
        raise SourceError(
            f"{where}: is not UTF-8 text (byte 0x{fault.object[fault.start]:02x}); "
            "save it as CSV UTF-8"
        ) from None
    except (gzip.BadGzipFile, EOFError, zlib.error):
        raise SourceError(f"{where}: is not a whole gzip file; copy it again") from None
    except OSError as fault:
        raise SourceError(f"{where}: cannot be read ({fault.strerror or fault})") from None


@contextmanager
def _opened(path: Path, where: str) -> Iterator[io.TextIOWrapper]:
    with ExitStack() as files:
        raw = files.enter_context(path.open("rb"))
        start = raw.peek(2)[:2]
        if start in _UTF16_STARTS:
            raise SourceError(f"{where}: is UTF-16 text, not UTF-8; save it as CSV UTF-8")
        stream: IO[bytes] = raw
        if start == _GZIP_START:
            stream = cast("IO[bytes]", files.enter_context(gzip.GzipFile(fileobj=raw)))
        yield files.enter_context(io.TextIOWrapper(stream, encoding="utf-8-sig", newline=""))


def _frame(stream: io.TextIOWrapper, where: str) -> pd.DataFrame:
    reader = csv.reader(stream, strict=True)
    rows = _rows(reader, where)
    _, first = next(rows, (0, []))
    if not first:
        raise SourceError(f"{where}: is empty; its first line must hold the headers")
    headers = _headers(first, where)
    blocks: list[pd.DataFrame] = []
    block = _Block(len(headers))
    for number, cells in rows:
        block.add(cells, number)
        if len(block.rows) == _BLOCK_ROWS:
            blocks.append(block.frame(headers))
            block = _Block(len(headers))
    blocks.append(block.frame(headers))
    frame = pd.concat(blocks, ignore_index=True)
    return frame if frame[RAGGED].ne("").any() else frame.drop(columns=RAGGED)


def _rows(reader: Iterator[list[str]], where: str) -> Iterator[tuple[int, list[str]]]:
    """Yield line and cells of every row that is not wholly blank."""
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as fault:
            line = getattr(reader, "line_num", 0)
            raise SourceError(
                f"{where}, line {line}: {fault}; look for a lone quotation mark: "
                'a cell that holds one is written """"'
            ) from None
        if "".join(cells).strip():
            yield getattr(reader, "line_num", 0), cells


def _headers(cells: list[str], where: str) -> list[str]:
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


def _ragged(cells: list[str], width: int) -> str:
    surplus = cells[width:]
    tail = f", too many: {json.dumps(surplus, ensure_ascii=False)}" if surplus else ""
    return f"{len(cells)} cells under {width} headers{tail}"
