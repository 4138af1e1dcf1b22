"""One folder a run, swapped in whole.

A run is written into a hidden folder beside its destination, flushed to the disk, renamed, and
only then does the link `latest` move. A run that is killed leaves `latest` where it was and a
hidden folder that the next run removes. A lock that the system releases on death keeps two runs
from writing into one place at once.

Not here: what the files say.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

import pandas as pd

from pivotlife.pipeline.errors import SourceError, cannot_write

WRITING = ".writing-"
LATEST = "latest"
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@contextlib.contextmanager
def locked(out: Path) -> Iterator[None]:
    """Hold the output folder for one run and clear what a killed run left behind.

    Parameters
    ----------
    out : Path
        Folder of the runs; made when missing.

    Raises
    ------
    SourceError
        When another run holds the folder, or the folder cannot be made.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        handle = (out / ".lock").open("a")
    except OSError as fault:
        raise cannot_write(out, fault) from None
    with handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise SourceError(
                f"{out}: another run is writing there; wait for it or choose another --out"
            ) from None
        for left_over in out.glob(f"{WRITING}*"):
            shutil.rmtree(left_over, ignore_errors=True)
        yield


def publish(files: Mapping[str, pd.DataFrame | str | bytes], out: Path, name: str) -> Path:
    """Write all files of a run and make it the latest one.

    Parameters
    ----------
    files : mapping of file name to table, text or bytes
        Tables become CSV files. Names may hold one folder level.
    out : Path
        Folder of the runs; the caller holds its lock.
    name : str
        Name of the run's folder; a number is added when it exists.

    Returns
    -------
    Path
        The run's folder.
    """
    target = _free_name(out, name)
    writing = out / f"{WRITING}{target.name}"
    writing.mkdir()
    for file, content in files.items():
        _write(writing / file, content)
    for folder in [path for path in writing.iterdir() if path.is_dir()]:
        _flush_folder(folder)
    _flush_folder(writing)
    writing.rename(target)
    _point_latest(out, target)
    _flush_folder(out)
    return target


def safe_name(text: str) -> str:
    """Turn an id into something that can only ever be a plain file name."""
    return re.sub(r"[^A-Za-z0-9_-]+", "_", text).strip("_") or "unnamed"


def csv_text(table: pd.DataFrame) -> str:
    """Write a table as CSV text: ISO dates, dot decimals, true/false, harmless text cells.

    A text cell that a spreadsheet would run as a formula gets a leading apostrophe.
    """
    shown = table.copy()
    for column in shown.columns:
        values = shown[column]
        if pd.api.types.is_datetime64_any_dtype(values):
            shown[column] = values.dt.strftime("%Y-%m-%d")
        elif pd.api.types.is_bool_dtype(values):
            shown[column] = values.map({True: "true", False: "false"})
        elif not pd.api.types.is_numeric_dtype(values):
            shown[column] = values.map(_cell)
    return shown.to_csv(index=False, float_format="%.10g", lineterminator="\n")


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return f"'{value}"
    return value


def _write(path: Path, content: pd.DataFrame | str | bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    if isinstance(content, pd.DataFrame):
        content = csv_text(content)
    data = content.encode("utf-8") if isinstance(content, str) else content
    with path.open("wb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())


def _free_name(out: Path, name: str) -> Path:
    base = safe_name(name)
    candidates = (base if n == 1 else f"{base}-{n}" for n in range(1, 1_000_000))
    return next(out / c for c in candidates if not (out / c).exists())


def _point_latest(out: Path, target: Path) -> None:
    link = out / f"{WRITING}{LATEST}"
    link.unlink(missing_ok=True)
    link.symlink_to(target.name)
    link.replace(out / LATEST)


def _flush_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
