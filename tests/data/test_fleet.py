"""The invented fleet as a whole: size, files, repeatability, blocks, options, the sample."""

from __future__ import annotations

import filecmp
import tomllib
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from pivotlife.data import scenario as sc
from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.fleet import simulate
from pivotlife.data.fleet_columns import NATIVE_COLUMNS, TRUTH_COLUMNS
from pivotlife.data.fleet_summary import FleetSummary
from pivotlife.data.fleet_units import fleet_slots

MEASURED_SIZES = ("side_bar_centres", "spring_width", "bushing_outside_diameter", "length_unit")
SAMPLE = Path(__file__).parents[2] / "data" / "demo"


def read(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


def all_files(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, FleetSummary]:
    folder = tmp_path_factory.mktemp("demo")
    return folder, simulate(folder)


def test_the_demo_fleet_is_large_enough_to_learn_from(demo: tuple[Path, FleetSummary]) -> None:
    _, summary = demo
    assert summary.units == 180
    assert summary.readings >= 6_000
    assert summary.lives >= 900
    assert summary.failures >= 500
    assert summary.units_in_fleet == 180 - 22 - 3
    # One bushing runs on in every pivot: the books neither lose nor invent one.
    assert summary.running == 6 * 180
    assert summary.lives == summary.failures + summary.removals + summary.running
    assert set(summary.readings_by_type) == set(sc.BUSHING_TYPES)
    assert min(summary.readings_by_type.values()) > 500


def test_counts_agree_with_the_files(demo: tuple[Path, FleetSummary]) -> None:
    folder, summary = demo
    for name in ("units", "readings", "repairs", "lube", "odometer", "visits"):
        assert len(read(folder, name)) == getattr(summary, name)
    assert len(read(folder, "truth/faults")) == summary.faults
    lives = read(folder, "truth/lives").query("recorded == 'yes'")
    assert len(lives) == summary.lives
    assert lives["bushing_type"].value_counts().to_dict() == dict(summary.lives_by_type)


def test_every_file_has_its_columns_in_order(demo: tuple[Path, FleetSummary]) -> None:
    folder, _ = demo
    for name, columns in NATIVE_COLUMNS.items():
        frame = read(folder, name)
        assert tuple(frame.columns) == columns
        assert len(frame) > 0
    for name, columns in TRUTH_COLUMNS.items():
        assert tuple(read(folder, f"truth/{name}").columns) == columns


def test_the_headers_are_those_of_the_contracts() -> None:
    known = {name: tuple(table.columns) for name, table in CONTRACTS.items()}
    # Sizes measured at an inspection come back on filled sheets; the invented shop has none.
    assert known["readings"][-len(MEASURED_SIZES) :] == MEASURED_SIZES
    known["readings"] = known["readings"][: -len(MEASURED_SIZES)]
    assert known == NATIVE_COLUMNS


def test_the_mix_of_depots_and_duties_is_the_scenarios(demo: tuple[Path, FleetSummary]) -> None:
    units = read(demo[0], "units")
    found = pd.crosstab(units["depot"], units["duty"]).loc[list(sc.DEPOTS), list(sc.DUTIES)]
    assert found.to_numpy().tolist() == sc.FLEET_MIX.tolist()
    assert units["left_fleet_reason"].value_counts().to_dict() == {
        "": 155,
        "sold": 22,
        "wrecked": 3,
    }
    older = (units["in_service_date"] < units["records_begin_date"]).mean()
    assert 0.48 < older < 0.72  # 60 %, three standard errors of 180 units


def test_any_start_of_a_fleet_fits_the_mix() -> None:
    for count in (30, 60, 90):
        found = pd.Series([duty for _, duty in fleet_slots()[:count]]).value_counts()
        for duty, share in enumerate(sc.FLEET_MIX.sum(axis=0) / 180):
            assert abs(found[duty] - share * count) <= 3


def test_settings_name_every_table_and_the_last_day(demo: tuple[Path, FleetSummary]) -> None:
    text = (demo[0] / "settings.toml").read_text(encoding="utf-8")
    assert "invented" in text
    assert "as-of date 2026-06-30" in text
    settings = tomllib.loads(text)
    assert set(settings["sources"]) == set(NATIVE_COLUMNS)
    assert all((demo[0] / source["path"]).exists() for source in settings["sources"].values())
    assert settings["intervals"]["vocational"] == {"pm_miles": 7500, "lube_miles": 7500}
    assert settings["publish"]["out"] == "out"


def test_the_same_seed_writes_the_same_bytes_and_another_seed_does_not(tmp_path: Path) -> None:
    simulate(tmp_path / "a", units=20, seed=11)
    simulate(tmp_path / "b", units=20, seed=11)
    simulate(tmp_path / "c", units=20, seed=12)
    names = all_files(tmp_path / "a")
    same, different, broken = filecmp.cmpfiles(tmp_path / "a", tmp_path / "b", names, shallow=False)
    assert (same, different, broken) == (names, [], [])
    assert filecmp.cmpfiles(tmp_path / "a", tmp_path / "c", ["readings.csv"], shallow=False)[1]


def test_a_larger_fleet_begins_with_the_smaller_one(
    demo: tuple[Path, FleetSummary], tmp_path: Path
) -> None:
    simulate(tmp_path, units=185)
    for name in ("units", "pivots", "readings", "repairs", "lube", "truth/lives", "truth/faults"):
        small = (demo[0] / f"{name}.csv").read_text()
        large = (tmp_path / f"{name}.csv").read_text()
        assert large.startswith(small)
        assert len(large) > len(small)


def test_a_units_own_fate_does_not_depend_on_its_neighbours(
    demo: tuple[Path, FleetSummary], tmp_path: Path
) -> None:
    simulate(tmp_path, units=7)
    first = read(tmp_path, "truth/lives").query("life_order == '1'")
    drawn = ["life_id", "bushing_type", "failure_age_miles", "mode", "frailty", "fitted_date"]
    whole = read(demo[0], "truth/lives").set_index("life_id", drop=False)
    assert (
        first[drawn]
        .reset_index(drop=True)
        .equals(whole.loc[first["life_id"], drawn].reset_index(drop=True))
    )


def test_files_of_an_earlier_run_are_replaced(tmp_path: Path) -> None:
    simulate(tmp_path, units=8, years=2.0)
    simulate(tmp_path, units=3, years=2.0)
    assert len(read(tmp_path, "units")) == 3


def test_a_single_young_unit_is_a_fleet_too(tmp_path: Path) -> None:
    summary = simulate(tmp_path, units=1, years=1.0, end=date(2025, 1, 31))
    assert summary.running == 6
    assert read(tmp_path, "readings")["reading_date"].max() <= "2025-01-31"


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ({"units": 0}, "units must be at least 1, not 0"),
        ({"years": 0.5}, "years must lie between 1 and 40, not 0.5"),
        ({"seed": -1}, "seed must not be negative"),
        ({"recording": "sometimes"}, "independent or bad-always, not 'sometimes'"),
        ({"renew_at": 1.5}, "renew_at must lie above 0 and up to 1, not 1.5"),
        ({"bad_odometers": 2.0}, "bad_odometers must lie between 0 and 1, not 2.0"),
    ],
)
def test_wrong_options_are_named(tmp_path: Path, option: dict[str, object], text: str) -> None:
    with pytest.raises(ValueError, match=text):
        simulate(tmp_path, **option)  # type: ignore[arg-type]  # wrong on purpose


def test_the_committed_sample_is_what_simulate_writes(tmp_path: Path) -> None:
    # The sample in data/demo was written by: simulate(Path("data/demo"), units=6)
    simulate(tmp_path, units=6)
    names = all_files(tmp_path)
    same, different, missing = filecmp.cmpfiles(tmp_path, SAMPLE, names, shallow=False)
    assert (different, missing) == ([], [])
    assert sum((SAMPLE / name).stat().st_size for name in same) < 300_000
