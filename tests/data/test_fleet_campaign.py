"""The invented retrofit campaign, and the shop's other habits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data import scenario as sc
from pivotlife.data.fleet import simulate
from pivotlife.data.fleet_campaign import campaign_turns, worst_play_mm


def read(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("campaign")
    simulate(folder, faults=False)
    return folder


@pytest.fixture(scope="module")
def converted(clean: Path) -> pd.DataFrame:
    visits = read(clean, "visits").query("purpose == 'retrofit'")
    return visits.merge(read(clean, "units"), on="unit_id", suffixes=("", "_unit"))


def test_each_duty_has_its_share_of_converted_units(converted: pd.DataFrame) -> None:
    found = converted["duty"].value_counts()
    for duty, share, units in zip(sc.DUTIES, sc.RETROFITTED_SHARE, (70, 65, 45), strict=True):
        assert found[duty] == round(share * units)


def test_the_campaign_keeps_its_months_and_vocational_goes_first(converted: pd.DataFrame) -> None:
    # Months 24 to 54 after 2020-06-29, and up to one service interval later.
    assert converted["visit_date"].min() >= "2022-06-29"
    assert converted["visit_date"].max() <= "2025-05-31"
    middle = converted.groupby("duty")["visit_date"].agg(lambda days: sorted(days)[len(days) // 2])
    assert middle["vocational"] < middle["regional"] < middle["line-haul"]


def test_turns_fill_the_campaign_without_gaps() -> None:
    turns = campaign_turns(2_160)
    assert turns[2][0] == pytest.approx(720.0)
    assert turns[2][1] == turns[1][0]
    assert turns[1][1] == turns[0][0]
    assert turns[0][1] == pytest.approx(1_620.0)


def test_worst_play_is_that_of_the_last_sheet() -> None:
    readings = pd.DataFrame({
        "unit": [0, 0, 0, 1], "day": [10, 20, 20, 50], "stop": [1, 2, 2, 1],
        "written_mm": [3.0, 1.0, 1.5, 9.0], "after_repair": [False] * 4,
    })  # fmt: skip
    assert worst_play_mm(readings, 3, before_day=40.0).tolist() == [1.5, -1.0, -1.0]


def test_the_worst_go_first(clean: Path, converted: pd.DataFrame) -> None:
    vocational = converted.query("duty == 'vocational'")["unit_id"]
    units = read(clean, "units").query("duty == 'vocational' and records_begin_date < '2021-01-01'")
    readings = read(clean, "readings").query("reading_date < '2022-06-29' and after_repair == 'no'")
    readings = readings[readings["unit_id"].isin(units["unit_id"])]
    factor = readings["free_play_unit"].map({"in": 25.4, "thou": 0.0254, "mm": 1.0})
    readings = readings.assign(play=readings["free_play"].astype(float) * factor)
    last = readings.groupby("unit_id")["reading_date"].transform("max") == readings["reading_date"]
    worst = readings[last].groupby("unit_id")["play"].max()
    early = worst[worst.index.isin(vocational[:12])].mean()
    late = worst[~worst.index.isin(vocational[:24])].mean()
    assert early > late + 1.0


def test_all_six_pivots_become_rollers_and_stay_so(clean: Path, converted: pd.DataFrame) -> None:
    lives = read(clean, "truth/lives")
    day = converted.set_index("unit_id")["visit_date"]
    own = lives[lives["unit_id"].isin(day.index)]
    later = own[own["fitted_date"] >= day.loc[own["unit_id"]].to_numpy()]
    assert set(later["bushing_type"]) == {"roller"}
    at_once = later[later["fitted_date"] == day.loc[later["unit_id"]].to_numpy()]
    assert (at_once.groupby("unit_id").size() == 6).all()
    assert not (lives["bushing_type"] == "roller")[~lives.index.isin(later.index)].any()


def test_converted_units_get_more_grease(clean: Path, converted: pd.DataFrame) -> None:
    lives = read(clean, "truth/lives").astype({"lube_compliance": float})
    own = lives[lives["unit_id"].isin(converted["unit_id"])]
    care = own.pivot_table("lube_compliance", "unit_id", "bushing_type")
    before = care[["rubber-bonded", "threaded"]].max(axis=1)
    gained = care["roller"] - before
    assert gained.max() == pytest.approx(sc.ATTENTION_EFFECT, abs=2e-4)
    # Nobody greases more often than always.
    capped = np.abs(care["roller"] - 1.0) < 1e-9
    assert (capped | (np.abs(gained - sc.ATTENTION_EFFECT) < 2e-4)).all()


def test_without_a_campaign_there_are_no_rollers(tmp_path: Path) -> None:
    summary = simulate(tmp_path, units=40, campaign=False)
    assert summary.units_converted == 0
    assert summary.lives_by_type["roller"] == 0
    assert summary.failures_by_type["roller"] == 0


def test_bad_always_writes_down_every_bad_reading(clean: Path, tmp_path: Path) -> None:
    summary = simulate(tmp_path, faults=False, recording="bad-always")
    # Every due stop finds what is split, so it is found sooner than if 30 % went by unseen.
    assert miles_until_found(tmp_path) < 0.85 * miles_until_found(clean)
    assert summary.readings >= 6_000


def miles_until_found(folder: Path) -> float:
    lives = read(folder, "truth/lives").query("mode == 'split' and fitted_date >= '2020-06-29'")
    readings = read(folder, "readings").merge(read(folder, "truth/readings"), on="reading_id")
    bad = readings[readings["finding"].isin(["split", "extruded"])]
    first = bad.assign(age=bad["age_miles"].astype(float)).groupby("life_id")["age"].min()
    truth = lives.set_index("life_id")["failure_age_miles"].astype(float)
    delay = (first - truth).dropna()
    assert len(delay) > 80
    assert delay.min() >= -1.0
    return float(delay.mean())


def test_renewing_early_leaves_few_over_the_limit(clean: Path, tmp_path: Path) -> None:
    simulate(tmp_path, faults=False, renew_at=0.7)
    early, usual = read(tmp_path, "repairs"), read(clean, "repairs")
    preventive = early[early["reason"] == "preventive"]
    assert len(preventive) > 100
    assert "preventive" not in set(usual["reason"])
    assert (early["reason"] == "wear").sum() < 0.75 * (usual["reason"] == "wear").sum()
    assert "rubber-bonded" not in set(preventive["bushing_type"])
    readings = read(tmp_path, "readings")
    factor = readings["free_play_unit"].map({"in": 25.4, "thou": 0.0254, "mm": 1.0})
    readings = readings.assign(play=readings["free_play"].astype(float) * factor)
    key = ["unit_id", "side", "node", "day"]
    seen = readings.query("after_repair == 'no'").rename(columns={"reading_date": "day"})
    both = preventive.rename(columns={"repair_date": "day"}).merge(seen, on=key)
    assert len(both) == len(preventive)
    assert both["play"].min() >= 0.7 * sc.LIMIT_MM - 1e-9
    assert both["play"].max() < sc.LIMIT_MM
