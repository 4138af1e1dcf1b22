"""The backtest's own figures beside the truth of invented fleets, over seeds (all invented).

What the backtest estimates from the pivots somebody looked at is compared with what was true of
all of them: whether the bushing had worn, split or seized by the miles at which the forecast was
asked. The records hold gauge error, load, faults and late entries; nothing of the truth is read by
the backtest.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.models.backtest_calibration import redrawn
from pivotlife.models.backtest_pairs import WORN
from pivotlife.pipeline.backtest import backtest
from pivotlife.pipeline.settings_file import load_settings

SEEDS = (12, 13, 14, 15, 16, 17)
MONTHS = 9

pytestmark = pytest.mark.slow


def with_truth(pairs: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Add `true_worn` to the pairs in the calibration whose bushing the truth knows."""
    parts = []
    for day, rows in pairs[pairs["in_calibration"]].groupby("standing_date"):
        there = lives[(lives["fitted_date"] <= day) & (lives["end_date"] >= day)]
        there = there.sort_values("life_order").drop_duplicates("pivot_id", keep="last")
        told = ["pivot_id", "bushing_type", "fitted_true_miles", "wear_age_miles"]
        told += ["failure_age_miles"]
        parts.append(rows.merge(there[told], on=["pivot_id", "bushing_type"]))
    both = pd.concat(parts, ignore_index=True)
    age = both["look_miles"].fillna(both["visit_miles"]) - both["fitted_true_miles"]
    ends = both[["wear_age_miles", "failure_age_miles"]].min(axis="columns")
    return both.assign(true_worn=(age >= ends).astype(float))


def found_and_true(rows: pd.DataFrame) -> dict[str, float]:
    """Share found worn (weighted), true share of all, and the standard error of their difference.

    Units are drawn again; both shares move together, because they speak of the same trucks.
    """
    seen = rows["weight"] * rows["outcome"].eq(WORN)
    columns = pd.DataFrame({"w": rows["weight"], "y": seen, "n": 1.0, "t": rows["true_worn"]})
    sums = columns.groupby(rows["unit_id"]).sum().to_numpy()
    whole = sums.sum(axis=0)
    drawn = redrawn(sums, 400, 1)
    apart = drawn[:, 1] / drawn[:, 0] - drawn[:, 3] / drawn[:, 2]
    verified = rows[rows["weight"] > 0]
    gap = (verified["chance_at_look"] - verified["outcome"].eq(WORN)) ** 2
    return {
        "found": whole[1] / whole[0],
        "true": whole[3] / whole[2],
        "error": float(np.nanstd(apart, ddof=1)),
        "forecast": float(rows["chance_at_look"].mean()),
        "plain": float(verified["outcome"].eq(WORN).mean()),
        "brier": float(np.average(gap, weights=verified["weight"])),
        "true_brier": float(((rows["chance_at_look"] - rows["true_worn"]) ** 2).mean()),
    }


def test_the_backtest_finds_what_was_true(tmp_path: Path) -> None:
    rows = []
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        simulate(folder, seed=seed)
        settings = load_settings(folder / "settings.toml")
        pairs = backtest(settings, LAST_RECORDED_DAY, months=MONTHS, quiet=True).tables[
            "backtest_pairs"
        ]
        dates = ["fitted_date", "end_date"]
        truth = with_truth(pairs, pd.read_csv(folder / "truth" / "lives.csv", parse_dates=dates))
        rows += [
            {"seed": seed, "bushing_type": kind, **found_and_true(of_type)}
            for kind, of_type in truth.groupby("bushing_type")
        ]
    table = pd.DataFrame(rows)
    print("\n" + table.round(4).to_string())
    report(table)


def report(table: pd.DataFrame) -> None:
    """Print the mean difference of each type; check that most fleets are within 2 se of truth."""
    for kind, own in table.groupby("bushing_type"):
        apart = own["found"] - own["true"]
        error = float(apart.std(ddof=1)) / len(own) ** 0.5
        within = (apart.abs() <= 2 * own["error"]).mean()
        print(
            f"{kind}: found {own['found'].mean():.4f}, true {own['true'].mean():.4f}, forecast"
            f" {own['forecast'].mean():.4f}; difference {apart.mean():+.4f} (se {error:.4f});"
            f" unweighted {(own['plain'] - own['true']).mean():+.4f}; fleets within 2 se"
            f" {within:.2f}; Brier {own['brier'].mean():.4f}, of the truth"
            f" {own['true_brier'].mean():.4f}"
        )
        assert within >= 0.8
        # Weights bring the figure nearer to the truth than counting those looked at does.
        assert abs(apart.mean()) < max(abs((own["plain"] - own["true"]).mean()), 2 * error)
