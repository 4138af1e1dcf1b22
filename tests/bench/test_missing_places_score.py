"""Attributed positions of whole invented fleets against their truth, way by way."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.data.fleet import simulate

pytestmark = pytest.mark.slow
SEEDS = range(1, 11)


def helper() -> ModuleType:
    path = Path(__file__).parents[1] / "pipeline" / "place_truth.py"
    spec = importlib.util.spec_from_file_location("place_truth", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("spoken", [False, True], ids=["no remarks", "remarks"])
def test_attributed_positions_against_truth(tmp_path: Path, spoken: bool) -> None:
    truth = helper()
    parts = []
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        simulate(folder, seed=seed)
        tables = truth.judged(folder)
        if spoken:
            tables = truth.with_remarks(folder, tables, seed)
        parts.append(truth.outcomes(folder, tables).assign(seed=seed))
    found = pd.concat(parts, ignore_index=True)
    known = found[found["way"] != ""]
    wrong = (known["true"] != known["given"]) & ~known["swapped"]
    print(f"\nseeds {SEEDS.start} to {SEEDS.stop - 1}, 180 units each, remarks: {spoken}")
    print(truth.table_of(found))
    for name, rows in found.groupby("table"):
        share = (rows["way"] != "").groupby(rows["seed"]).mean()
        mine = wrong[known["table"] == name].groupby(known["seed"]).mean()
        print(
            f"  {name}: {share.mean():.1%} (se {share.sem():.1%}) attributed,"
            f" {mine.mean():.2%} (se {mine.sem():.2%}) of them wrong but for swapped sides"
        )
    assert wrong.mean() < 0.01
