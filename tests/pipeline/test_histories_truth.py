"""Histories of an invented fleet against its own truth, which no record states.

The simulator writes what a shop would write and, apart, every true life, odometer and reading.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import simulate
from pivotlife.pipeline.histories import Histories, build_histories
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.true_miles import TrueMiles, true_miles

END = dt.date(2026, 6, 30)
#: Odometers are whole miles and a day's miles are not resolved.
SLACK_MILES = 500.0


@dataclass(frozen=True)
class Told:
    """What the pipeline makes of a simulated fleet, and the fleet's truth."""

    placed: TrueMiles
    histories: Histories
    truth: Path

    def lives(self) -> pd.DataFrame:
        """Lives of known age beside the true life that was fitted nearest."""
        true = pd.read_csv(self.truth / "lives.csv")[
            ["pivot_id", "fitted_true_miles", "failure_age_miles", "mode"]
        ]
        known = self.histories.lives.dropna(subset="fitted_odometer_miles")
        both = known.merge(true, on="pivot_id", suffixes=("", "_true"))
        both["apart"] = (both["fitted_odometer_miles"] - both["fitted_true_miles"]).abs()
        return both.sort_values("apart").drop_duplicates("life_id")

    def odometers(self) -> pd.DataFrame:
        """Odometer points beside the true miles of their day."""
        true = pd.read_csv(self.truth / "odometers.csv", dtype={"row_id": str})
        points = self.placed.points
        named = points["row_id"].where(
            points["row_id"] != "", "row " + points["row_number"].astype(str)
        )
        return points.assign(row_id=named).merge(
            true, on=["table", "row_id"], suffixes=("", "_of_truth")
        )


def told(folder: Path, faults: bool) -> Told:
    simulate(folder, units=60, seed=5, faults=faults, end=END)
    settings = load_settings(folder / "settings.toml")
    judged = judge(read_sources(settings))
    placed = true_miles(judged.tables, settings.odometer.daily_maximum)
    histories = build_histories(placed.tables, settings, pd.Timestamp(END))
    return Told(placed, histories, folder / "truth")


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> Told:
    return told(tmp_path_factory.mktemp("clean"), faults=False)


@pytest.fixture(scope="module")
def faulty(tmp_path_factory: pytest.TempPathFactory) -> Told:
    return told(tmp_path_factory.mktemp("faulty"), faults=True)


def test_clean_odometers_are_all_kept(clean: Told) -> None:
    assert (clean.placed.points["mark"] == "kept").all()
    assert clean.placed.suspects.empty


def test_clean_lives_begin_where_they_truly_began(clean: Told) -> None:
    assert (clean.lives()["apart"] <= 1.0).all()


def test_what_findings_show_lies_between_last_good_and_first_bad(clean: Told) -> None:
    """Findings have no gauge error: the true end of every such life lies within its bounds."""
    lives = clean.lives()
    found = lives[lives["in_fit"] & lives["evidence"].isin(["finding", "broke"])]
    assert len(found) > 50
    true = found["failure_age_miles"]
    assert (true >= found["lower_miles"] - SLACK_MILES).all()
    assert (true <= found["upper_miles"] + SLACK_MILES).all()
    assert (found["mode"] == found["mode_true"]).all()


def test_gauge_error_blurs_only_some_of_the_bounds(clean: Told) -> None:
    """A loaded reading shows 0.7 of the play, so a worn bushing may read good once more."""
    lives = clean.lives()
    fit = lives[lives["in_fit"]]
    too_long = fit["failure_age_miles"] < fit["lower_miles"] - SLACK_MILES
    too_short = fit["failure_age_miles"] > fit["upper_miles"] + SLACK_MILES
    assert too_long.mean() < 0.08
    assert too_short.mean() < 0.03


def test_faulty_odometers_are_mended(faulty: Told) -> None:
    both = faulty.odometers()
    # Rows of another truck under the same number are told apart, not mended.
    strange = faulty.placed.suspects.query("kind == 'number-used-twice'")["unit_id"]
    both = both[~both["unit_id"].isin(strange)]
    off = (both["true_miles"] / both["true_miles_of_truth"] - 1.0).abs() > 0.02
    written = (both["odometer_miles"] / both["true_miles_of_truth"] - 1.0).abs() > 0.02
    assert written.mean() > 0.03
    assert off.mean() < written.mean() / 4


def test_faulty_lives_mostly_begin_where_they_truly_began(faulty: Told) -> None:
    lives = faulty.lives()
    assert (lives["apart"] <= 3_000.0).mean() > 0.98
    unknown = faulty.histories.lives["evidence"] == "unknown-age"
    assert unknown.mean() < 0.1


def test_faults_lose_no_row(faulty: Told) -> None:
    fates = faulty.histories.fates
    assert len(fates) == sum(len(table) for table in faulty.placed.tables.values())
    assert not fates.duplicated(["table", "row_number"]).any()
    assert np.isin(fates["fate"].unique(), ["life", "reading", "odometer-only", "context",
                                            "not-needed"]).all()  # fmt: skip
