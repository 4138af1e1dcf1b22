"""A clean invented fleet obeys the logic that binds its tables together."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data import scenario as sc
from pivotlife.data.fleet import simulate

POSITION = ["unit_id", "axle", "side", "node"]
END = "2026-06-30"


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pd.DataFrame]:
    folder: Path = tmp_path_factory.mktemp("clean")
    summary = simulate(folder, faults=False, seed=21)
    assert summary.faults == 0
    names = ["units", "pivots", "readings", "repairs", "lube", "odometer", "meters", "visits"]
    names += ["kits", "capacity", "truth/lives", "truth/readings"]
    return {n: pd.read_csv(folder / f"{n}.csv", dtype=str, keep_default_na=False) for n in names}


def in_mm(frame: pd.DataFrame, column: str) -> pd.Series:
    factor = frame["free_play_unit"].map({"in": 25.4, "thou": 0.0254, "mm": 1.0})
    return pd.to_numeric(frame[column], errors="coerce") * factor


def test_ids_are_unique_and_positions_complete(fleet: dict[str, pd.DataFrame]) -> None:
    for table, column in (
        ("units", "unit_id"), ("readings", "reading_id"), ("repairs", "repair_id"),
        ("kits", "kit_id"),
    ):  # fmt: skip
        assert fleet[table][column].is_unique
    for table in ("readings", "repairs", "pivots"):
        assert (fleet[table][POSITION] != "").all(axis=None)
    assert not fleet["pivots"].duplicated(POSITION).any()
    assert len(fleet["pivots"]) == 6 * 180


def test_causes_are_known_and_entry_is_prompt(fleet: dict[str, pd.DataFrame]) -> None:
    repairs = fleet["repairs"]
    renewed = repairs[repairs["action"] == "replaced"]
    causes = {"wear", "split", "seized", "broken", "partner", "campaign"}
    assert set(renewed["reason"]) == causes
    assert (repairs["entered_date"] == repairs["repair_date"]).all()
    assert (fleet["readings"]["entered_date"] == fleet["readings"]["reading_date"]).all()
    assert len(fleet["meters"]) == 0


def test_nothing_happens_outside_a_units_years(fleet: dict[str, pd.DataFrame]) -> None:
    units = fleet["units"].set_index("unit_id")
    left = units["left_fleet_date"].replace("", END)
    assert (units["in_service_date"] <= units["records_begin_date"]).all()
    for table, day in (
        ("readings", "reading_date"), ("repairs", "repair_date"), ("lube", "lube_date"),
        ("odometer", "read_date"),
    ):  # fmt: skip
        rows = fleet[table]
        assert (rows[day].to_numpy() >= units["records_begin_date"][rows["unit_id"]]).all()
        assert (rows[day].to_numpy() <= left[rows["unit_id"]].to_numpy()).all()


def test_odometers_never_fall_nor_run_too_fast(fleet: dict[str, pd.DataFrame]) -> None:
    parts = []
    for table, day in (
        ("readings", "reading_date"), ("repairs", "repair_date"), ("lube", "lube_date"),
        ("odometer", "read_date"),
    ):  # fmt: skip
        part = fleet[table][["unit_id", day, "odometer"]].set_axis(
            ["unit_id", "day", "miles"], axis=1
        )
        parts.append(part)
    rows = pd.concat(parts).assign(
        miles=lambda f: f["miles"].astype(int), day=lambda f: pd.to_datetime(f["day"])
    )
    days = rows.groupby(["unit_id", "day"])["miles"].agg(["min", "max"]).reset_index()
    for _, unit in days.groupby("unit_id"):
        gap = np.diff(unit["day"].to_numpy()) / np.timedelta64(1, "D")
        low, high = unit["min"].to_numpy(), unit["max"].to_numpy()
        assert (low[1:] >= high[:-1]).all()
        assert (high[1:] - low[:-1] <= 1200 * (gap + 1)).all()


def test_pivots_and_repairs_make_the_true_lives(fleet: dict[str, pd.DataFrame]) -> None:
    lives = fleet["truth/lives"].query("recorded == 'yes'").astype({"life_order": int})
    first = lives.sort_values("life_order").drop_duplicates("pivot_id").set_index("pivot_id")
    pivots = fleet["pivots"]
    ids = pivots[POSITION].agg(".".join, axis=1)
    assert (pivots["bushing_type"].to_numpy() == first.loc[ids, "bushing_type"].to_numpy()).all()
    fitted = first.loc[ids, "fitted_true_miles"].to_numpy()
    blank = (pivots["fitted_odometer"] == "").to_numpy()
    assert (pivots["fitted_odometer"].to_numpy()[~blank] == fitted[~blank]).all()
    renewed = first.loc[ids, "life_order"].to_numpy() > 1
    assert not blank[~renewed].any()
    assert 0.2 < blank[renewed].mean() < 0.4  # 30 % unknown
    repairs = fleet["repairs"].query("action == 'replaced'")
    later = lives[lives.duplicated("pivot_id") | (lives["life_order"] > 1)]
    later = later[later["fitted_date"] >= "2020-06-29"]
    made = repairs[POSITION].agg(".".join, axis=1) + "@" + repairs["repair_date"]
    expected = later["pivot_id"] + "@" + later["fitted_date"]
    assert sorted(made) == sorted(expected)


def test_a_wear_repair_follows_a_reading_over_the_limit(fleet: dict[str, pd.DataFrame]) -> None:
    readings = fleet["readings"].query("after_repair == 'no'")
    over = readings[in_mm(readings, "free_play").round(3) >= sc.LIMIT_MM]
    seen = over.groupby(POSITION)["reading_date"].agg(list)
    worn = fleet["repairs"].query("reason == 'wear' and action == 'replaced'")
    at_once = 0
    for key, day in zip(worn[POSITION].itertuples(index=False), worn["repair_date"], strict=True):
        before = [d for d in seen.get(tuple(key), []) if d <= day]
        # The first repairs may act on a reading made before the records begin.
        assert before or day < "2022-01-01"
        at_once += bool(before) and max(before) == day
    assert at_once / len(worn) > 0.65  # 75 % acted on at once


def test_after_repair_readings_are_of_new_bushings(fleet: dict[str, pd.DataFrame]) -> None:
    readings = fleet["readings"].merge(fleet["truth/readings"], on="reading_id")
    after = readings["after_repair"] == "yes"
    assert after.sum() > 20
    assert (readings.loc[after, "age_miles"] == "0").all()
    assert (readings.loc[~after, "age_miles"].astype(int) > 0).all()


def test_rubber_always_has_a_finding(fleet: dict[str, pd.DataFrame]) -> None:
    readings = fleet["readings"]
    rubber = readings["takes_grease"] == "not-greasable"
    assert set(readings.loc[rubber, "finding"]) == {"ok", "split", "extruded"}
    metal = readings.loc[~rubber]
    assert set(metal["finding"]) <= {"", "ok", "seized"}
    stuck = metal[metal["finding"] == "seized"]
    assert (in_mm(stuck, "free_play") < 1.0).all()
    assert (stuck["takes_grease"] == "no").all()


def test_broken_bushings_are_replaced_on_the_road(fleet: dict[str, pd.DataFrame]) -> None:
    broken = fleet["repairs"].query("reason == 'broken'")
    assert len(broken) > 3
    assert (broken["place"] == "roadside").all()
    assert (broken["teardown_finding"] == "broken").all()


def test_past_and_planned_visits(fleet: dict[str, pd.DataFrame]) -> None:
    visits, units = fleet["visits"], fleet["units"].set_index("unit_id")
    past = visits[visits["visit_date"] <= END]
    planned = visits[visits["visit_date"] > END].groupby("unit_id").size()
    here = units.index[units["left_fleet_date"] == ""]
    assert set(planned.index) <= set(here)
    assert (planned >= 2).all()
    assert 0.88 < len(planned) / len(here) < 1.0
    looked = fleet["readings"]["unit_id"] + fleet["readings"]["reading_date"]
    assert set(looked) <= set(past["unit_id"] + past["visit_date"])


def test_each_replaced_pivot_used_a_kit_that_fits(fleet: dict[str, pd.DataFrame]) -> None:
    repairs = fleet["repairs"].query("action == 'replaced'")
    used = repairs.merge(fleet["kits"], on="kit_id", suffixes=("", "_kit"))
    assert len(used) == len(repairs)
    assert (used["bushing_type"] == used["bushing_type_kit"]).all()
    assert (used["node"] == used["node_kit"]).all()
    units = fleet["units"].set_index("unit_id").loc[used["unit_id"]]
    in_inches = np.where(units["length_unit"] == "mm", 25.4, 1.0)
    width = units["spring_width"].astype(float).to_numpy() / in_inches
    assert np.abs(width - used["spring_width"].astype(float).to_numpy()).max() < 0.01


def test_bay_hours_cover_every_depot_and_the_weeks_ahead(fleet: dict[str, pd.DataFrame]) -> None:
    capacity = fleet["capacity"]
    assert set(capacity["depot"]) == set(sc.DEPOTS)
    assert (pd.to_datetime(capacity["week_start"]).dt.dayofweek == 0).all()
    assert capacity["week_start"].max() > "2026-12-01"
    assert (capacity["bay_hours"].astype(float) > 0).all()
