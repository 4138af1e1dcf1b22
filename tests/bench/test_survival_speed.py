"""Speed of survival fits against lifelines on the same lives in the same run (printed, bounded)."""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter, WeibullFitter

from pivotlife.models.nonparametric import npmle
from pivotlife.models.weibull import fit_weibull

pytestmark = pytest.mark.slow


def distinct_lives(n: int, seed: int) -> pd.DataFrame:
    """Return n different lives: exact, interval, right-censored, 40 % entered late."""
    random = np.random.default_rng(seed)
    age = 300_000.0 * random.weibull(2.2, 3 * n)
    entry = np.where(random.random(3 * n) < 0.4, random.uniform(0.0, 200_000.0, 3 * n), 0.0)
    alive = age > entry
    age, entry = age[alive][:n], entry[alive][:n]
    end = entry + random.uniform(20_000.0, 400_000.0, n)
    gap = random.uniform(10_000.0, 50_000.0, n)
    seen = np.maximum(age - gap * random.random(n), entry)
    is_gap = random.random(n) < 0.6
    lower = np.where(age > end, end, np.where(is_gap, seen, age))
    upper = np.where(age > end, np.inf, np.where(is_gap, seen + gap, age))
    return pd.DataFrame({"entry_miles": entry, "lower_miles": lower, "upper_miles": upper})


def show(text: str) -> None:
    """Write what was measured; pytest -s shows it."""
    sys.stdout.write(text + "\n")


def seconds(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def test_a_million_mixed_lives_with_late_entry() -> None:
    lives = distinct_lives(1_000_000, seed=1)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    fit = fit_weibull(lives)
    ours = min(seconds(lambda: fit_weibull(lives)) for _ in range(3))
    memory = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024.0
    fitter = WeibullFitter()
    theirs = seconds(
        lambda: fitter.fit_interval_censoring(
            lives["lower_miles"], lives["upper_miles"], entry=lives["entry_miles"]
        )
    )
    point = fit.likelihood.at(np.log(fit.shape), np.log(fit.scale))
    show(
        f"\n1,000,000 lives: {ours:.2f} s, lifelines {theirs:.1f} s, ratio {theirs / ours:.1f},"
        f" gradient / n {np.hypot(point.a, point.s) / 1e6:.1e}, {memory:.0f} MiB"
    )
    assert np.hypot(point.a, point.s) < 1e-6 * len(lives)
    assert fit.shape == pytest.approx(fitter.rho_, rel=1e-4)
    assert theirs > 10.0 * ours
    assert memory < 1024.0


def test_turnbull_curve_of_two_thousand_intervals() -> None:
    random = np.random.default_rng(2)
    age, gap = 300_000.0 * random.weibull(2.0, 2_000), random.uniform(10_000.0, 60_000.0, 2_000)
    lower = np.round(np.maximum(age - gap * random.random(2_000), 0.0))
    lives = pd.DataFrame({"lower_miles": lower, "upper_miles": np.round(lower + gap)})
    ours = min(seconds(lambda: npmle(lives)) for _ in range(3))
    theirs = seconds(
        lambda: KaplanMeierFitter().fit_interval_censoring(
            lives["lower_miles"], lives["upper_miles"]
        )
    )
    show(f"\n2,000 intervals: {ours:.4f} s, lifelines {theirs:.2f} s, ratio {theirs / ours:.0f}")
    assert theirs > 20.0 * ours
