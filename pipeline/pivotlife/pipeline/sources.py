"""The sources named in the settings, read as text.

Each table comes from one CSV file or from several that a pattern names. Only the headers are
looked at here: a table without a column it must have is refused before any row is judged.

Not here: what a cell means, and which rows are faulty.
"""

from __future__ import annotations

import difflib
import glob
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS, NEEDED_TABLES
from pivotlife.data.contracts.tables import column_facts, required_columns
from pivotlife.pipeline.csv_text import ADDED, read_csv_text
from pivotlife.pipeline.errors import SourceError

if TYPE_CHECKING:
    from pivotlife.pipeline.settings import Settings


@dataclass(frozen=True)
class RawTable:
    """One table as it was handed in.

    Attributes
    ----------
    name : str
        The table's name in the settings.
    path : Path
        The file, or the pattern that named several.
    frame : DataFrame
        The file's columns as text ("" = empty) and `row_number` (int64); `path` (text) when
        several files were joined; `ragged_row` when a row's cells do not match the header.
    """

    name: str
    path: Path
    frame: pd.DataFrame


def read_sources(settings: Settings) -> dict[str, RawTable]:
    """Read every table that the settings name.

    Parameters
    ----------
    settings : Settings
        Their `sources` say where each table is, relative to their `folder`.

    Returns
    -------
    dict of str to RawTable
        By table name, in the order of the contracts.

    Raises
    ------
    SourceError
        When a needed table is not named, a file is missing or unreadable, or a column that
        must be there is not. The text is one line.
    """
    given = settings.sources
    unknown = [name for name in given if name not in CONTRACTS]
    if unknown:
        raise SourceError(
            f"{settings.file}: sources.{unknown[0]} is no table{_nearest(unknown[0], CONTRACTS)}; "
            f"the tables are {', '.join(CONTRACTS)}"
        )
    missing = [name for name in NEEDED_TABLES if name not in given]
    if missing:
        raise SourceError(
            f"{settings.file}: no source for {', '.join(missing)}; "
            f'add [sources.{missing[0]}] with path = "..."'
        )
    return {
        name: _read_table(name, given[name].path, settings) for name in CONTRACTS if name in given
    }


def near_misses(table: RawTable) -> list[str]:
    """List columns that look like a misspelt column of the contract.

    Such a column is kept as an extra one, and the column that was meant counts as absent.

    Parameters
    ----------
    table : RawTable
        As read.

    Returns
    -------
    list of str
        One sentence for each, empty when there is none.
    """
    known = column_facts(CONTRACTS[table.name])
    absent = [name for name in known if name not in table.frame.columns]
    extras = [str(name) for name in table.frame.columns if name not in known and name not in ADDED]
    found = [
        (extra, difflib.get_close_matches(extra.casefold(), absent, 1, 0.8)) for extra in extras
    ]
    return [
        f"{table.name}: column {extra!r} is not used; was {match[0]!r} meant?"
        for extra, match in found
        if match
    ]


def _read_table(name: str, written: str, settings: Settings) -> RawTable:
    files = _files(name, written, settings)
    frames = [_read_file(name, written, file) for file in files]
    path = settings.folder / written
    if len(frames) == 1:
        return RawTable(name, path, frames[0])
    marked = [frame.assign(path=str(file)) for frame, file in zip(frames, files, strict=True)]
    joined = pd.concat(marked, ignore_index=True)
    text = [column for column in joined.columns if column != "row_number"]
    return RawTable(
        name, path, joined.assign(**{column: joined[column].fillna("") for column in text})
    )


def _files(name: str, written: str, settings: Settings) -> list[Path]:
    place = f'{settings.file}: [sources.{name}] path = "{written}"'
    whole = settings.folder / written
    if whole.is_file():
        return [whole]
    if whole.is_dir():
        raise SourceError(f"{place} is a folder; name the file in it, or a pattern such as *.csv")
    if not glob.has_magic(written):
        raise SourceError(f"{place}: no such file; paths are relative to {settings.folder}")
    start = Path(whole.anchor) if Path(written).is_absolute() else settings.folder
    pattern = str(Path(written).relative_to(start)) if Path(written).is_absolute() else written
    files = sorted(file for file in start.glob(pattern) if file.is_file())
    if not files:
        raise SourceError(f"{place}: no file matches; paths are relative to {settings.folder}")
    return files


def _read_file(name: str, written: str, file: Path) -> pd.DataFrame:
    where = f"{name}: {written}" if not glob.has_magic(written) else f"{name}: {file.name}"
    frame = read_csv_text(file, where)
    headers = [str(column) for column in frame.columns if column not in ADDED]
    absent = [column for column in required_columns(CONTRACTS[name]) if column not in headers]
    if absent:
        raise SourceError(
            f"{where}: lacks the column {', '.join(map(repr, absent))}"
            f"{_nearest(absent[0], headers)}; its headers are {', '.join(headers)}"
            f"{_separator_hint(headers)}"
        )
    return frame


def _nearest(name: str, known: Iterable[str]) -> str:
    by_folded = {entry.casefold(): entry for entry in known}
    match = difflib.get_close_matches(name.casefold(), list(by_folded), 1, 0.0)
    return f" (nearest: {by_folded[match[0]]!r})" if match else ""


def _separator_hint(headers: list[str]) -> str:
    for sign, called in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
        if len(headers) == 1 and sign in headers[0]:
            return f"; the cells seem to be separated by {called}, save the file with commas"
    return ""
