"""Small exports for tests of the store, and writers that run in processes of their own."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from pivotlife.pipeline.raw_table import RawTable, row_files
from pivotlife.pipeline.text_table import TEXT

COLUMNS = ("reading_id", "unit_id", "odometer", "Remarks (shop)")

#: Keeps one export after the other; day n holds rows n to n + 40 of a fleet that goes on for ever,
#: a tenth of them rewritten every day.
WRITER = """
import datetime as dt, sys
import importlib.util
spec = importlib.util.spec_from_file_location("store_factory", sys.argv[1])
factory = importlib.util.module_from_spec(spec); spec.loader.exec_module(factory)
from pivotlife.pipeline.store import Store, keep
store, first, last, step = Store(sys.argv[2]), *map(int, sys.argv[3:6])
print("ready", flush=True)
sys.stdin.readline()
for number in range(first, last, step):
    day = dt.date(2026, 1, 1) + dt.timedelta(days=number)
    keep(store, factory.day_tables(number), day)
    print(number, flush=True)
"""


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
    """Give the export of a day; see `WRITER`."""
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


def start_writer(store: Path, first: int, last: int, step: int = 1) -> subprocess.Popen[str]:
    """Start a writer and wait until it has loaded; a line on its input sets it off."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, __file__, str(store), str(first), str(last), str(step)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert writer.stdout is not None
    assert writer.stdout.readline() == "ready\n"
    return writer


def set_off(writer: subprocess.Popen[str]) -> None:
    """Let a waiting writer begin."""
    assert writer.stdin is not None
    writer.stdin.write("\n")
    writer.stdin.flush()
