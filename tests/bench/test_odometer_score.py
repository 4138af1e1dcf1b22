"""Odometers of whole invented fleets against their truth, by kind of fault.

Standard errors are those of the mean over seeds (each seed is a fleet of its own).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import odometer_truth
from pivotlife.data.fleet import simulate

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
