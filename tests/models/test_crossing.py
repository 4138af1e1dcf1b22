"""The chance of crossing: truth recovered, chances that behave, and what lacking data does."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.crossing import GROWTH_COLUMNS, FirstCrossing
from pivotlife.models.errors import PivotlifeError

LIMIT = 3.2
#: Invented law of two types: shape, scale, play of a new bushing in mm, exponent of growth.
LAW = {"threaded": (2.2, 500_000.0, 0.2, 1.3), "roller": (2.5, 600_000.0, 0.08, 3.0)}


@dataclass
class Fit:
    """A fitted curve as far as the estimate asks for one."""

    shape: float
    scale: float
    n_failures: int = 60
    covariance: np.ndarray = field(default_factory=lambda: np.diag([0.08**2, 0.05**2]))


FITS = {(kind, "all"): Fit(shape, scale) for kind, (shape, scale, _, _) in LAW.items()}


@dataclass
class Fleet:
    in_service: pd.DataFrame
    readings: pd.DataFrame
    visits: pd.DataFrame
    crossing: np.ndarray


def fleet(n: int, seed: int, noise: float = 0.15) -> Fleet:
    """Pivots seen at ages that do not depend on their lives; gauge error is normal."""
    rng = np.random.default_rng(seed)
    kinds = np.array(sorted(LAW))[rng.integers(0, 2, n)]
    shape, scale, new, power = (np.array([LAW[k][i] for k in kinds]) for i in range(4))
    crossing = scale * rng.weibull(shape)
    now = rng.uniform(100_000, 500_000, n)
    ages = now[:, None] - np.arange(8) * 50_000.0 - rng.uniform(0, 30_000, (n, 1))
    play = new[:, None] + (LIMIT - new[:, None]) * np.power(
        np.maximum(ages, 0) / crossing[:, None], power[:, None]
    )
    loaded, greased = rng.random((2, *play.shape)) < 0.25
    shown = play * np.where(loaded, 0.7, 1.0) - np.where(greased, 0.25, 0.0)
    read = np.maximum(shown + rng.normal(0, noise, play.shape), 0.0)
    rows, nth = np.nonzero(ages > 5_000)
    names = np.array([f"L{i:05}" for i in range(n)])
    readings = pd.DataFrame(
        {
            "life_id": names[rows],
            "bushing_type": kinds[rows],
            "duty": "regional",
            "age_miles": ages[rows, nth],
            "true_miles": ages[rows, nth],
            "free_play_mm": read[rows, nth],
            "limit_mm": LIMIT,
            "reading_date": pd.Timestamp("2026-01-01") - pd.to_timedelta(nth * 300, "D"),
            "direction": "vertical",
            "load_state": np.where(loaded, "loaded", "unloaded")[rows, nth],
            "greased_before": np.where(greased, "yes", "no")[rows, nth],
        }
    )
    units = [f"MD-{i:05}" for i in range(n)]
    in_service = pd.DataFrame(
        {
            "pivot_id": [f"{u}.1.left.fixed-eye" for u in units],
            "unit_id": units,
            "duty": "regional",
            "bushing_type": kinds,
            "life_id": names,
            "fitted_miles": 0.0,
            "age_at_most_miles": now,
            "last_good_miles": 0.0,
            "last_reading_date": pd.Timestamp("2026-01-01"),
            "limit_mm": LIMIT,
        }
    )
    visits = pd.DataFrame(
        {
            "unit_id": units,
            "miles_now": now,
            "visit_date": pd.Timestamp("2026-03-01"),
            "visit_miles": now + 15_000,
            "next_visit_date": pd.Timestamp("2026-08-01"),
            "next_visit_miles": now + 40_000,
        }
    )
    return Fleet(in_service, readings, visits, crossing)


@pytest.fixture(scope="module")
def known() -> Fleet:
    return fleet(1_200, 11)


@pytest.fixture(scope="module")
def model(known: Fleet) -> FirstCrossing:
    return FirstCrossing().fit(known.readings, FITS)


@pytest.fixture(scope="module")
def table(known: Fleet, model: FirstCrossing) -> pd.DataFrame:
    return model.growth_table(known.in_service, known.readings, known.visits)


def test_the_growth_law_is_recovered(model: FirstCrossing) -> None:
    for kind, (_, _, new, power) in LAW.items():
        path = model.paths_[kind]
        assert path.new_play * LIMIT == pytest.approx(new, abs=0.03)
        assert path.exponent == pytest.approx(power, rel=0.05)
        assert path.load_factor == pytest.approx(0.7, abs=0.04)
        assert path.grease_offset * LIMIT == pytest.approx(-0.25, abs=0.06)
        # A Student density of 4 degrees fits normal errors of sd s with a scale of about 0.84 s;
        # the width of the bins adds to it where play grows steeply.
        assert path.error_scale * LIMIT == pytest.approx(0.84 * 0.15, rel=0.2)


def test_chances_come_true(known: Fleet, table: pd.DataFrame) -> None:
    by_next = table["chance_over_by_next_visit"].to_numpy()
    happened = known.crossing <= known.visits["next_visit_miles"].to_numpy()
    for low, high in [(-0.01, 0.02), (0.02, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.0)]:
        group = (by_next > low) & (by_next <= high)
        said = by_next[group]
        error = np.sqrt(np.sum(said * (1 - said))) / group.sum()
        assert happened[group].mean() == pytest.approx(said.mean(), abs=4 * error + 0.01)
    skill = np.mean((by_next - happened) ** 2) / happened.var()
    assert skill < 0.15


def test_play_at_the_visit_is_within_its_band(known: Fleet, table: pd.DataFrame) -> None:
    law = [LAW[k] for k in known.in_service["bushing_type"]]
    new, power = (np.array([row[i] for row in law]) for i in (2, 3))
    visit = known.visits["visit_miles"].to_numpy()
    play = new + (LIMIT - new) * np.power(visit / known.crossing, power)
    low, high = table["play_at_visit_lower_mm"], table["play_at_visit_upper_mm"]
    inside = (play >= low) & (play <= high)
    # Four standard errors of a share of 0.8 among 1,200.
    assert inside.mean() == pytest.approx(0.8, abs=0.047)


def test_the_table_is_whole(table: pd.DataFrame, known: Fleet) -> None:
    assert list(table.columns) == list(GROWTH_COLUMNS)
    assert table["pivot_id"].tolist() == known.in_service["pivot_id"].tolist()
    chances = table[["chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit"]]
    assert chances.to_numpy().min() >= 0
    assert chances.to_numpy().max() <= 1
    assert (np.diff(chances.to_numpy(), axis=1) >= -1e-12).all()
    assert (table["chance_lower"] <= table["chance_over_by_next_visit"]).all()
    assert (table["chance_upper"] >= table["chance_over_by_next_visit"]).all()
    assert (table["readings_used"] > 0).all()
    due = table.loc[table["chance_over_now"] < 0.2, "miles_until_due"]
    assert (due > 0).all()


def test_due_is_where_the_chance_reaches_one_in_five(
    known: Fleet, model: FirstCrossing, table: pd.DataFrame
) -> None:
    some = table["miles_until_due"].gt(0).to_numpy()
    visits = known.visits.assign(
        next_visit_miles=known.visits["miles_now"] + table["miles_until_due"]
    )
    again = model.growth_table(known.in_service, known.readings, visits)
    assert again.loc[some, "chance_over_by_next_visit"].to_numpy() == pytest.approx(0.2, abs=0.01)


def test_chunks_and_neighbours_change_nothing(
    known: Fleet, model: FirstCrossing, table: pd.DataFrame
) -> None:
    small = copy.copy(model).set_params(chunk=7)
    few = known.in_service.iloc[100:130]
    part = small.growth_table(few, known.readings, known.visits)
    pd.testing.assert_frame_equal(part, table.iloc[100:130].reset_index(drop=True))


def test_one_wild_reading_does_not_carry_the_pivot(known: Fleet, model: FirstCrossing) -> None:
    steady = known.in_service.loc[
        known.in_service["life_id"].map(known.readings["life_id"].value_counts()) >= 7
    ].iloc[:20]
    mine = known.readings["life_id"].isin(steady["life_id"])
    first = known.readings.loc[mine].groupby("life_id").head(1).index
    wild = known.readings.copy()
    wild.loc[first + 3, "free_play_mm"] += 2.0
    before = model.growth_table(steady, known.readings, known.visits)["play_at_visit_mm"]
    after = model.growth_table(steady, wild, known.visits)["play_at_visit_mm"]
    assert (after - before).abs().median() < 0.1


def test_without_readings_the_curve_speaks(known: Fleet, model: FirstCrossing) -> None:
    pivots = known.in_service.iloc[:40].assign(last_good_miles=90_000.0)
    table = model.growth_table(pivots, known.readings.iloc[:0], known.visits)
    row, kind = table.iloc[0], table["bushing_type"].iloc[0]
    shape, scale, _, _ = LAW[kind]
    age = known.visits["next_visit_miles"].iloc[0]
    expected = -np.expm1((90_000 / scale) ** shape - (age / scale) ** shape)
    assert row["chance_over_by_next_visit"] == pytest.approx(expected, rel=1e-12)
    assert row["readings_used"] == 0
    assert "alone, good at 90,000 mi" in row["method"]
    assert np.isnan(row["play_at_visit_mm"])


def test_rubber_is_judged_by_findings(known: Fleet) -> None:
    pivots = known.in_service.iloc[:5].assign(bushing_type="rubber-bonded", limit_mm=np.nan)
    fits = {("rubber-bonded", "regional"): Fit(3.0, 380_000.0)}
    model = FirstCrossing().fit(known.readings.assign(bushing_type="rubber-bonded"), fits)
    table = model.growth_table(pivots, known.readings, known.visits)
    assert (table["readings_used"] == 0).all()
    assert table["method"].str.startswith("life curve (rubber-bonded, regional) alone").all()


def test_few_failures_fall_back_to_the_bound(known: Fleet) -> None:
    fits = {(kind, "all"): Fit(2.0, 5e5, n_failures=3) for kind in LAW}
    bounds = dict.fromkeys(LAW, (2.0, 900_000.0))
    table = (
        FirstCrossing()
        .fit(known.readings, fits, bounds)
        .growth_table(known.in_service.iloc[:10], known.readings, known.visits)
    )
    assert (
        table["warning"].str.contains("fewer than 5 failures: the chance is an upper bound").all()
    )
    assert (table["chance_lower"] == 0).all()


def test_no_curve_no_chance(known: Fleet) -> None:
    table = (
        FirstCrossing()
        .fit(known.readings, {})
        .growth_table(known.in_service.iloc[:3], known.readings, known.visits)
    )
    assert table["chance_over_now"].isna().all()
    assert table["warning"].tolist() == ["no life curve for this type"] * 3


def test_no_miles_no_chance(known: Fleet, model: FirstCrossing) -> None:
    table = model.growth_table(known.in_service.iloc[:3], known.readings, known.visits.iloc[1:])
    assert np.isnan(table["chance_over_by_next_visit"][0])
    assert np.isnan(table["chance_upper"][0])
    assert table["warning"][0].startswith("no miles record of this unit")
    assert table["chance_over_by_next_visit"][1:].notna().all()


def test_an_unknown_age_is_taken_as_original(known: Fleet, model: FirstCrossing) -> None:
    pivots = known.in_service.iloc[:3].assign(fitted_miles=np.nan)
    table = model.growth_table(pivots, known.readings, known.visits)
    assert table["age_miles"].tolist() == known.visits["miles_now"].iloc[:3].tolist()
    assert table["warning"].str.contains("taken as fitted with the truck").all()


def test_an_empty_fleet_has_an_empty_table(known: Fleet, model: FirstCrossing) -> None:
    table = model.growth_table(known.in_service.iloc[:0], known.readings, known.visits)
    assert list(table.columns) == list(GROWTH_COLUMNS)
    assert table.empty


def test_fit_comes_first(known: Fleet) -> None:
    with pytest.raises(PivotlifeError, match="call fit before growth_table"):
        FirstCrossing().growth_table(known.in_service, known.readings, known.visits)
