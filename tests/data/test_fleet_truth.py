"""The truth beside the invented files: laws by type, lives, play, true miles."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.special import gamma, gammainc

from pivotlife.data import fleet_truth as ft
from pivotlife.data import scenario as sc
from pivotlife.data.fleet import simulate
from pivotlife.data.fleet_bushings import BushingDraws, life_scale, new_bushings


def plain_trucks(duty: int, count: int = 1) -> ft.TruckLaws:
    return ft.TruckLaws(np.full(count, duty), np.zeros(count, bool), np.ones(count), np.ones(count))


def mixed_trucks(count: int, seed: int = 3) -> ft.TruckLaws:
    rng = np.random.default_rng(seed)
    return ft.TruckLaws(
        rng.integers(0, 3, count),
        rng.random(count) < 0.5,
        rng.beta(6, 2, count),
        np.exp(0.2 * rng.standard_normal(count)),
    )


@pytest.fixture(scope="module")
def plain_fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plain")
    simulate(folder, units=360, faults=False, campaign=False, seed=5)
    return folder


@pytest.mark.parametrize(("kind", "shape"), [(sc.RUBBER, 3.0), (sc.THREADED, 2.2)])
@pytest.mark.parametrize("duty", [0, 1, 2])
def test_without_modifiers_the_law_is_the_closed_form(kind: int, shape: float, duty: int) -> None:
    # Weibull quantiles and restricted mean: textbook formulas, evaluated by scipy.
    scale = float(sc.LIFE_SCALE[kind, duty])
    law = stats.weibull_min(shape, scale=scale)
    trucks = plain_trucks(duty)
    for share in (0.1, 0.5):
        assert ft.age_at(share, kind, trucks, "wear") == pytest.approx(law.ppf(share), rel=1e-6)
    end = 500_000.0
    partial = gamma(1 + 1 / shape) * gammainc(1 + 1 / shape, (end / scale) ** shape)
    expected = scale * partial + end * law.sf(end)
    assert ft.mean_until(kind, trucks, "wear") == pytest.approx(expected, rel=1e-6)


def test_line_haul_rubber_has_its_worked_b10() -> None:
    # Shape 3, scale 520,000 miles: 520,000 (-ln 0.9)^(1/3) = 245,601 miles, computed by hand.
    assert ft.age_at(0.1, sc.RUBBER, plain_trucks(0), "wear") == pytest.approx(245_601, abs=1)


@pytest.mark.parametrize("kind", [sc.RUBBER, sc.THREADED, sc.ROLLER])
@pytest.mark.parametrize("mode", ["any", "wear"])
def test_the_computed_law_agrees_with_two_thousand_draws_a_pivot(kind: int, mode: str) -> None:
    trucks = mixed_trucks(60)
    rng = np.random.default_rng(17)
    kinds = np.full((60, 2_000), kind)
    scale = life_scale(kinds[:, 0], trucks.duty, trucks.salt, trucks.care, trucks.frailty)
    uniform = BushingDraws(*(1.0 - rng.random(kinds.shape) for _ in range(6)))
    made = new_bushings(kinds, np.repeat(scale[:, None], 2_000, axis=1), uniform)
    ages = np.minimum(made.wear_age, made.break_age if mode == "any" else np.inf).ravel()
    for share in (0.1, 0.5):
        age = ft.age_at(share, kind, trucks, mode)
        below = (ages <= age).mean()
        assert abs(below - share) < 4 * np.sqrt(share * (1 - share) / ages.size)
    mean = np.minimum(ages, 500_000.0).mean()
    assert ft.mean_until(kind, trucks, mode) == pytest.approx(mean, rel=0.005)


def test_very_large_fleets_are_represented_by_some_of_their_trucks() -> None:
    many = ft.type_truth(mixed_trucks(12_000))
    few = ft.type_truth(mixed_trucks(2_000, seed=4))
    assert many["b10"].to_numpy() == pytest.approx(few["b10"].to_numpy(), rel=0.05)


def test_type_truth_has_every_type_duty_and_mode(plain_fleet: Path) -> None:
    truth = pd.read_csv(plain_fleet / "truth/type_truth.csv")
    assert len(truth) == 3 * 4 * 2
    assert (truth["b10"] < truth["b50"]).all()
    any_mode = truth.query("mode == 'any'").set_index(["bushing_type", "duty"])["b10"]
    wear = truth.query("mode == 'wear'").set_index(["bushing_type", "duty"])["b10"]
    assert (any_mode < wear).all()
    line_haul = wear.xs("line-haul", level="duty")
    assert (wear.xs("vocational", level="duty") < line_haul).all()


@pytest.mark.parametrize(
    ("bushing_type", "duty"),
    [("rubber-bonded", "line-haul"), ("threaded", "vocational"), ("threaded", "regional")],
)
def test_true_lives_follow_the_scale_shape_and_modifiers(
    plain_fleet: Path, bushing_type: str, duty: str
) -> None:
    lives = pd.read_csv(plain_fleet / "truth/lives.csv", keep_default_na=False)
    # First bushings only: the later ones depend on which of them happened to be fitted.
    chosen = lives[
        (lives["bushing_type"] == bushing_type)
        & (lives["duty"] == duty)
        & (lives["life_order"] == 1)
    ]
    kind, place = sc.BUSHING_TYPES.index(bushing_type), sc.DUTIES.index(duty)
    scale = life_scale(
        np.full(len(chosen), kind),
        np.full(len(chosen), place),
        (chosen["road_salt"] == "yes").to_numpy(),
        chosen["lube_compliance"].to_numpy(),
        chosen["frailty"].to_numpy(),
    )
    law = stats.weibull_min(sc.LIFE_SHAPE[kind])
    assert len(chosen) > 200
    assert stats.kstest(chosen["wear_age_miles"] / scale, law.cdf).pvalue > 0.001


def test_true_play_behind_each_reading_lies_on_its_lifes_path(plain_fleet: Path) -> None:
    readings = pd.read_csv(plain_fleet / "truth/readings.csv")
    lives = pd.read_csv(plain_fleet / "truth/lives.csv", keep_default_na=False)
    both = readings.merge(lives, on="life_id", validate="many_to_one")
    assert len(both) == len(readings)
    usual = both[(both["sudden"] == "no") & (both["mode"] != "seized")]
    used = usual["age_miles"] / usual["wear_age_miles"]
    start = usual["start_play_mm"]
    path = start + (sc.LIMIT_MM - start) * used ** usual["exponent"]
    assert np.abs(np.minimum(path, 8.0) - usual["true_play_mm"]).max() < 1e-3
    stuck = both[(both["mode"] == "seized")]
    assert (stuck["true_play_mm"] == sc.SEIZED_PLAY_MM).all()


def test_written_play_is_true_play_but_for_gauge_inspector_load_and_grease(
    plain_fleet: Path,
) -> None:
    text = pd.read_csv(plain_fleet / "readings.csv", dtype=str, keep_default_na=False)
    truth = pd.read_csv(plain_fleet / "truth/readings.csv")
    factor = text["free_play_unit"].map({"in": 25.4, "thou": 0.0254, "mm": 1.0})
    written = text["free_play"].astype(float) * factor
    play = truth["true_play_mm"]
    dial = (text["tool"] == "dial indicator") & (text["load_state"] == "unloaded") & (play > 1.5)
    dry = dial & (text["greased_before"] == "no")
    error = (written - play)[dry]
    expected = np.hypot(sc.GAUGE_SD_MM, sc.INSPECTOR_SD_MM)
    assert abs(error.mean()) < 0.12  # sixteen inspectors of bias sd 0.1 mm
    assert error.std() == pytest.approx(expected, rel=0.25)
    metal = text["takes_grease"] != "not-greasable"
    greased = dial & (text["greased_before"] == "yes") & metal
    hidden = error.mean() - (written - play)[greased].mean()
    assert hidden == pytest.approx(sc.GREASE_OFFSET_MM, abs=0.06)
    loaded = (text["load_state"] == "loaded") & (play > 1.5) & (text["greased_before"] == "no")
    assert (written / play)[loaded].median() == pytest.approx(sc.LOADED_FACTOR, abs=0.06)


def test_true_miles_are_the_odometer_where_nothing_was_spoiled(plain_fleet: Path) -> None:
    truth = pd.read_csv(plain_fleet / "truth/odometers.csv")
    for table, ids in (("readings", "reading_id"), ("repairs", "repair_id")):
        rows = pd.read_csv(plain_fleet / f"{table}.csv", keep_default_na=False)
        true = truth[truth["table"] == table].set_index("row_id")["true_miles"]
        assert (rows["odometer"].to_numpy() == true.loc[rows[ids]].to_numpy()).all()
    for table in ("lube", "odometer"):
        rows = pd.read_csv(plain_fleet / f"{table}.csv", keep_default_na=False)
        placed = truth[truth["table"] == table]
        number = placed["row_id"].str.removeprefix("row ").astype(int)
        assert (rows["odometer"].to_numpy()[number - 2] == placed["true_miles"].to_numpy()).all()
