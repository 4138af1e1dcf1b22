"""A past list made again from the store is the list of that day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest

from pivotlife.pipeline.results import CSV_TABLES, RunResult
from pivotlife.pipeline.run import run
from pivotlife.pipeline.settings_file import load_settings

#: What compares with the folder of runs, or says what was run.
OF_THE_FOLDER = {"changes"}


@dataclass(frozen=True)
class Days:
    """Two days of one fleet, and the first of them made again."""

    first: RunResult
    second: RunResult
    again: RunResult
    changed: dict[str, str]


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


def rewrite(folder: Path) -> dict[str, str]:
    """Correct one reading, remove one, add one, and drop a whole table; return the rows' ids."""
    readings = table(folder, "readings")
    here = table(folder, "units").query("left_fleet_date == ''")["unit_id"]
    sound = readings[
        readings["unit_id"].isin(here)
        & readings["finding"].eq("ok")
        & readings["free_play_unit"].eq("mm")
        & readings["node"].ne("")
    ].sort_values("reading_date")
    corrected, removed = sound.index[-1], sound.index[-2]
    ids = {"corrected": readings.loc[corrected, "reading_id"]}
    ids["removed"] = readings.loc[removed, "reading_id"]
    readings.loc[corrected, "finding"] = "cracked"
    added = readings.loc[[corrected]].assign(reading_id="RD-NEW", finding="ok")
    readings = pd.concat([added, readings.drop(index=removed)], ignore_index=True)
    readings.to_csv(folder / "readings.csv", index=False)
    settings = folder / "settings.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('[sources.capacity]\npath = "capacity.csv"\n', ""), "utf-8")
    return ids


@pytest.fixture(scope="module")
def days(
    small_fleet: Callable[..., Path], last_day: dt.date, tmp_path_factory: pytest.TempPathFactory
) -> Days:
    source, folder = small_fleet(units=8, years=2, seed=5).parent, tmp_path_factory.mktemp("past")
    for file in (*source.glob("*.csv"), source / "settings.toml"):
        (folder / file.name).write_bytes(file.read_bytes())
    settings = folder / "settings.toml"
    first_day = last_day - dt.timedelta(days=1)
    today = last_day + dt.timedelta(days=30)

    def go(day: dt.date, name: str) -> RunResult:
        return run(load_settings(settings), day, out=folder / name, quiet=True, today=today)

    first = go(first_day, "first")
    changed = rewrite(folder)
    second = go(last_day, "second")
    return Days(first, second, go(first_day, "again"), changed)


def assert_same(one: RunResult, other: RunResult) -> None:
    for name in (f"{stem}.csv" for stem in CSV_TABLES if stem not in OF_THE_FOLDER):
        assert (one.folder / name).read_bytes() == (other.folder / name).read_bytes(), name


def test_a_past_list_is_the_list_of_that_day(days: Days) -> None:
    assert_same(days.again, days.first)
    assert days.again.record["inputs"] == days.first.record["inputs"]
    assert days.again.record["store_batch"] == days.first.record["store_batch"] == 1
    assert any("as kept in the store on" in note for note in days.again.record["notes"])


def test_the_next_day_differs_where_rows_did(days: Days) -> None:
    assert days.second.record["store_batch"] == 2
    parked = days.second.tables["shortlist"].query("decision == 'park'")["source_rows"]
    assert any(days.changed["corrected"] in rows for rows in parked)
    then, now = (
        set(run.tables["ledger"].query("table == 'readings'")["row_id"])
        for run in (days.first, days.second)
    )
    assert then - now == {days.changed["removed"]}
    assert now - then == {"RD-NEW"}
    for kind in ("repairs", "lube", "units", "pivots"):
        before, after = (
            run.tables["ledger"].query("table == @kind", local_dict={"kind": kind})
            for run in (days.first, days.second)
        )
        assert before["row_id"].tolist() == after["row_id"].tolist()
