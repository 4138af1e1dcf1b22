"""The profile counts what a person can count in the files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.pipeline.check import check_sources, newest_day
from pivotlife.pipeline.profile import PROFILE_COLUMNS, profile_table
from pivotlife.pipeline.profile_text import WIDTH, profile_text
from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.settings_file import load_settings

TO_PIVOT = ["unit_id", "axle", "side", "node"]


@pytest.fixture(scope="module")
def profile(small_run: RunResult) -> pd.DataFrame:
    return small_run.tables["profile"].set_index(["topic", "item"])


@pytest.fixture(scope="module")
def files(small_fleet: Callable[..., Path]) -> dict[str, pd.DataFrame]:
    folder = small_fleet().parent
    return {
        name: pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
        for name in ("readings", "repairs", "lube", "units")
    }


def test_rows_and_what_is_withheld_add_up(
    profile: pd.DataFrame, files: dict[str, pd.DataFrame], small_run: RunResult
) -> None:
    for name, frame in files.items():
        assert profile.loc[("rows", name), "count"] == len(frame)
    withheld = small_run.tables["quarantine"].query("table == 'readings'")
    repeated = int(files["readings"].duplicated().sum())
    row = profile.loc[("rows", "readings")]
    good = len(files["readings"]) - len(withheld) - repeated
    assert row["share"] == pytest.approx(good / len(files["readings"]))
    assert row["detail"].startswith(f"{len(withheld)} withheld, {repeated} repeated, 20")
    told = profile.loc["withheld"]
    assert told["count"].sum() >= len(small_run.tables["quarantine"])


def test_positions_inspectors_and_units_are_those_of_the_files(
    profile: pd.DataFrame, files: dict[str, pd.DataFrame], small_run: RunResult
) -> None:
    out = small_run.tables["quarantine"].query("table == 'readings'")["row_number"]
    good = files["readings"].drop_duplicates().drop(index=out - 2)
    full = (good[["axle", "side", "node"]] != "").all(axis=1)
    assert profile.loc[("full position", "readings"), "count"] == full.sum()
    busiest = good["inspector"].value_counts()
    assert profile.loc[("inspectors", "names"), "count"] == len(busiest)
    assert profile.loc[("inspectors", str(busiest.index[0])), "count"] == busiest.iloc[0]
    read = good["unit_id"].nunique()
    assert profile.loc[("units", "with readings"), "count"] == read


def test_classes_of_readings_per_pivot_cover_all_pivots(
    profile: pd.DataFrame, small_run: RunResult
) -> None:
    pivots = small_run.tables["lives"]["pivot_id"].nunique()
    classes = profile.loc["readings per pivot"].drop(index="median")
    assert classes["count"].sum() == pivots
    assert profile.loc["pivots", "count"].sum() == pivots
    assert classes["share"].sum() == pytest.approx(1.0)


def test_doubts_are_those_of_the_listing(profile: pd.DataFrame, small_run: RunResult) -> None:
    listed = small_run.tables["suspects"]["kind"].value_counts()
    told = pd.concat([profile.loc["suspect values"], profile.loc["odometers"].iloc[1:]])
    assert told["count"].astype(int).to_dict() == listed.to_dict()


def test_gaps_are_counted_from_the_day(factory: ModuleType) -> None:
    pivots = factory.six_pivots()[:4]
    readings = [
        factory.reading(day, 1.0, side=side, node=node)
        for day, (side, node) in zip((100, 500, 900), factory.SIX, strict=False)
    ]
    fleet = factory.fleet(today=1000, pivots=pivots, readings=readings)
    used = fleet.screened
    table = profile_table(
        {}, fleet.judged, used.placed, used.histories, used.suspects, factory.stamp(1000)
    ).set_index(["topic", "item"])
    gaps = table.loc["since the last reading"]
    assert gaps.loc[["half within", "longest"], "value"].tolist() == [500.0, 900.0]
    assert gaps.loc[["more than a year ago", "not read since fitted"], "count"].tolist() == [2, 1]
    assert str(table.loc[("optional tables", "lube"), "detail"]).startswith("would add")
    assert newest_day(fleet.judged) == factory.stamp(900)


def test_check_prints_the_profile_within_80_columns(
    small_fleet: Callable[..., Path], tmp_path: Path
) -> None:
    outcome = check_sources(load_settings(small_fleet()), tmp_path / "check.csv")
    lines = outcome.text.splitlines()
    assert max(map(len, lines[:-1])) <= WIDTH  # the last line names the report
    assert lines[0].startswith("What the records hold, counted on 2026-06-")
    for heading in ("Withheld, by reason", "Inspectors", "Odometer values", "Optional tables"):
        assert heading in lines


def test_long_names_keep_the_figures_in_their_column() -> None:
    rows = [
        ("withheld", "readings: " + "x" * 90, 12, 0.5, float("nan"), "", ""),
        ("withheld", "short", 3, 1.0, float("nan"), "", "w " * 60),
    ]
    text = profile_text(pd.DataFrame(rows, columns=PROFILE_COLUMNS), pd.Timestamp("2026-01-01"))
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    figures = [line for line in lines if line.endswith(("50.0 %", "100 %"))]
    assert (
        len({line.index(amount) for line, amount in zip(figures, ("12", " 3"), strict=True)}) == 1
    )
