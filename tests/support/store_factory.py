"""Small exports for tests of the store, and writers that run in processes of their own."""

from __future__ import annotations

import contextlib
import datetime as dt
import multiprocessing
from collections.abc import Iterable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

import pandas as pd

from pivotlife.pipeline.raw_table import RawTable, row_files
from pivotlife.pipeline.store import Store, keep
from pivotlife.pipeline.text_table import TEXT

FIRST_DAY = dt.date(2026, 1, 1)
COLUMNS = ("reading_id", "unit_id", "odometer", "Remarks (shop)")

#: Writers are forked from a process that has loaded the store once and never used it.
_FORKS = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload(["pivotlife.pipeline.store"])


def export(
    rows: Iterable[tuple[str, ...]],
    *,
    name: str = "readings",
    columns: tuple[str, ...] = COLUMNS,
    file: str = "readings.csv",
) -> RawTable:
    """Make a table of rows as a reader would: text, row numbers from 2, the file's name."""
    listed = [list(row) for row in rows]
    frame = pd.DataFrame(listed, columns=list(columns), dtype=object).astype(TEXT)
    numbers = pd.RangeIndex(2, len(listed) + 2).to_numpy()
    return RawTable(name, Path(file), frame.assign(row_number=numbers, file=file))


def day_tables(number: int) -> dict[str, RawTable]:
    """Give the export of a day: rows n to n + 40 of an endless fleet, a tenth of them rewritten."""
    rows = [
        (f"RD-{row}", f"MD-{row % 7}", str(1000 * row + (number if row % 10 == 0 else 0)), "")
        for row in range(number, number + 40)
    ]
    units = [(f"MD-{unit}", "Northpit") for unit in range(number % 5 + 3)]
    return {
        "units": export(units, name="units", columns=("unit_id", "depot"), file="units.csv"),
        "readings": export(rows),
    }


def contents(table: RawTable) -> list[tuple[str, ...]]:
    """List a table's rows with their file and number, for comparison."""
    frame = table.frame
    names = sorted(str(name) for name in frame.columns if name != "file")
    cells = frame[names].astype(str).assign(file=row_files(frame))
    return [tuple(row) for row in cells.to_numpy().tolist()]


@dataclass(frozen=True)
class Writer:
    """A process that keeps one day's export after the other, once it is set off."""

    process: BaseProcess
    line: Connection

    def set_off(self) -> None:
        """Let it begin."""
        self.line.send("go")

    def ended(self, *, kill: bool = False) -> list[int]:
        """Wait for its end, or kill it; return the days that it reported."""
        if kill:
            self.process.kill()
        self.process.join(60)
        told: list[int] = []
        with contextlib.suppress(EOFError):
            while self.line.poll():
                told.append(self.line.recv())
        self.line.close()
        return told


def start_writer(store: str, first: int, last: int, step: int = 1) -> Writer:
    """Start a writer of the days from first to last (left out) and wait until it is ready."""
    here, there = _FORKS.Pipe()
    process = _FORKS.Process(target=_write, args=(store, range(first, last, step), there))
    process.start()
    there.close()
    here.recv()
    return Writer(process, here)


def _write(store: str, numbers: range, line: Connection) -> None:
    line.send("ready")
    line.recv()
    for number in numbers:
        keep(Store(store), day_tables(number), FIRST_DAY + dt.timedelta(days=number))
        line.send(number)
