"""Odometers of whole invented fleets against their truth, by kind of fault.

Standard errors are those of the mean over seeds (each seed is a fleet of its own).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import odometer_truth
from pivotlife.data.fleet import simulate
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.known_rows import known_at
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.true_miles import true_miles

pytestmark = pytest.mark.slow
SEEDS = range(1, 11)
LEAST_FOUND = 0.95


@pytest.mark.parametrize("bad", [None, 0.15], ids=["usual faults", "15 % bad"])
def test_odometers_against_truth(tmp_path: Path, bad: float | None) -> None:
    fleets = []
    for seed in SEEDS:
        simulate(tmp_path / str(seed), seed=seed, bad_odometers=bad)
        told = odometer_truth.told(tmp_path / str(seed))
        fleets.append(odometer_truth.scores(told.rows) | odometer_truth.suspicions(told))
    print(f"\nseeds {SEEDS.start} to {SEEDS.stop - 1}, 180 units each, bad odometers: {bad}")
    share = {}
    for name in fleets[0]:
        parts = [fleet[name] for fleet in fleets if fleet[name].of]
        hits, of = sum(part.hits for part in parts), sum(part.of for part in parts)
        spread = np.std([part.share for part in parts], ddof=1) / np.sqrt(len(parts))
        share[name] = hits / of
        print(f"  {name:<40} {hits:>6} of {of:>7}  {share[name]:7.2%}  (se {spread:.2%})")
    for kind in (*odometer_truth.ROW_KINDS, "all findable"):
        assert share[f"found, {kind}"] >= LEAST_FOUND
    assert share["good values touched"] < 0.005
    assert share["imputed within 2 %"] >= 0.95
    assert share["new meter on record, within 2 %"] >= 0.95
    assert share["new meter not on record, within 2 %"] >= 0.95


def test_last_values_on_past_days(tmp_path: Path) -> None:
    """Where each unit stands by its last row on seven days: nothing later helps there."""
    days = pd.date_range("2023-06-30", "2026-06-30", freq="182D")
    shares = []
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        simulate(folder, seed=seed)
        settings = load_settings(folder / "settings.toml")
        tables = judge(read_sources(settings)).tables
        truth = pd.read_csv(folder / "truth" / "odometers.csv", dtype={"row_id": str})
        truth = truth.rename(columns={"true_miles": "miles"})
        last = []
        for day in days:
            known, _ = known_at(tables, day)
            points = true_miles(known, settings.odometer.daily_maximum).points
            number = "row " + points["row_number"].astype(str)
            named = points.assign(row_id=points["row_id"].where(points["row_id"] != "", number))
            both = named.merge(truth, on=["table", "row_id"])
            last.append(
                both.sort_values(["unit_id", "date", "true_miles"]).groupby("unit_id").tail(1)
            )
        at_end = pd.concat(last)
        off = at_end["true_miles"].to_numpy(dtype=float) - at_end["miles"].to_numpy(dtype=float)
        shares.append(
            {"too high": float(np.mean(off > 5_000)), "too low": float(np.mean(off < -5_000))}
        )
    for name, share in pd.DataFrame(shares).items():
        error = share.std(ddof=1) / np.sqrt(len(share))
        print(f"last value, more than 5,000 miles {name}: {share.mean():.2%} (se {error:.2%})")
    assert pd.DataFrame(shares).mean().max() < 0.01
