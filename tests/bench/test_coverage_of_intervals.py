"""How often the default interval of B10 holds the truth of the invented fleet.

Twenty seeds without faults and without the campaign; first lives, mode any, cells of bushing type
and duty with at least ten failures. The truth is `type_truth.csv`, which the fits never see.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.models.type_table import compare_types
from pivotlife.pipeline import stages
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings

SEEDS = range(1, 21)
FEWEST_FAILURES = 10
TARGET = 0.90

pytestmark = pytest.mark.slow


def cells_of(folder: Path, seed: int) -> pd.DataFrame:
    simulate(folder, seed=seed, faults=False, campaign=False)
    settings = load_settings(folder / "settings.toml")
    progress = Progress(stages=stages.COUNT, quiet=True)
    intake = stages.read(settings, progress)
    lives = stages.build(intake, settings, LAST_RECORDED_DAY, progress).histories.lives
    table = compare_types(lives[lives["life_order"] == "first"], seed=seed)
    cells = table[
        (table["duty"] != "all")
        & (table["mode"] == "any")
        & (table["informative_removals"] == "censored")
        & (table["failures"] >= FEWEST_FAILURES)
    ]
    truth = pd.read_csv(folder / "truth" / "type_truth.csv").query("mode == 'any'")
    joined = cells.merge(truth, on=["bushing_type", "duty"], suffixes=("", "_true"))
    assert len(joined) == len(cells)
    return joined.assign(seed=seed)


def test_b10_intervals_hold_the_truth(tmp_path: Path) -> None:
    cells = pd.concat([cells_of(tmp_path / str(seed), seed) for seed in SEEDS], ignore_index=True)
    held = (cells["b10_lower"] <= cells["b10_true"]) & (cells["b10_true"] <= cells["b10_upper"])
    by_seed = held.groupby(cells["seed"]).mean()
    error = by_seed.std(ddof=1) / np.sqrt(len(by_seed))
    low = (cells["b10_upper"] < cells["b10_true"]).mean()
    log_ratio = np.log(cells["b10"] / cells["b10_true"])
    shown = cells.assign(held=held, log_ratio=log_ratio)
    print()
    print(
        shown.groupby(["bushing_type", "duty"]).agg(
            cells=("held", "size"), held=("held", "mean"), log_ratio=("log_ratio", "mean")
        )
    )
    print(
        f"{len(cells)} cells of {len(by_seed)} seeds: {held.mean():.3f} hold the truth "
        f"(standard error over seeds {error:.3f}); interval wholly below the truth {low:.3f}; "
        f"mean log ratio of B10 to truth {log_ratio.mean():+.3f}"
    )
    assert held.mean() >= TARGET
