"""Rows of a fleet without faults are used, every one for what it says.

What each row should become is worked out here from the files alone and compared with ledger.csv.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest

from pivotlife.pipeline import stages
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.publish import csv_text
from pivotlife.pipeline.settings_file import load_settings

TABLES = ("units", "pivots", "readings", "repairs", "lube", "odometer", "meters", "visits",
          "kits", "capacity", "gauge_study")  # fmt: skip
USED = {"life", "reading", "odometer-only", "context"}

Row = dict[str, str]


def rows_of(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def should_become(table: str, row: Row) -> str:
    """Say what a row of a fleet without faults is for."""
    if table == "pivots":
        return "life"
    if table == "readings":
        return "reading" if row["axle"] and row["side"] and row["node"] else "odometer-only"
    if table == "repairs":
        return "life" if row["action"] in ("replaced", "fitted", "removed") else "context"
    return "odometer-only" if table == "odometer" else "context"


@pytest.fixture(scope="module")
def clean(
    small_fleet: Callable[..., Path], last_day: dt.date, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Path]:
    """Folder of the files, and the ledger that a run would publish."""
    path = small_fleet(faults=False, seed=21)
    settings = load_settings(path)
    progress = Progress(stages=stages.COUNT, quiet=True)
    records = stages.build(stages.read(settings, progress), settings, last_day, progress)
    ledger = tmp_path_factory.mktemp("clean") / "ledger.csv"
    ledger.write_text(csv_text(records.ledger), encoding="utf-8")
    return path.parent, ledger


def test_at_least_99_percent_become_what_they_are_for(clean: tuple[Path, Path]) -> None:
    folder, ledger = clean
    fates = {(row["table"], int(row["row_number"])): row["fate"] for row in rows_of(ledger)}
    wanted = {
        (table, number): should_become(table, row)
        for table in TABLES
        for number, row in enumerate(rows_of(folder / f"{table}.csv"), 2)
    }
    assert fates.keys() == wanted.keys()
    assert len(rows_of(ledger)) == len(wanted) > 5_000
    used = sum(fate in USED for fate in fates.values())
    right = sum(fates[key] == fate for key, fate in wanted.items())
    assert used / len(wanted) >= 0.99
    assert right / len(wanted) >= 0.99
