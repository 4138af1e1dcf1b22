"""The backtest's own figures beside the truth of invented fleets, over seeds (all invented).

What the backtest estimates from the pivots somebody looked at is compared with what was true of
all of them: whether the bushing had worn, split or seized by the miles at which the forecast was
asked. The records hold gauge error, load, faults and late entries; nothing of the truth is read by
the backtest.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.models.backtest_calibration import redrawn
from pivotlife.models.backtest_pairs import WORN
from pivotlife.models.backtest_rules import AT_LIMIT, LIST, RulePrices
from pivotlife.models.backtest_weights import is_flagged
from pivotlife.pipeline import stages
from pivotlife.pipeline.backtest import judge_lists, list_days, past_lists, rule_prices
from pivotlife.pipeline.decision_inputs import cost_items
from pivotlife.pipeline.past_rows import rows_of_export, rows_of_store
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings

SEEDS = (12, 13, 14, 15, 16, 17)
MONTHS = 9

pytestmark = pytest.mark.slow


def with_truth(pairs: pd.DataFrame, lives: pd.DataFrame) -> pd.DataFrame:
    """Add `true_worn`, `limit_miles` to the pairs in the calibration that the truth knows."""
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
    limit = both["fitted_true_miles"] + ends
    return both.assign(true_worn=(age >= ends).astype(float), limit_miles=limit)


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


def against_waiting(pairs: pd.DataFrame, prices: RulePrices) -> dict[str, float]:
    """Cost of renewing when the list said so, above waiting until the limit is found; on truth.

    Of the bushings that the list sent out before their true limit, whether or not anybody looked
    at them: miles thrown away and late findings saved, once as far as the last list's visit (as
    the backtest must count them), once followed to each limit.
    """
    rows = pairs[pairs["is_due"] & ~pairs["held"]].sort_values("standing_date", kind="stable")
    last = rows.groupby("bushing")["visit_miles"].max()
    sent = rows[is_flagged(rows)].drop_duplicates("bushing")
    sent = sent[sent["visit_miles"] < sent["limit_miles"]]
    keys = zip(sent["bushing_type"], sent["duty"], strict=True)
    rate = np.array([prices.per_mile.get(key, np.nan) for key in keys])
    left = (sent["limit_miles"] - sent["visit_miles"]).to_numpy()
    seen = (sent["bushing"].map(last) - sent["visit_miles"]).to_numpy()
    late = sent["bushing_type"].map(dict(prices.late)).to_numpy(dtype=float)
    within = left <= seen
    return {
        "sent": len(sent),
        "worn_within": float(within.sum()),
        "thrown_within": float(np.nansum(rate * np.minimum(left, seen))),
        "saved_within": float(late[within].sum()),
        "thrown": float(np.nansum(rate * left)),
        "saved": float(late.sum()),
    }


def one_fleet(folder: Path, seed: int) -> list[dict[str, Any]]:
    """Make the past lists of a fleet and hold their figures against its truth, by type."""
    simulate(folder, seed=seed)
    settings, day = load_settings(folder / "settings.toml"), LAST_RECORDED_DAY
    quiet = Progress(MONTHS + 2, quiet=True)
    intake = stages.read(settings, quiet, day)
    source, _ = rows_of_store(settings, rows_of_export(intake.raw))
    standings = past_lists(source, settings, list_days(intake, day, MONTHS), quiet)
    tables = judge_lists(standings, intake, settings, day)
    prices = rule_prices(cost_items(settings.costs), standings[-1].rates, settings)
    return figures(folder, seed, tables, prices)


def figures(
    folder: Path, seed: int, tables: dict[str, pd.DataFrame], prices: RulePrices
) -> list[dict[str, Any]]:
    """Put the backtest's figures of each type beside the truth in the fleet's folder."""
    dates = ["fitted_date", "end_date"]
    lives = pd.read_csv(folder / "truth" / "lives.csv", parse_dates=dates)
    truth = with_truth(tables["backtest_pairs"], lives)
    costs = tables["backtest_costs"].set_index(["bushing_type", "rule"])["extra_cost"]
    return [
        {
            "seed": seed,
            "bushing_type": kind,
            **found_and_true(of_type),
            **against_waiting(of_type, prices),
            "list": costs.get((kind, LIST), 0.0),
            "at_limit": costs.get((kind, AT_LIMIT), 0.0),
        }
        for kind, of_type in truth.groupby("bushing_type")
    ]


def test_the_backtest_finds_what_was_true(tmp_path: Path) -> None:
    rows = [row for seed in SEEDS for row in one_fleet(tmp_path / str(seed), seed)]
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
        mean = own.mean(numeric_only=True)
        print(
            f"  list {mean['list']:.0f}, at the limit {mean['at_limit']:.0f}; on truth, of"
            f" {mean['sent']:.1f} sent out: to the last visit thrown {mean['thrown_within']:.0f},"
            f" saved {mean['saved_within']:.0f} ({mean['worn_within']:.1f} worn); to the limit"
            f" thrown {mean['thrown']:.0f}, saved {mean['saved']:.0f}"
        )
        assert within >= 0.8
        # Weights bring the figure nearer to the truth than counting those looked at does.
        assert abs(apart.mean()) < max(abs((own["plain"] - own["true"]).mean()), 2 * error)
