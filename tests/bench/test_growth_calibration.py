"""Chances of being over the limit against the truth of invented fleets, standing on past days.

Twenty fleets; each stands on one of three days, taken in turn, so that no day is chosen by what
came of it and no pivot counts twice. The score is Brier's over that of the base rate: 1 says
nothing, 0 knows everything. `At a perfect calibration` is what the chances themselves would lead to
expect, chance (1 - chance) on average. In seven bins the mean chance is held against the share that
was over, within 2.5 standard errors and 0.02. Standard errors let pivots of one truck be alike.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import growth_truth
from pivotlife.data.fleet import simulate

pytestmark = pytest.mark.slow
SEEDS = range(7, 27)
DAYS = [dt.date(2024, 6, 30), dt.date(2025, 6, 30), dt.date(2026, 6, 30)]
BINS = [0.0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0]


def clustered_error(values: pd.Series, truck: pd.Series) -> float:
    """Standard error of a mean whose terms are alike within a truck."""
    off = (values - values.mean()).groupby(truck).sum()
    return float(np.sqrt((off**2).sum()) / len(values))


def score(said: pd.Series, was: pd.Series, truck: pd.Series) -> tuple[float, float, float]:
    """Brier over base rate, its standard error, and what a perfect calibration would give."""
    base = was.mean() * (1.0 - was.mean())
    miss = (said - was) ** 2
    ratio = miss.mean() / base
    error = clustered_error(miss - ratio * (1.0 - 2.0 * was.mean()) * was, truck) / base
    perfect = (said * (1.0 - said)).mean() / (said.mean() * (1.0 - said.mean()))
    return float(ratio), error, float(perfect)


def bins_off(said: pd.Series, was: pd.Series, truck: pd.Series) -> list[str]:
    """Print the seven bins; name those whose chance is off."""
    off = []
    for place, inside in said.groupby(pd.cut(said, BINS, include_lowest=True), observed=True):
        seen = was[inside.index]
        error = clustered_error(seen - inside, truck[inside.index])
        # Few pivots may all be right by luck: never trust less than the chances' own spread.
        error = max(error, float(np.sqrt((inside * (1 - inside)).sum()) / len(inside)))
        missed = abs(inside.mean() - seen.mean()) > 2.5 * error + 0.02
        off += [str(place)] if missed else []
        print(
            f"    {place}: {len(inside)} pivots, said {inside.mean():.3f}, was {seen.mean():.3f},"
            f" se {error:.3f}{' OFF' if missed else ''}"
        )
    return off


def test_chances_against_truth(tmp_path: Path) -> None:
    parts = []
    for place, seed in enumerate(SEEDS):
        simulate(tmp_path / str(seed), seed=seed)
        day = [DAYS[place % len(DAYS)]]
        parts.append(growth_truth.outcomes(tmp_path / str(seed), day).assign(seed=seed))
    found = pd.concat(parts, ignore_index=True)
    found["truck"] = found["seed"].astype(str) + found["unit_id"]
    scores, off = {}, {}
    for kind in ("threaded", "roller", "rubber-bonded"):
        free = found[(found["bushing_type"] == kind) & ~found["held"]]
        for name, rows, chance, over in (
            ("next visit", free, "at_visit", "over_at_visit"),
            ("visit after", free, "chance_over_by_next_visit", "over_by_next"),
            ("between the visits", free[~free["over_at_visit"]], "between", "over_by_next"),
        ):
            said, was = rows[chance], rows[over].astype(float)
            ratio, error, perfect = scores[kind, name] = score(said, was, rows["truck"])
            print(
                f"{kind}, {name}: {len(rows)} pivots, {was.sum():.0f} over, said"
                f" {said.mean():.3f}, was {was.mean():.3f}; Brier over base rate {ratio:.3f}"
                f" (se {error:.3f}), at a perfect calibration {perfect:.3f}"
            )
            off[kind, name] = bins_off(said, was, rows["truck"])
    assert {key: bins for key, bins in off.items() if bins} == {}
    for name in ("next visit", "visit after", "between the visits"):
        ratio, error, perfect = scores["threaded", name]
        assert ratio < perfect + 4 * error
    assert scores["threaded", "next visit"][0] < 0.35
