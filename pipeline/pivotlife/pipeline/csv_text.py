"""A CSV file as text columns: nothing is converted, no row is dropped, every row has its line.

Python's own csv reader splits the lines, because it names the line of every row.

Not here: which columns a table needs, and where its files are.
"""

from __future__ import annotations

import codecs
import csv
import gzip
import io
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, Final, cast

import pandas as pd

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.text_table import TextTable, unique_headers

_GZIP_START: Final = b"\x1f\x8b"
_UTF16_STARTS: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def read_csv_text(
    path: Path, where: str, *, encoding: str = "utf-8", separator: str = ",", skip_rows: int = 0
) -> pd.DataFrame:
    """Read one CSV file as text.

    Parameters
    ----------
    path : Path
        The file; gzip is recognised by its first bytes, not by its name.
    where : str
        How error messages call the file.
    encoding : str
        How its bytes are read as letters; a byte-order mark of UTF-8 is tolerated.
    separator : str
        The sign between two cells.
    skip_rows : int
        Lines above the header, such as a title.

    Returns
    -------
    DataFrame
        The file's columns as text ("" = empty cell, spaces around it removed), `row_number`
        (int64, the line on which the row ends, the first line being 1), and `ragged_row` where
        a row has not as many cells as the header.

    Raises
    ------
    SourceError
        When the file cannot be read, is no text in that encoding, is empty or repeats a header.
    """
    try:
        with _opened(path, where, encoding) as stream:
            return _frame(stream, where, separator, skip_rows)
    except (UnicodeDecodeError, UnicodeError) as fault:
        raise SourceError(_not_that_encoding(path, where, encoding, fault)) from None
    except (gzip.BadGzipFile, EOFError, zlib.error):
        raise SourceError(f"{where}: is not a whole gzip file; copy it again") from None
    except OSError as fault:
        raise SourceError(f"{where}: cannot be read ({fault.strerror or fault})") from None


@contextmanager
def _opened(path: Path, where: str, encoding: str) -> Iterator[io.TextIOWrapper]:
    with _bytes_of(path) as stream:
        start = stream.peek(3)[:3]
        is_utf8 = codecs.lookup(encoding).name in ("utf-8", "utf-8-sig", "ascii")
        if is_utf8 and start[:2] in _UTF16_STARTS:
            raise SourceError(
                f"{where}: is UTF-16 text, not UTF-8; save it as CSV UTF-8, "
                'or set encoding = "utf-16"'
            )
        if not is_utf8 and start == codecs.BOM_UTF8:
            raise SourceError(
                f"{where}: is UTF-8 text, not {encoding}; leave encoding out of its settings"
            )
        name = "utf-8-sig" if is_utf8 else encoding
        yield io.TextIOWrapper(cast("IO[bytes]", stream), encoding=name, newline="")


@contextmanager
def _bytes_of(path: Path) -> Iterator[io.BufferedReader]:
    with ExitStack() as files:
        raw = files.enter_context(path.open("rb"))
        if raw.peek(2)[:2] != _GZIP_START:
            yield raw
            return
        unpacked = files.enter_context(gzip.GzipFile(fileobj=raw))
        yield io.BufferedReader(cast("io.RawIOBase", unpacked))


def _frame(stream: io.TextIOWrapper, where: str, separator: str, skip_rows: int) -> pd.DataFrame:
    for _ in range(skip_rows):
        stream.readline()
    reader = csv.reader(stream, delimiter=separator, strict=True)
    rows = _rows(reader, where, skip_rows)
    _, first = next(rows, (0, []))
    if not first:
        below = f" below the {skip_rows} skipped" if skip_rows else ""
        raise SourceError(f"{where}: is empty; its first line{below} must hold the headers")
    table = TextTable(unique_headers(first, where))
    for number, cells in rows:
        table.add(cells, number)
    return table.frame()


def _rows(reader: Iterator[list[str]], where: str, skipped: int) -> Iterator[tuple[int, list[str]]]:
    """Yield line and cells of every row that is not wholly blank."""
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as fault:
            line = getattr(reader, "line_num", 0) + skipped
            raise SourceError(
                f"{where}, line {line}: {fault}; look for a lone quotation mark: "
                'a cell that holds one is written """"'
            ) from None
        if "".join(cells).strip():
            yield getattr(reader, "line_num", 0) + skipped, cells


def _not_that_encoding(path: Path, where: str, encoding: str, fault: UnicodeError) -> str:
    """Say which line holds bytes that are no letters, and what may help."""
    called = "UTF-8" if encoding == "utf-8" else encoding
    if not isinstance(fault, UnicodeDecodeError):
        return f"{where}: is not {called} text; set encoding to the one it was saved in"
    byte = f"byte 0x{fault.object[fault.start]:02x}{_line_of_fault(path, encoding)}"
    if called == "UTF-8":
        return (
            f"{where}: is not UTF-8 text ({byte}); save it as CSV UTF-8, or set the encoding it "
            'was saved in, such as encoding = "cp1252"'
        )
    return f"{where}: is not {encoding} text ({byte}); set encoding to the one it was saved in"


def _line_of_fault(path: Path, encoding: str) -> str:
    with _bytes_of(path) as stream:
        for number, line in enumerate(stream, start=1):
            try:
                line.decode(encoding)
            except UnicodeDecodeError:
                return f" on line {number}"
    return ""
