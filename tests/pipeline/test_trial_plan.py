"""The trial command: what it takes from the records, writes and says, and how it ends."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline import cli, exit_codes, stages
from pivotlife.pipeline.errors import SettingsError, SourceError
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.trial_inputs import bushings_in_service, fleet_habits
from pivotlife.pipeline.trial_plan import (
    TRIAL_COLUMNS,
    TrialPlan,
    TrialWish,
    chosen_types,
    plan_trial,
    write_plan,
)
from pivotlife.pipeline.trial_text import trial_json, trial_text
from pivotlife.pipeline.work import Records

DICTIONARY = Path(__file__).resolve().parents[2] / "data" / "README.md"
FEW = 20


@pytest.fixture(scope="module")
def settings(small_fleet: Callable[..., Path]) -> Settings:
    return load_settings(small_fleet())


@pytest.fixture(scope="module")
def records(settings: Settings, last_day: dt.date) -> Records:
    progress = Progress(stages=2, quiet=True)
    return stages.build(stages.read(settings, progress), settings, last_day, progress)


@pytest.fixture(scope="module")
def plan(records: Records, settings: Settings) -> TrialPlan:
    return plan_trial(records, settings, TrialWish(times=2.0, trucks=30, simulations=FEW))


def test_the_fleets_own_habits(records: Records, plan: TrialPlan) -> None:
    habits = plan.habits
    assert habits.pivots == 6
    # Trucks of the invented fleet run between 20,000 and 150,000 miles a year.
    assert 1_500.0 < habits.miles_per_month < 13_000.0
    assert 0.0 <= habits.likeness < 0.9
    units = records.placed.tables["units"]
    left = units["left_fleet_date"].notna().mean()
    # One in so many leaves over the six years on record.
    a_year = 12.0 * habits.miles_per_month * habits.sold_per_mile
    assert a_year == pytest.approx(left / 6.0, rel=0.6)
    first, second = (plan.design.shapes, plan.design.scale_miles)
    assert min(first) > 0.5
    assert second > 50_000.0


def test_bushings_in_service_have_ages_or_are_unknown(records: Records) -> None:
    here = bushings_in_service(records)
    assert len(here) == len(records.histories.in_service)
    assert here["age_miles"].isna().sum() == (~records.histories.in_service["age_known"]).sum()
    assert here["age_miles"].dropna().ge(0.0).all()


def test_a_duty_of_its_own(records: Records, settings: Settings, plan: TrialPlan) -> None:
    fits = fit_by_type_and_duty(records.histories.lives)
    duties = {duty for kind, duty in fits if duty != "all"}
    duty = sorted(duties)[0]
    pair = (fits[plan.types[0], "all"], fits[plan.types[1], "all"])
    assert fleet_habits(records, pair, duty).miles_per_month != plan.habits.miles_per_month


def test_the_table_is_documented_and_written_whole(plan: TrialPlan, tmp_path: Path) -> None:
    file = write_plan(plan, tmp_path)
    assert file == tmp_path / "trial" / "trial.csv"
    assert [path.name for path in file.parent.iterdir()] == ["trial.csv"]
    written = pd.read_csv(file)
    assert tuple(written.columns) == TRIAL_COLUMNS
    part = DICTIONARY.read_text(encoding="utf-8").split("### `trial.csv`")[1].split("\n### ")[0]
    assert re.findall(r"^\| `(\w+)` \|", part, flags=re.MULTILINE) == list(TRIAL_COLUMNS)
    assert written["varied"].value_counts()["asked"] == 1
    assert (written["power"] + written["wrong_verdict"]).le(1.0).all()


def test_the_text_says_what_it_takes(plan: TrialPlan, tmp_path: Path) -> None:
    text = trial_text(plan, tmp_path / "trial.csv")
    asked = plan.table[plan.table["varied"] == "asked"].iloc[0]
    assert f"right verdict in {asked['power']:.0%} of trials" in text
    assert "if the two last alike, a difference is claimed in" in text
    assert "already under way:" in text
    assert ("trucks would give" in text) == (plan.needed is not None)
    said = json.loads(trial_json(plan, tmp_path / "trial.csv"))
    assert said["asked"]["power"] == asked["power"]
    assert said["trucks_needed"] == plan.needed


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (TrialWish(longer="wooden"), "--longer 'wooden': no curve of that type"),
        (TrialWish(than="wooden"), "--than 'wooden': no curve of that type"),
        (TrialWish(longer="threaded", than="threaded"), "takes two bushing types"),
        (TrialWish(duty="lunar"), "in lunar duty; with failures enough: none"),
    ],
)
def test_what_has_no_curve_is_refused(
    records: Records, settings: Settings, wish: TrialWish, said: str
) -> None:
    with pytest.raises(SettingsError, match=said):
        plan_trial(records, settings, wish)


def test_one_named_type_is_set_beside_the_one_with_most_failures(records: Records) -> None:
    fits = fit_by_type_and_duty(records.histories.lives)
    longer = chosen_types(fits, TrialWish(longer="threaded"))
    than = chosen_types(fits, TrialWish(than="threaded"))
    assert longer[0] == than[1] == "threaded"
    assert longer[1] == than[0] != "threaded"


def test_a_folder_that_cannot_be_written_is_one_line(plan: TrialPlan, tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file, not a folder")
    with pytest.raises(SourceError, match="cannot write there"):
        write_plan(plan, blocked)


def test_the_command_ends_as_promised(small_fleet: Callable[..., Path], tmp_path: Path) -> None:
    runner = CliRunner()
    base = ["trial", str(small_fleet()), "--as-of", "2026-06-30", "--out", str(tmp_path)]
    done = runner.invoke(cli.app, [*base, "--simulations", "20", "--sides", "--json"])
    assert done.exit_code == exit_codes.DONE, done.output
    said = json.loads(done.stdout)
    assert Path(said["file"]).exists()
    assert said["asked"]["split"] == "sides"
    wrong = runner.invoke(cli.app, [*base, "--longer", "wooden"])
    assert wrong.exit_code == exit_codes.WRONG_INPUT
    assert "no curve of that type" in wrong.output
    assert runner.invoke(cli.app, [*base, "--times", "1"]).exit_code == exit_codes.WRONG_INPUT


def test_a_run_says_when_its_comparisons_are_decided(small_run: RunResult) -> None:
    table = pd.read_csv(small_run.folder / "decidable.csv")
    ratios = small_run.tables["life_ratios"]
    adjusted = ratios[(ratios["method"] == "adjusted") & (ratios["estimand"] == "b10")]
    assert len(table) == len(adjusted)
    assert table["months"].notna().equals(table["state"].eq("in months"))
    assert table["sentence"].str.len().gt(20).all()
