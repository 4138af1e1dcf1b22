"""Chances of a small invented fleet against its truth, standing on a past day and on the last."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest

import growth_truth


def test_threaded_chances_come_true(small_fleet: Callable[..., Path], last_day: dt.date) -> None:
    """60 trucks say little: the bound is four standard errors above what 180 trucks reach."""
    folder = small_fleet().parent
    found = growth_truth.outcomes(folder, [last_day - dt.timedelta(days=547), last_day])
    free = found[(found["bushing_type"] == "threaded") & ~found["held"]]
    ratio, error = growth_truth.brier_over_base_rate(free["at_visit"], free["over_at_visit"])
    assert len(free) > 80
    assert ratio < 0.30 + 4 * error
    assert ratio < 0.7
    assert free["at_visit"].mean() == pytest.approx(free["over_at_visit"].mean(), abs=0.06)
    # Worn rollers are few; their chances must at least not be worse than the base rate's.
    rollers = found[(found["bushing_type"] == "roller") & ~found["held"]]
    assert rollers["at_visit"].mean() == pytest.approx(rollers["over_at_visit"].mean(), abs=0.06)
