"""The whole road once, on a small invented fleet."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.results import CSV_TABLES, RunResult, already_published
from pivotlife.pipeline.run import run
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.work import Intake

FINDINGS = {"cracked", "broken", "part-missing", "axle-shifted", "seized"}
TO_MM = {"in": 25.4, "thou": 0.0254, "mm": 1.0}


def test_the_folder_is_whole(small_run: RunResult) -> None:
    names = {path.name for path in small_run.folder.iterdir()}
    assert names == {f"{name}.csv" for name in CSV_TABLES} | {
        "index.html",
        "engineer.html",
        "fleet.html",
        "finance.html",
        "run.json",
        "shortlist.xlsx",
        "sheets",
    }
    assert (small_run.folder.parent / "latest").resolve() == small_run.folder
    record = json.loads((small_run.folder / "run.json").read_text(encoding="utf-8"))
    assert record == json.loads(json.dumps(small_run.record))
    assert len(record["stages"]) == 5  # the last stage writes this file


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


def raw_table(settings: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(settings.parent / f"{name}.csv", dtype=str, keep_default_na=False)


def over_or_parked(settings: Path, day: dt.date) -> tuple[set[str], set[str]]:
    """Work out from the files alone which pivots read over 3.2 mm last, and who must park."""
    units = raw_table(settings, "units").drop_duplicates("unit_id", keep=False)
    here = set(units.loc[units["left_fleet_date"] == "", "unit_id"])
    known = raw_table(settings, "readings").query(
        "unit_id in @here and entered_date <= @day_text",
        local_dict={"here": here, "day_text": day.isoformat()},
    )
    placed = known[(known[["axle", "side", "node"]] != "").all(axis=1)].copy()
    placed["pivot_id"] = placed["unit_id"].str.cat(
        [placed["axle"], placed["side"], placed["node"]], sep="."
    )
    pivots = raw_table(settings, "pivots")
    fixed = raw_table(settings, "repairs").query("unit_id in @here", local_dict={"here": here})
    renewed = fixed[fixed["action"].isin(["replaced", "fitted"])]
    measured = placed[placed["free_play"] != ""].copy()
    measured["mm"] = measured["free_play"].astype(float) * measured["free_play_unit"].map(TO_MM)
    last = measured.sort_values(["reading_date", "mm"]).groupby("pivot_id").tail(1)
    metal = pivots.loc[pivots["bushing_type"] != "rubber-bonded"]
    metal_ids = metal["unit_id"].str.cat([metal["axle"], metal["side"], metal["node"]], sep=".")
    newest = renewed.groupby("unit_id")["repair_date"].max()
    later = last["unit_id"].map(newest).fillna("") >= last["reading_date"]
    over = last[(last["mm"].round(3) >= 3.2) & ~later & last["pivot_id"].isin(metal_ids)]
    fixed_on = fixed.groupby("unit_id")["repair_date"].max()
    grave = known[known["finding"].isin(FINDINGS)]
    open_park = grave[grave["unit_id"].map(fixed_on).fillna("") < grave["reading_date"]]
    return set(over["pivot_id"]), set(open_park["unit_id"])


def assert_nothing_dangerous_is_left(settings: Path, result: RunResult, day: dt.date) -> int:
    over, parked = over_or_parked(settings, day)
    shortlist = result.tables["shortlist"]
    left = set(shortlist.loc[shortlist["decision"] == "leave", "pivot_id"])
    assert not over & left
    for unit in parked:
        assert "park" in set(shortlist.loc[shortlist["unit_id"] == unit, "decision"])
    return len(over) + len(parked)


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_over_the_limit_is_never_left(
    small_fleet: Callable[..., Path], last_day: dt.date, tmp_path: Path, seed: int
) -> None:
    settings = small_fleet(seed=seed)
    result = run(load_settings(settings), last_day, out=tmp_path / "out", quiet=True)
    assert assert_nothing_dangerous_is_left(settings, result, last_day) > 0


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


def test_equal_input_gives_equal_bytes(
    small_fleet: Callable[..., Path], small_run: RunResult, last_day: dt.date, tmp_path: Path
) -> None:
    again = run(load_settings(small_fleet()), last_day, out=tmp_path / "again", quiet=True)
    for name in (*(f"{stem}.csv" for stem in CSV_TABLES), "fleet.html", "engineer.html"):
        assert (again.folder / name).read_bytes() == (small_run.folder / name).read_bytes(), name
