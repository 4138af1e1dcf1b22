"""Injected faults: their shares, and that the log says exactly what stands in the files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pivotlife.data import scenario as sc
from pivotlife.data.fleet import simulate
from pivotlife.data.fleet_columns import NATIVE_COLUMNS, ROW_ID
from pivotlife.data.fleet_misreadings import mistype

Files = dict[str, pd.DataFrame]
ODOMETER_TABLES = ("readings", "repairs", "lube", "odometer")


def load(folder: Path) -> Files:
    names = [*NATIVE_COLUMNS, "truth/faults", "truth/odometers", "truth/lives"]
    return {n: pd.read_csv(folder / f"{n}.csv", dtype=str, keep_default_na=False) for n in names}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Files:
    folder = tmp_path_factory.mktemp("faults")
    simulate(folder)
    return load(folder)


def rows_with(fleet: Files, table: str, kind: str) -> int:
    faults = fleet["truth/faults"]
    chosen = faults[(faults["table"] == table) & (faults["kind"] == kind)]
    return int(chosen["row_number"].nunique())


def assert_share(found: int, rows: int, share: float) -> None:
    assert stats.binomtest(found, rows, share).pvalue > 0.0005, (found, rows, share)


def originals(fleet: Files, table: str) -> int:
    return len(fleet[table]) - rows_with(fleet, table, "duplicate")


@pytest.mark.parametrize("table", ODOMETER_TABLES)
def test_odometer_faults_and_repeated_rows_have_their_shares(fleet: Files, table: str) -> None:
    rows = originals(fleet, table)
    for kind, share in (
        ("odometer-typo", 0.015),
        ("rollback", 0.005),
        ("kilometres", 0.02),
        ("duplicate", 0.012),
    ):
        assert_share(rows_with(fleet, table, kind), rows, share)


def test_word_faults_have_their_shares(fleet: Files) -> None:
    readings, repairs = originals(fleet, "readings"), originals(fleet, "repairs")
    single = repairs - rows_with(fleet, "repairs", "kit-line")
    assert_share(rows_with(fleet, "repairs", "position-missing"), single, 0.18)
    assert_share(rows_with(fleet, "readings", "position-missing"), readings, 0.03)
    assert_share(rows_with(fleet, "readings", "side-swapped"), readings, 0.01)
    renewed = int((fleet["repairs"]["action"] == "replaced").sum())
    assert_share(rows_with(fleet, "repairs", "cause-unknown"), renewed, 0.35)
    assert_share(rows_with(fleet, "readings", "zero-not-measured"), readings, 0.05)


def test_wrong_units_have_their_shares_of_the_inches_above_zero(fleet: Files) -> None:
    readings = fleet["readings"].drop_duplicates("reading_id").set_index("reading_id")
    log = fleet["truth/faults"].query("column == 'free_play'").set_index("row_id")["true_value"]
    readings.loc[log.index, "free_play"] = log
    able = (readings["free_play_unit"] == "in") & (readings["free_play"].astype(float) > 0)
    for kind, share in (("thousandths-whole", 0.03), ("millimetres-as-inches", 0.04)):
        assert_share(rows_with(fleet, "readings", kind), int(able.sum()), share)


def test_about_a_quarter_of_whole_jobs_become_one_kit_line(fleet: Files) -> None:
    faults = fleet["truth/faults"].query("kind == 'kit-line'")
    lines = fleet["repairs"].set_index("repair_id").loc[faults["row_id"]]
    lines = lines[~lines.index.duplicated()]
    assert set(lines["pivots_in_kit"]) == {"2", "3", "6"}
    assert (lines["node"] == "").all()
    assert ((lines["side"] == "") | (lines["pivots_in_kit"] != "6")).all()
    counted = faults["true_value"].str.count(";") + 1
    assert (lines.loc[faults["row_id"], "pivots_in_kit"].astype(int).to_numpy() == counted).all()


def test_units_with_wrong_meters_and_numbers(fleet: Files) -> None:
    faults = fleet["truth/faults"]
    assert rows_with(fleet, "units", "meter-replaced") == 6
    assert len(fleet["meters"]) == 4
    assert rows_with(fleet, "units", "unit-number-reused") == 2
    offset = faults[faults["kind"] == "engine-offset"]
    reads = offset["row_number"].astype(int).to_numpy() - 2
    assert 12 <= fleet["odometer"].iloc[reads]["unit_id"].nunique() <= 18
    ratio = offset["written_value"].astype(float) / offset["true_value"].astype(float)
    assert np.abs(ratio - 1.0).max() <= 0.031


def test_a_reused_number_belongs_to_a_sold_and_a_later_truck(fleet: Files) -> None:
    units = fleet["units"]
    twice = units[units.duplicated("unit_id", keep=False)]
    assert twice["unit_id"].nunique() == 2
    for _, pair in twice.groupby("unit_id"):
        sold = pair[pair["left_fleet_reason"] == "sold"]
        later = pair[pair["left_fleet_reason"] != "sold"]
        assert (len(sold), len(later)) == (1, 1)
        assert sold["left_fleet_date"].iloc[0] < later["in_service_date"].iloc[0]


def test_the_log_says_what_stands_in_the_files(fleet: Files) -> None:
    log = fleet["truth/faults"]
    # A later fault in the same cell overwrites an earlier one: look at the last of each cell.
    cells = log[~log["kind"].isin(["duplicate", "meter-replaced"])]
    cells = cells.drop_duplicates(["table", "row_number", "column"], keep="last")
    for (table, column), part in cells.groupby(["table", "column"]):
        frame = fleet[str(table)].iloc[part["row_number"].astype(int) - 2]
        assert (frame[str(column)].to_numpy() == part["written_value"].to_numpy()).all()
        if table in ROW_ID:
            assert (frame[ROW_ID[str(table)]].to_numpy() == part["row_id"].to_numpy()).all()


def test_repeated_rows_stand_below_their_originals(fleet: Files) -> None:
    log = fleet["truth/faults"].query("kind == 'duplicate'")
    for table, part in log.groupby("table"):
        frame = fleet[str(table)]
        place = part["row_number"].astype(int).to_numpy() - 2
        assert (frame.iloc[place].to_numpy() == frame.iloc[place - 1].to_numpy()).all()


def test_spoiled_odometers_are_those_that_the_truth_does_not_explain(fleet: Files) -> None:
    truth = fleet["truth/odometers"].query("table == 'readings'")
    readings = fleet["readings"].drop_duplicates("reading_id").set_index("reading_id")
    true = truth.set_index("row_id")["true_miles"]
    differ = readings["odometer"] != true.loc[readings.index]
    log = fleet["truth/faults"].query("table == 'readings' and column == 'odometer'")
    swapped = fleet["truth/faults"].query("kind == 'meter-replaced'")["row_id"]
    expected = readings.index.isin(log["row_id"])
    usual = ~readings["unit_id"].isin(swapped)
    assert (differ[usual].to_numpy() == expected[usual.to_numpy()]).all()


def test_a_replaced_meter_counts_on_from_its_new_start(fleet: Files) -> None:
    change = fleet["meters"].iloc[0]
    unit = fleet["readings"]["unit_id"] == change["unit_id"]
    rows = fleet["readings"][unit & (fleet["readings"]["reading_date"] > change["change_date"])]
    log = fleet["truth/faults"].query("table == 'readings' and column == 'odometer'")
    rows = rows[~rows["reading_id"].isin(log["row_id"])].drop_duplicates("reading_id")
    truth = fleet["truth/odometers"].query("table == 'readings'").set_index("row_id")["true_miles"]
    shift = int(change["old_reading"]) - int(change["new_reading"])
    true = truth.loc[rows["reading_id"]].astype(int).to_numpy()
    assert len(rows) > 0
    assert (rows["odometer"].astype(int).to_numpy() == true - shift).all()


def test_entry_lags_by_at_most_45_days_and_not_past_the_end(fleet: Files) -> None:
    readings = fleet["readings"]
    made, entered = (pd.to_datetime(readings[c]) for c in ("reading_date", "entered_date"))
    lag = (entered - made).dt.days
    assert lag.min() == 0
    assert 40 <= lag.max() <= 45
    assert 0.4 < (lag > 0).mean() < 0.6
    assert entered.max() <= pd.Timestamp("2026-06-30")


def test_faults_change_the_records_and_never_what_happened(fleet: Files, tmp_path: Path) -> None:
    simulate(tmp_path, faults=False)
    clean = load(tmp_path)
    assert clean["truth/lives"].equals(fleet["truth/lives"])
    assert len(clean["truth/faults"]) == 0


def test_the_stress_run_spoils_the_share_asked_for(tmp_path: Path) -> None:
    simulate(tmp_path, units=60, faults=False, bad_odometers=0.15)
    fleet = load(tmp_path)
    assert set(fleet["truth/faults"]["kind"]) == {"odometer-typo", "rollback", "kilometres"}
    rows = sum(len(fleet[table]) for table in ODOMETER_TABLES)
    assert_share(len(fleet["truth/faults"]), rows, 0.15)


@given(number=st.integers(1, 2_000_000), seed=st.integers(0, 10_000))
def test_a_mistyped_number_is_never_the_right_one(number: int, seed: int) -> None:
    typed = mistype(number, np.random.default_rng(seed))
    assert typed != number
    assert 0 <= typed < 100 * number + 100


def test_shares_of_a_clean_run_are_all_zero() -> None:
    assert set(vars(sc.fault_shares(False, None)).values()) == {0}
