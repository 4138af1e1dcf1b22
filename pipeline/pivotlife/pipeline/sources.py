"""The sources named in the settings, read as text and put under native headers.

Each table comes from one file, from several that a pattern names (CSV, XLSX, Parquet), or from an
SQL query. Only headers are looked at here: a table without a column it must have is refused before
any row is judged. Corrections are put in last, so that everything later sees the corrected cells.

Not here: what a cell means, and which rows are faulty.
"""

from __future__ import annotations

import difflib
import glob
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
import pyarrow as pa

from pivotlife.data.contracts.registry import CONTRACTS, NEEDED_TABLES
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.corrections import corrected, read_corrections
from pivotlife.pipeline.csv_text import read_csv_text
from pivotlife.pipeline.dialect import Dialect
from pivotlife.pipeline.errors import SourceError, one_line
from pivotlife.pipeline.native_headers import nearest, refuse_other_unit, with_native_headers
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.text_table import ADDED, categorical, joined_text

if TYPE_CHECKING:
    from pivotlife.pipeline.settings import Settings, SourceSettings

CORRECTIONS: Final = "corrections"
SHEETS: Final = "sheets"
PARQUET: Final = (".parquet", ".pq")
WORKBOOKS: Final = (".xlsx", ".xlsm")
OLD_WORKBOOKS: Final = (".xls", ".xlsb", ".ods")


@dataclass(frozen=True)
class HandedIn:
    """One file, or one query's result, under its own headers.

    Attributes
    ----------
    where : str
        How error messages call it.
    file : str
        Its name in the ledger.
    frame : DataFrame
        Text columns, `row_number` and, where rows are ragged, `ragged_row`.
    """

    where: str
    file: str
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
        By table name, in the order of the contracts; corrections are already in.

    Raises
    ------
    SourceError
        When a needed table is not named, a source is missing or unreadable, a column that must
        be there is not, or a correction does not fit. The text is one line.
    """
    return native_tables(read_handed_in(settings), settings)


def read_handed_in(settings: Settings) -> dict[str, list[HandedIn]]:
    """Read every file and query as text, under the headers they have.

    Raises
    ------
    SourceError
        When a needed table is not named, or a source is missing or unreadable.
    """
    given = settings.sources
    known = [*CONTRACTS, CORRECTIONS, SHEETS]
    unknown = [name for name in given if name not in known]
    if unknown:
        raise SourceError(
            f"{settings.file}: sources.{unknown[0]} is no table{nearest(unknown[0], known)}; "
            f"the tables are {', '.join(known)}"
        )
    missing = [name for name in NEEDED_TABLES if name not in given]
    if missing:
        raise SourceError(
            f"{settings.file}: no source for {', '.join(missing)}; "
            f'add [sources.{missing[0]}] with path = "..."'
        )
    handed_in = {name: _read_source(name, settings) for name in CONTRACTS if name in given}
    # What the blocks of a file needed is given back before the rows are judged.
    pa.default_memory_pool().release_unused()
    return handed_in


def native_tables(handed_in: dict[str, list[HandedIn]], settings: Settings) -> dict[str, RawTable]:
    """Put tables under native headers and corrections into their cells.

    Parameters
    ----------
    handed_in : dict of str to list of HandedIn
        From `read_handed_in`.
    settings : Settings
        Their mapping.

    Raises
    ------
    SourceError
        When a header or a correction does not fit.
    """
    tables = {name: _joined(name, parts, settings) for name, parts in handed_in.items()}
    if SHEETS in settings.sources:
        tables["readings"] = _with_sheets(tables["readings"], settings)
    if CORRECTIONS not in settings.sources:
        return tables
    source = settings.sources[CORRECTIONS]
    if source.path is not None and source.path.casefold().endswith(".toml"):
        [file] = _files(CORRECTIONS, source.path, settings)
        return corrected(tables, read_corrections(file, f"{CORRECTIONS}: {source.path}"))
    lists = [
        with_native_headers(part.frame, CORRECTIONS, source.columns, part.where)[0].assign(
            where=part.where
        )
        for part in _read_source(CORRECTIONS, settings)
    ]
    return corrected(tables, pd.concat(lists, ignore_index=True))


def _with_sheets(readings: RawTable, settings: Settings) -> RawTable:
    from pivotlife.pipeline.filled_sheets import with_filled_sheets  # noqa: PLC0415  as below

    source = settings.sources[SHEETS]
    written = source.path or ""
    files = [
        (file, f"{SHEETS}: {file.name}", _label(file, settings))
        for file in _files(SHEETS, written, settings, may_be_none=glob.has_magic(written))
    ]
    return with_filled_sheets(readings, files, dialect_of(source))


def dialect_of(source: SourceSettings) -> Dialect:
    """Take from a source's settings how it writes."""
    return Dialect(
        meanings=source.meanings,
        units=source.units,
        date_formats=source.date_format,
        decimal=source.decimal,
        thousands=source.thousands,
    )


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


def _read_source(name: str, settings: Settings) -> list[HandedIn]:
    source = settings.sources[name]
    if source.url is not None and source.query is not None:
        return [_read_query(name, source.url, source.query, settings)]
    written = source.path or ""
    return [
        HandedIn(
            where := f"{name}: {file.name if glob.has_magic(written) else written}",
            _label(file, settings),
            _read_file(file, where, name, source),
        )
        for file in _files(name, written, settings)
    ]


def _read_query(name: str, url: str, query: str, settings: Settings) -> HandedIn:
    # A database driver takes its time to load: only those who read from one wait for it.
    from pivotlife.pipeline.sql_text import database_name, read_sql_text  # noqa: PLC0415  see above

    where = f"{settings.file}: [sources.{name}]"
    typed = dialect_of(settings.sources[name]).typed
    frame = read_sql_text(url, query, where, folder=settings.folder, typed=typed)
    return HandedIn(f"{name}: query", database_name(url), frame)


def _read_file(file: Path, where: str, name: str, source: SourceSettings) -> pd.DataFrame:
    suffix = file.suffix.casefold()
    typed = dialect_of(source).typed
    if suffix in WORKBOOKS:
        from pivotlife.pipeline.sheet_text import read_sheet_text  # noqa: PLC0415  as above

        return read_sheet_text(
            file, where, table=name, sheet=source.sheet, skip_rows=source.skip_rows, typed=typed
        )
    if suffix in PARQUET:
        from pivotlife.pipeline.parquet_text import read_parquet_text  # noqa: PLC0415  as above

        return read_parquet_text(file, where, typed=typed)
    if suffix in OLD_WORKBOOKS:
        raise SourceError(f"{where}: {suffix} files cannot be read; save it as .xlsx or .csv")
    return read_csv_text(
        file,
        where,
        encoding=source.encoding,
        separator=source.separator,
        skip_rows=source.skip_rows,
    )


def _joined(name: str, parts: list[HandedIn], settings: Settings) -> RawTable:
    source = settings.sources[name]
    for part in parts:
        refuse_other_unit(part.frame, name, source.columns, source.units, part.where)
    native = [with_native_headers(part.frame, name, source.columns, part.where) for part in parts]
    place = np.repeat(np.arange(len(native)), [len(frame) for frame, _ in native])
    files = categorical(place, [part.file for part in parts])
    frames = [frame for frame, _ in native]
    frame = frames[0] if len(frames) == 1 else _end_to_end(frames)
    return RawTable(
        name,
        settings.folder / (source.path or parts[0].file),
        frame.assign(file=files),
        dialect_of(source),
        {part.file: renamed for part, (_, renamed) in zip(parts, native, strict=True) if renamed},
    )


def _end_to_end(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Join files; a column that one of them lacks is blank there."""
    names = dict.fromkeys(str(name) for frame in frames for name in frame.columns)
    columns = {
        name: joined_text([frame[name] if name in frame else _blank(frame) for frame in frames])
        for name in names
        if name != "row_number"
    }
    numbers = np.concatenate([frame["row_number"].to_numpy() for frame in frames])
    return pd.DataFrame({**columns, "row_number": numbers}, copy=False)


def _blank(frame: pd.DataFrame) -> pd.Series:
    return categorical(np.zeros(len(frame), dtype=np.int8), [""])


def _files(
    name: str, written: str, settings: Settings, *, may_be_none: bool = False
) -> Sequence[Path]:
    place = one_line(f'{settings.file}: [sources.{name}] path = "{written}"')
    whole = settings.folder / written
    if whole.is_file():
        return [whole]
    if whole.is_dir():
        raise SourceError(f"{place} is a folder; name the file in it, or a pattern such as *.csv")
    if not glob.has_magic(written):
        raise SourceError(f"{place}: no such file; paths are relative to {settings.folder}")
    start = Path(whole.anchor) if Path(written).is_absolute() else settings.folder
    pattern = str(Path(written).relative_to(start)) if Path(written).is_absolute() else written
    files = sorted(file for file in _matches(start, pattern, place) if file.is_file())
    if not files and not may_be_none:
        raise SourceError(f"{place}: no file matches; paths are relative to {settings.folder}")
    return files


def _matches(start: Path, pattern: str, place: str) -> Iterable[Path]:
    try:
        return list(start.glob(pattern))
    except ValueError as fault:
        raise SourceError(f"{place}: is no pattern ({fault})") from None


def _label(file: Path, settings: Settings) -> str:
    """Name a file in the ledger: its path below the folder of the settings, or its whole path."""
    try:
        return file.resolve().relative_to(settings.folder.resolve()).as_posix()
    except ValueError:
        return file.as_posix()
