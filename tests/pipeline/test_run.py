"""The whole road once, on a small invented fleet."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from danger_check import assert_nothing_dangerous_is_left, list_alone, raw_table
from pivotlife.pipeline import results
from pivotlife.pipeline.backtest_trust import Trust
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.results import CSV_TABLES, RunResult, already_published
from pivotlife.pipeline.run import run
from pivotlife.pipeline.settings import StoreSettings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.work import Intake


def test_the_folder_is_whole(small_run: RunResult) -> None:
    names = {path.name for path in small_run.folder.iterdir()}
    assert names == {f"{name}.csv" for name in CSV_TABLES} | {
        "index.html",
        "engineer.html",
        "fleet.html",
        "finance.html",
        "run.json",
        "shortlist.xlsx",
        "lifetime_cost.xlsx",
        "sheets",
    }
    assert (small_run.folder.parent / "latest").resolve() == small_run.folder
    record = json.loads((small_run.folder / "run.json").read_text(encoding="utf-8"))
    assert record == json.loads(json.dumps(small_run.record))
    assert len(record["stages"]) == 6  # the last stage writes this file


def test_every_source_row_has_one_fate(small_run: RunResult) -> None:
    ledger = pd.read_csv(small_run.folder / "ledger.csv", keep_default_na=False)
    rows_in = {
        name.removesuffix("_rows"): count
        for name, count in small_run.record["counts"].items()
        if name.endswith("_rows") and name != "quarantined_rows"
    }
    assert ledger.groupby("table").size().to_dict() == rows_in
    assert not ledger.duplicated(["table", "row_number"]).any()
    assert set(ledger["fate"]) <= {
        *("life", "reading", "odometer-only", "context", "quarantined", "not-needed"),
    }
    assert (ledger.loc[ledger["fate"] == "quarantined", "reason"] != "").all()
    quarantine = pd.read_csv(small_run.folder / "quarantine.csv", keep_default_na=False)
    assert len(quarantine) == (ledger["fate"] == "quarantined").sum()


def test_one_line_for_every_pivot_in_service(small_run: RunResult) -> None:
    shortlist = small_run.tables["shortlist"]
    pivots = shortlist.loc[shortlist["pivot_id"] != "", "pivot_id"]
    assert pivots.is_unique
    assert set(small_run.tables["growth"]["pivot_id"]) <= set(pivots)
    assert set(shortlist["decision"]) <= {"park", "replace", "measure", "leave"}
    assert shortlist["rank"].tolist() == list(range(1, len(shortlist) + 1))
    assert (shortlist["reason"].str.len() > 20).all()


def test_over_the_limit_is_never_left(
    small_fleet: Callable[..., Path], small_run: RunResult, last_day: dt.date
) -> None:
    found = assert_nothing_dangerous_is_left(small_fleet(), small_run.tables["shortlist"], last_day)
    assert found > 0


@pytest.mark.parametrize("seed", [12, 13])
def test_nor_in_other_fleets(
    small_fleet: Callable[..., Path], last_day: dt.date, seed: int
) -> None:
    settings = small_fleet(seed=seed)
    shortlist = list_alone(settings, last_day)
    assert assert_nothing_dangerous_is_left(settings, shortlist, last_day) > 0


def test_the_list_alone_is_the_published_one(
    small_fleet: Callable[..., Path], small_run: RunResult, last_day: dt.date
) -> None:
    alone = list_alone(small_fleet(), last_day)
    published = small_run.tables["shortlist"]
    columns = ["unit_id", "pivot_id", "decision", "mandatory", "rule"]
    assert alone[columns].equals(published[columns])


def test_a_park_finding_without_a_position_parks_the_unit(
    small_fleet: Callable[..., Path], last_day: dt.date, tmp_path: Path
) -> None:
    """A broken part whose row is otherwise unreadable still parks its unit."""
    source = small_fleet()
    for file in source.parent.glob("*.csv"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "settings.toml").write_bytes(source.read_bytes())
    readings = raw_table(source, "readings")
    units = raw_table(source, "units").drop_duplicates("unit_id", keep=False)
    unit = units.loc[units["left_fleet_date"] == "", "unit_id"].iloc[0]
    row = dict.fromkeys(readings.columns, "")
    row |= {"reading_id": "RD-X", "unit_id": unit, "reading_date": "next tuesday"}
    row |= {"odometer": "many", "finding": "Broken", "side": "port"}
    readings.loc[len(readings)] = row
    readings.to_csv(tmp_path / "readings.csv", index=False)
    result = run(load_settings(tmp_path / "settings.toml"), last_day, quiet=True)
    shortlist = result.tables["shortlist"]
    order = shortlist[(shortlist["unit_id"] == unit) & (shortlist["decision"] == "park")]
    assert len(order) == 1
    assert order["source_rows"].iloc[0] == "readings:RD-X"
    assert any("to park" in reason for reason in result.act_today)
    quarantine = result.tables["quarantine"]
    acted = quarantine.loc[quarantine["row_id"] == "RD-X", "acted_on"].iloc[0]
    assert acted.startswith("park")


def test_the_same_question_twice_is_recognised(
    small_fleet: Callable[..., Path], small_run: RunResult, last_day: dt.date
) -> None:
    settings = load_settings(small_fleet())
    raw = read_sources(settings)
    intake = Intake(raw, judge(raw))
    assert already_published(settings, intake, last_day) == small_run.folder
    assert already_published(settings, intake, last_day - dt.timedelta(days=1)) is None


def test_a_new_backtest_asks_a_new_question(
    small_fleet: Callable[..., Path],
    small_run: RunResult,
    last_day: dt.date,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    settings = load_settings(small_fleet())
    raw = read_sources(settings)
    intake = Intake(raw, judge(raw))
    made = Trust({"as_of": "2026-05-30", "verdicts": {"roller": "not calibrated"}})
    monkeypatch.setattr(results, "newest_backtest", lambda out, day: made)
    assert already_published(settings, intake, last_day) is None


def test_equal_input_gives_equal_bytes_with_and_without_a_store(
    small_fleet: Callable[..., Path], small_run: RunResult, last_day: dt.date, tmp_path: Path
) -> None:
    bare = StoreSettings(path="", options={})
    settings = load_settings(small_fleet()).model_copy(update={"store": bare})
    again = run(settings, last_day, out=tmp_path / "again", quiet=True)
    assert (small_run.record["store_batch"], again.record["store_batch"]) == (1, None)
    assert again.record["notes"] == small_run.record["notes"]
    for name in (*(f"{stem}.csv" for stem in CSV_TABLES), "fleet.html", "engineer.html"):
        assert (again.folder / name).read_bytes() == (small_run.folder / name).read_bytes(), name
