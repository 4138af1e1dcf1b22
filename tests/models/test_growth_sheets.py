"""Silent loads and inspectors who read high, settled from the other readings of the bushings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.growth_sheets import (
    OF_INSPECTOR,
    SILENT_LOAD,
    first_laws,
    inspector_differences,
    load_chances,
    settle_sheets,
    settled_table,
)

LOAD, TRUCKS, VISITS = 0.7, 150, 5
HIGH = {"A": 0.15, "B": -0.15, "C": 0.05, "D": -0.05}


@pytest.fixture(scope="module")
def sheets() -> pd.DataFrame:
    """Six pivots of each truck read at five visits; a fifth of the sheets under load."""
    rng = np.random.default_rng(41)
    truck, visit, pivot = (a.ravel() for a in np.indices((TRUCKS, VISITS, 6)))
    rate = np.exp(rng.normal(np.log(0.9), 0.4, (TRUCKS, 6)))[truck, pivot]
    miles = 30_000.0 + 45_000.0 * visit
    play = 0.2 + rate * (miles / 1e5) ** 1.3
    loaded = (rng.random((TRUCKS, VISITS)) < 0.2)[truck, visit]
    silent = (rng.random((TRUCKS, VISITS)) < 0.15)[truck, visit]
    who = np.array(list(HIGH))[rng.integers(0, 4, (TRUCKS, VISITS))[truck, visit]]
    shown = np.where(loaded, LOAD, 1.0) * play + pd.Series(who).map(HIGH).to_numpy()
    shown = np.maximum(np.round(shown + rng.normal(0.0, 0.12, len(shown)), 2), 0.0)
    name = pd.Series(truck).astype(str) + "." + pd.Series(pivot).astype(str)
    return pd.DataFrame(
        {
            "life_id": name,
            "unit_id": truck.astype(str),
            "reading_date": pd.Timestamp("2024-01-01") + pd.to_timedelta(visit * 150, "D"),
            "bushing_type": "threaded",
            "duty": "regional",
            "age_miles": miles,
            "free_play_mm": shown,
            "limit_mm": 3.2,
            "resolution_mm": 0.01,
            "load_state": np.where(silent, "", np.where(loaded, "loaded", "unloaded")),
            "greased_before": "no",
            "inspector": who,
            "was_loaded": loaded,
        }
    )


def test_silent_sheets_are_settled(sheets: pd.DataFrame) -> None:
    alike = sheets.assign(free_play_mm=sheets["free_play_mm"] - sheets["inspector"].map(HIGH))
    chance = load_chances(alike, first_laws(alike))
    truth = sheets.drop_duplicates(["unit_id", "reading_date"]).set_index(
        ["unit_id", "reading_date"]
    )
    silent = truth[truth["load_state"] == ""]
    assert sorted(chance.index) == sorted(silent.index)
    was = silent["was_loaded"].reindex(chance.index)
    right = (chance >= 0.5) == was
    # Hardly any play shows yet at the first visit; later sheets tell.
    worn = silent["age_miles"].reindex(chance.index) > 100_000.0
    assert right.mean() > 0.9
    assert right[worn].mean() > 0.95
    # The chances mean what they say: their mean square miss is that of their own spread.
    assert ((chance - was) ** 2).mean() < (chance * (1.0 - chance)).mean() + 0.03
    assert chance.mean() == pytest.approx(was.mean(), abs=0.03)


def test_inspectors_differences_are_found(sheets: pd.DataFrame) -> None:
    told = sheets[sheets["load_state"] != ""]
    found = inspector_differences(told, first_laws(told))
    assert found.reindex(list(HIGH)).to_numpy() == pytest.approx(list(HIGH.values()), abs=0.04)


def test_settled_readings_are_nearer_the_truth(sheets: pd.DataFrame) -> None:
    settled = settle_sheets(sheets)
    assert settled.index.equals(sheets.index)
    kept = [name for name in sheets if name not in ("free_play_mm", "load_state")]
    pd.testing.assert_frame_equal(settled[kept], sheets[kept])
    said = sheets["load_state"] != ""
    assert settled["load_state"][said].equals(sheets["load_state"][said])
    assert settled["load_chance"].isna().equals(said)
    worn = settled["load_chance"].notna() & (sheets["age_miles"] > 100_000.0)
    right = (settled["load_state"] == "loaded") == sheets["was_loaded"]
    assert right[worn].mean() > 0.95
    off = settled["inspector_mm"]
    assert (settled["free_play_mm"] - (sheets["free_play_mm"] - off)).abs().max() < 0.2
    assert (settled["free_play_mm"][sheets["free_play_mm"] > 0.01] > 0.005).all()


def test_what_was_settled_is_told(sheets: pd.DataFrame) -> None:
    settled = settle_sheets(sheets)
    told = settled_table(settled)
    load = told[told["settled"] == SILENT_LOAD].iloc[0]
    silent = sheets[sheets["load_state"] == ""]
    assert load["readings"] == len(silent)
    assert load["sheets"] == len(silent) / 6
    assert load["taken_as_loaded"] * 6 == (settled["load_state"][silent.index] == "loaded").sum()
    people = told[told["settled"] == OF_INSPECTOR].set_index("inspector")["difference_mm"]
    assert people.reindex(list(HIGH)).to_numpy() == pytest.approx(list(HIGH.values()), abs=0.04)
    assert settled_table(settle_sheets(sheets.head(4))).empty


def test_without_differences_nothing_is_taken_off(sheets: pd.DataFrame) -> None:
    alike = sheets.assign(free_play_mm=sheets["free_play_mm"] - sheets["inspector"].map(HIGH))
    told = alike[(alike["load_state"] != "") & (alike["free_play_mm"] > 0.01)]
    found = inspector_differences(told, first_laws(told))
    assert found.abs().max() < 0.02


def test_few_sheets_of_an_inspector_say_little(sheets: pd.DataFrame) -> None:
    alike = sheets.assign(free_play_mm=sheets["free_play_mm"] - sheets["inspector"].map(HIGH))
    told = alike[(alike["load_state"] != "") & (alike["free_play_mm"] > 0.01)]
    rare = told["unit_id"].isin(["3", "4"])
    found = inspector_differences(
        told.assign(inspector=told["inspector"].mask(rare, "E")), first_laws(told)
    )
    assert found.abs().max() < 0.03


def test_where_no_sheet_names_its_load_nothing_is_guessed(sheets: pd.DataFrame) -> None:
    silent = sheets[~sheets["was_loaded"]].assign(load_state="")
    settled = settle_sheets(silent)
    assert settled["load_chance"].isna().all()
    assert settled["load_state"].eq("").all()
    # Who reads high is settled all the same.
    found = settled[settled["inspector_mm"] != 0.0].groupby("inspector")["inspector_mm"].first()
    assert found.reindex(list(HIGH)).to_numpy() == pytest.approx(list(HIGH.values()), abs=0.05)


def test_one_word_on_load_speaks_for_the_sheet(sheets: pd.DataFrame) -> None:
    first = ~sheets.duplicated(["unit_id", "reading_date"])
    settled = settle_sheets(sheets.assign(load_state=sheets["load_state"].mask(first, "")))
    said = sheets["load_state"] != ""
    assert settled["load_state"][said].equals(sheets["load_state"][said])
    assert settled["load_chance"][said].isna().all()


def test_readings_without_a_law_stay_as_they_are(sheets: pd.DataFrame) -> None:
    few = sheets.head(4)
    settled = settle_sheets(few)
    pd.testing.assert_frame_equal(settled[few.columns], few)
