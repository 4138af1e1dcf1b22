"""Failures of the first miles beside what the curves expect."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.early_failures import COLUMNS, MORE, early_failures


@pytest.fixture(scope="module")
def lives(survival: ModuleType) -> pd.DataFrame:
    table: pd.DataFrame = survival.table_of_lives(90, seed=1)
    return table


def whole(table: pd.DataFrame, kind: str) -> pd.Series:
    rows = table[(table["bushing_type"] == kind) & (table["cut"] == "all")]
    assert len(rows) == 1
    return rows.iloc[0]


def test_over_all_ages_as_many_are_expected_as_observed(lives: pd.DataFrame) -> None:
    """At the maximum of the likelihood the sums agree exactly; all that failed is counted once."""
    table = early_failures(lives, first_miles=1e9)
    for kind in ("rubber-bonded", "threaded", "roller"):
        row = whole(table, kind)
        failed = lives[(lives["bushing_type"] == kind) & np.isfinite(lives["upper_miles"])]
        assert row["observed"] == pytest.approx(len(failed))
        assert row["expected"] == pytest.approx(row["observed"], rel=1e-4)


def test_modes_add_up_to_the_type(lives: pd.DataFrame) -> None:
    table = early_failures(lives, first_miles=100_000.0)
    assert tuple(table.columns) == COLUMNS
    for kind, rows in table.groupby("bushing_type"):
        modes = rows[rows["cut"] == "mode"]
        assert modes["observed"].sum() == pytest.approx(whole(table, str(kind))["observed"])
        assert modes["expected"].sum() == pytest.approx(whole(table, str(kind))["expected"])


def test_good_lives_raise_no_warning(lives: pd.DataFrame) -> None:
    assert (early_failures(lives)["warning"] == "").all()
    bad = lives.copy()
    roller = np.flatnonzero((bad["bushing_type"] == "roller").to_numpy())
    for column, value in (
        *(("lower_miles", 0.0), ("upper_miles", 10_000.0), ("mode", "rough")),
        *(("in_fit", True), ("evidence", "finding"), ("first_evidence_miles", 10_000.0)),
    ):
        bad[column] = bad[column].astype(object)
        bad.loc[bad.index[roller[::12]], column] = value
    table = early_failures(bad, first_miles=60_000.0)
    assert whole(table, "roller")["observed"] >= 15.0
    assert whole(table, "threaded")["warning"] == ""


def test_a_shop_that_fits_badly_is_named(survival: ModuleType) -> None:
    """One shop of ten: half of its bushings fail young, on all of its trucks."""
    lives = survival.table_of_lives(240, seed=5, duty="regional")
    units = list(lives["unit_id"].unique())
    depots = {unit: "Northpit" if n % 30 < 3 else "Lowfen" for n, unit in enumerate(units)}
    bad = lives["unit_id"].map(depots).eq("Northpit") & (lives.index % 2 == 0)
    changes = {"lower_miles": 0.0, "upper_miles": 30_000.0, "mode": "wear", "in_fit": True}
    for column, value in {**changes, "evidence": "bad-reading"}.items():
        lives.loc[bad, column] = value
    table = early_failures(lives, depot_of=depots)
    shop = table[(table["cut"] == "depot") & (table["bushing_type"] == "threaded")]
    shop = shop.set_index("value")
    assert shop.loc["Northpit", "warning"] == MORE
    assert shop.loc["Northpit", "observed"] > 2.0 * shop.loc["Northpit", "expected"]
    assert shop.loc["Lowfen", "warning"] != MORE


def test_one_bad_truck_is_no_bad_batch(lives: pd.DataFrame) -> None:
    """Six early failures on one truck: beyond Poisson's chance, not beyond trucks' spread."""
    bad = lives.copy()
    unit = bad.loc[bad["bushing_type"] == "threaded", "unit_id"].iloc[0]
    own = bad["unit_id"] == unit
    bad.loc[own, ["lower_miles", "upper_miles"]] = [0.0, 30_000.0]
    bad.loc[own, ["mode", "evidence", "in_fit"]] = ["wear", "bad-reading", True]
    row = whole(early_failures(bad, first_miles=30_000.0), "threaded")
    assert row["observed"] >= 6.0
    assert row["warning"] == ""


def test_shops_are_told_apart(lives: pd.DataFrame) -> None:
    depots = {
        unit: ("Northpit", "Lowfen")[n % 2] for n, unit in enumerate(lives["unit_id"].unique())
    }
    table = early_failures(lives, depot_of=depots, first_miles=100_000.0)
    shops = table[table["cut"] == "depot"]
    assert set(shops["value"]) == {"Northpit", "Lowfen"}
    for kind, rows in shops.groupby("bushing_type"):
        assert rows["observed"].sum() == pytest.approx(whole(table, str(kind))["observed"])


def test_without_a_curve_there_is_no_row(lives: pd.DataFrame) -> None:
    none = lives.assign(upper_miles=np.inf, mode="", first_evidence_miles=np.nan)
    assert early_failures(none).empty
