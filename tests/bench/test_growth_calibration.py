"""Chances of being over the limit against the truth of invented fleets, standing on past days.

The score is Brier's over that of the base rate: 1 says nothing, 0 knows everything. `At a perfect
calibration` is what the chances themselves would lead to expect, chance (1 - chance) on average.
Standard errors take pivots as independent.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

import growth_truth
from pivotlife.data.fleet import simulate

pytestmark = pytest.mark.slow
SEEDS = (7, 8, 9, 10)
DAYS = [dt.date(2024, 6, 30), dt.date(2025, 6, 30), dt.date(2026, 6, 30)]


def test_chances_against_truth(tmp_path: Path) -> None:
    parts = []
    for seed in SEEDS:
        simulate(tmp_path / str(seed), seed=seed)
        parts.append(growth_truth.outcomes(tmp_path / str(seed), DAYS))
    found = pd.concat(parts)
    scores = {}
    for kind in ("threaded", "roller", "rubber-bonded"):
        free = found[(found["bushing_type"] == kind) & ~found["held"]]
        later = free[~free["over_at_visit"]]
        for name, rows, chance, over in (
            ("next visit", free, "at_visit", "over_at_visit"),
            ("between the visits", later, "between", "over_by_next"),
        ):
            ratio, error = growth_truth.brier_over_base_rate(rows[chance], rows[over])
            said = rows[chance]
            perfect = (said * (1 - said)).mean() / (said.mean() * (1 - said.mean()))
            scores[kind, name] = ratio, error
            print(
                f"{kind}, {name}: {len(rows)} pivots, {rows[over].sum()} over, said"
                f" {said.mean():.3f}, was {rows[over].mean():.3f}; Brier over base rate"
                f" {ratio:.3f} (se {error:.3f}), at a perfect calibration {perfect:.3f}"
            )
    assert scores["threaded", "next visit"][0] < 0.30
    ratio, error = scores["threaded", "between the visits"]
    assert ratio < 1.0 + 2 * error
