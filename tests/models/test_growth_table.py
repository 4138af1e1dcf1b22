"""The table of growth: chances that come true, which evidence speaks, what lacking data does."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.age_cases import over_ages
from pivotlife.models.growth_cells import GrowthLaws, fit_laws
from pivotlife.models.growth_table import GROWTH_COLUMNS, growth_table
from pivotlife.models.life_curves import CurveBook

#: Handed to the decision, not published.
INTERNAL = ("last_reading_doubted", "chance_ahead_1", "chance_ahead_2")


@pytest.fixture(scope="module")
def known(fleets: ModuleType) -> Any:
    return fleets.fleet(600, 11)


@pytest.fixture(scope="module")
def laws(known: Any) -> GrowthLaws:
    return fit_laws(known.readings, known.lives)


@pytest.fixture(scope="module")
def curves(fleets: ModuleType) -> CurveBook:
    return CurveBook(fleets.FITS, {})


@pytest.fixture(scope="module")
def table(known: Any, laws: GrowthLaws, curves: CurveBook) -> pd.DataFrame:
    return growth_table(known.in_service, known.readings, known.visits, laws, curves)


def test_chances_come_true(known: Any, table: pd.DataFrame) -> None:
    read = table["readings_used"].gt(0).to_numpy()
    by_next = table["chance_over_by_next_visit"].to_numpy()[read]
    happened = (known.crossing <= known.visits["next_visit_miles"].to_numpy())[read]
    for low, high in [(-0.01, 0.02), (0.02, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.0)]:
        group = (by_next > low) & (by_next <= high)
        said = by_next[group]
        error = np.sqrt(np.sum(said * (1 - said))) / group.sum()
        assert happened[group].mean() == pytest.approx(said.mean(), abs=4 * error + 0.01)
    skill = np.mean((by_next - happened) ** 2) / happened.var()
    assert skill < 0.15


def test_play_at_the_visit_is_within_its_band(
    known: Any, table: pd.DataFrame, fleets: ModuleType
) -> None:
    law = [fleets.LAW[k] for k in known.in_service["bushing_type"]]
    new, power = (np.array([row[i] for row in law]) for i in (2, 3))
    visit = known.visits["visit_miles"].to_numpy()
    play = new + (fleets.LIMIT - new) * np.power(visit / known.crossing, power)
    inside = (play >= table["play_at_visit_lower_mm"]) & (play <= table["play_at_visit_upper_mm"])
    # Four standard errors of a share of 0.8 among some 550.
    assert inside[table["readings_used"] > 0].mean() == pytest.approx(0.8, abs=0.068)


def test_the_table_is_whole(table: pd.DataFrame, known: Any) -> None:
    assert list(table.columns) == [*GROWTH_COLUMNS, *INTERNAL]
    assert table["pivot_id"].tolist() == known.in_service["pivot_id"].tolist()
    chances = table[["chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit"]]
    assert chances.to_numpy().min() >= 0
    assert chances.to_numpy().max() <= 1
    assert (np.diff(chances.to_numpy(), axis=1) >= 0).all()
    later = table[["chance_over_by_next_visit", "chance_ahead_1", "chance_ahead_2"]].to_numpy()
    assert (np.diff(later, axis=1) >= 0).all()
    assert (table["chance_lower"] <= table["chance_over_by_next_visit"]).all()
    assert (table["chance_upper"] >= table["chance_over_by_next_visit"]).all()
    read = table["readings_used"] > 0
    assert set(table.loc[read, "method"]) == {
        f"growth of play ({kind}, regional), own readings" for kind in ("roller", "threaded")
    }
    due = table.loc[table["chance_over_now"] < 0.19, "miles_until_due"]
    assert (due > 0).all()


def test_due_is_where_the_chance_reaches_one_in_five(
    known: Any, laws: GrowthLaws, curves: CurveBook, table: pd.DataFrame
) -> None:
    some = table["miles_until_due"].gt(0).to_numpy()
    visits = known.visits.assign(
        next_visit_miles=known.visits["miles_now"] + table["miles_until_due"]
    )
    again = growth_table(known.in_service, known.readings, visits, laws, curves)
    # Where the visit comes after the due mile its own chance stands in the last column.
    later = some & (visits["next_visit_miles"] > visits["visit_miles"]).to_numpy()
    found = again.loc[later, "chance_over_by_next_visit"].to_numpy()
    assert found == pytest.approx(0.2, abs=0.01)


def test_neighbours_change_nothing(
    known: Any, laws: GrowthLaws, curves: CurveBook, table: pd.DataFrame
) -> None:
    few = known.in_service.iloc[100:130]
    part = growth_table(few, known.readings, known.visits, laws, curves)
    pd.testing.assert_frame_equal(part, table.iloc[100:130].reset_index(drop=True))


def test_a_high_last_reading_is_weighed_down_and_marked(
    known: Any, laws: GrowthLaws, curves: CurveBook, table: pd.DataFrame
) -> None:
    """Whoever has read low all the time and now reads near the limit is not called healthy."""
    count = known.in_service["life_id"].map(known.readings["life_id"].value_counts())
    low = (
        table["play_at_visit_mm"].lt(1.0) & count.ge(5).to_numpy() & ~table["last_reading_doubted"]
    )
    pivots = known.in_service.loc[low].iloc[:20]
    last = known.readings[known.readings["life_id"].isin(pivots["life_id"])]
    last = last.groupby("life_id").tail(1).index
    wild = known.readings.copy()
    wild.loc[last, "free_play_mm"] = 3.0
    found = growth_table(pivots, wild, known.visits, laws, curves)
    doubted = found["last_reading_doubted"]
    # A type that grows steeply may well be near its limit at once: then the chance says so.
    assert (doubted | found["chance_over_by_next_visit"].gt(0.2)).all()
    assert doubted.sum() >= 14
    marked = found["warning"].str.contains("the last reading is far above what the others say")
    assert (marked == doubted).all()
    assert table["last_reading_doubted"].mean() < 0.01


def test_without_readings_the_curve_speaks(
    known: Any, laws: GrowthLaws, curves: CurveBook, fleets: ModuleType
) -> None:
    pivots = known.in_service.iloc[:40].assign(last_good_miles=90_000.0)
    table = growth_table(pivots, known.readings.iloc[:0], known.visits, laws, curves)
    row, kind = table.iloc[0], table["bushing_type"].iloc[0]
    shape, scale, _, _ = fleets.LAW[kind]
    age = known.visits["next_visit_miles"].iloc[0]
    expected = -np.expm1((90_000 / scale) ** shape - (age / scale) ** shape)
    assert row["chance_over_by_next_visit"] == pytest.approx(expected, rel=1e-12)
    assert row["readings_used"] == 0
    assert "alone, good at 90,000 mi" in row["method"]
    assert np.isnan(row["play_at_visit_mm"])


def test_without_readings_and_curve_the_type_speaks(known: Any, laws: GrowthLaws) -> None:
    nothing = CurveBook({}, {})
    pivots, none = known.in_service.iloc[:40], known.readings.iloc[:0]
    table = growth_table(pivots, none, known.visits, laws, nothing)
    assert table["method"].str.endswith("no reading of its own").all()
    row, kind = table.iloc[0], table["bushing_type"].iloc[0]
    law = laws.laws[kind, "regional"].growth.law_
    age = known.visits["next_visit_miles"].iloc[0]
    assert row["chance_over_by_next_visit"] == pytest.approx(
        float(law.chance_over(3.2, np.array(age))), abs=1e-4
    )


def test_rubber_without_a_limit_is_judged_by_findings(
    known: Any, laws: GrowthLaws, fleets: ModuleType
) -> None:
    pivots = known.in_service.iloc[:5].assign(bushing_type="rubber-bonded", limit_mm=np.nan)
    curves = CurveBook({("rubber-bonded", "regional"): fleets.Fit(3.0, 380_000.0)}, {})
    table = growth_table(pivots, known.readings, known.visits, laws, curves)
    assert (table["readings_used"] == 0).all()
    assert table["method"].str.startswith("life curve (rubber-bonded, regional) alone").all()


def test_no_law_and_no_curve_no_chance(known: Any) -> None:
    nothing = GrowthLaws({}, {})
    table = growth_table(
        known.in_service.iloc[:3], known.readings, known.visits, nothing, CurveBook({}, {})
    )
    assert table["chance_over_now"].isna().all()
    assert table["warning"].tolist() == ["no life curve for this type"] * 3
    assert table["method"].tolist() == ["none"] * 3


def test_no_miles_no_chance(known: Any, laws: GrowthLaws, curves: CurveBook) -> None:
    visits = known.visits.iloc[1:]
    table = growth_table(known.in_service.iloc[:3], known.readings, visits, laws, curves)
    assert np.isnan(table["chance_over_by_next_visit"][0])
    assert np.isnan(table["chance_upper"][0])
    assert table["warning"][0].startswith("no miles record of this unit")
    assert table["chance_over_by_next_visit"][1:].notna().all()


def test_an_unknown_age_is_weighed_by_its_readings(
    known: Any, laws: GrowthLaws, curves: CurveBook
) -> None:
    pivots = known.in_service.iloc[:60].assign(fitted_miles=np.nan)
    found = growth_table(pivots, known.readings, known.visits, laws, curves)
    first = known.readings.groupby("life_id")["true_miles"].min().reindex(pivots["life_id"])
    open_miles = np.minimum(0.75 * pivots["age_at_most_miles"], first.to_numpy() - 1.0)
    fixed = [
        growth_table(
            pivots.assign(fitted_miles=place * open_miles),
            known.readings, known.visits, laws, curves,
        )
        for place in (0.0, 0.5, 1.0)
    ]  # fmt: skip
    chances = np.array([table["chance_over_at_visit"] for table in fixed])
    name = found["chance_over_at_visit"]
    assert (name >= chances.min(axis=0) - 1e-9).all()
    assert (name <= chances.max(axis=0) + 1e-9).all()
    # Bushings with many readings come close to what their true age says; few are off by half.
    assert (name - fixed[0]["chance_over_at_visit"]).abs().mean() < 0.05
    assert (found["chance_lower"] <= found["chance_over_by_next_visit"] + 1e-9).all()
    assert (found["chance_upper"] >= found["chance_over_by_next_visit"] - 1e-9).all()
    assert found["warning"].str.contains("ages weighed by how well its readings fit them").all()
    assert found["age_miles"].tolist() == known.visits["miles_now"].iloc[:60].tolist()


def test_an_empty_fleet_has_an_empty_table(known: Any, laws: GrowthLaws, curves: CurveBook) -> None:
    table = growth_table(known.in_service.iloc[:0], known.readings, known.visits, laws, curves)
    assert list(table.columns) == [*GROWTH_COLUMNS, *INTERNAL]
    assert table.empty


def test_the_band_holds_the_chance_whatever_the_ages_say() -> None:
    frame = {"row": [7, 7, 7], "method": "growth", "readings_used": 1}
    out = pd.DataFrame(frame).assign(
        chance_over_now=[0.9, 0.01, 0.01],
        chance_over_by_next_visit=[0.95, 0.01, 0.01],
        chance_lower=[0.9, 0.005, 0.005],
        chance_upper=[0.99, 0.02, 0.02],
        play_at_visit_mm=[3.5, 1.0, 1.0],
        play_at_visit_lower_mm=[3.3, 0.9, 0.9],
        play_at_visit_upper_mm=[3.7, 1.05, 1.05],
        play_at_next_visit_mm=[3.8, 1.1, 1.1],
        miles_until_due=[0.0, 9e4, 8e4],
        last_reading_doubted=[False, False, True],
    )
    (joined,) = over_ages(out, out["row"], pd.Series([0.045, 0.5, 0.455])).to_dict("records")
    assert joined["chance_over_by_next_visit"] == pytest.approx(0.045 * 0.95 + 0.955 * 0.01)
    # The unlikely age moves the mean out of the likely ones' band: the band follows.
    assert joined["chance_upper"] == joined["chance_over_by_next_visit"]
    assert joined["chance_lower"] == 0.005
    assert joined["play_at_visit_upper_mm"] == joined["play_at_visit_mm"] > 1.05
    assert (joined["miles_until_due"], joined["last_reading_doubted"]) == (8e4, True)
