"""Attributed positions of whole invented fleets against their truth, way by way."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import place_truth
from pivotlife.data.fleet import simulate

pytestmark = pytest.mark.slow
SEEDS = range(1, 11)


@pytest.mark.parametrize("spoken", [False, True], ids=["no remarks", "remarks"])
def test_attributed_positions_against_truth(tmp_path: Path, spoken: bool) -> None:
    parts = []
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        simulate(folder, seed=seed)
        tables = place_truth.judged(folder)
        if spoken:
            tables = place_truth.with_remarks(folder, tables, seed)
        parts.append(place_truth.outcomes(folder, tables).assign(seed=seed))
    found = pd.concat(parts, ignore_index=True)
    known = found[found["way"] != ""]
    wrong = (known["true"] != known["given"]) & ~known["swapped"]
    print(f"\nseeds {SEEDS.start} to {SEEDS.stop - 1}, 180 units each, remarks: {spoken}")
    print(place_truth.table_of(found))
    for name, rows in found.groupby("table"):
        share = (rows["way"] != "").groupby(rows["seed"]).mean()
        mine = wrong[known["table"] == name].groupby(known["seed"]).mean()
        print(
            f"  {name}: {share.mean():.1%} (se {share.sem():.1%}) attributed,"
            f" {mine.mean():.2%} (se {mine.sem():.2%}) of them wrong but for swapped sides"
        )
    assert wrong.mean() < 0.01
