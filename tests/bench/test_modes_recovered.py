"""Two known modes (shapes 1.2 and 3) recovered at wide inspection gaps, where shortcuts are not.

Twenty fleets of 2,000 lives at inspection gaps of 50,000 and 200,000 miles. The shortcut fits one
mode and censors failures of the other: where last good, in the middle of the gap, or where found.
"""

from __future__ import annotations

import numpy as np
import pytest

import modes_factory
from pivotlife.models.modes import fit_modes
from pivotlife.models.weibull import fit_weibull

SEEDS = range(20)
TARGET = 0.05

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("gap", [50_000.0, 200_000.0])
def test_scales_are_recovered(gap: float) -> None:
    found: dict[tuple[str, str], list[float]] = {}
    for seed in SEEDS:
        lives = modes_factory.two_modes(2_000, seed, gap)
        fit = fit_modes(lives)
        for place, mode in enumerate(fit.modes):
            truth = modes_factory.SCALES[mode]
            found.setdefault((mode, "joint"), []).append(fit.scale[place] / truth)
            found.setdefault((mode, "joint, shape"), []).append(
                fit.shape[place] / modes_factory.SHAPES[mode]
            )
            for how in ("last good", "mid-gap", "found"):
                scale = fit_weibull(modes_factory.censored_elsewhere(lives, mode, how)).scale
                found.setdefault((mode, how), []).append(scale / truth)
    print(f"\ngap {gap:,.0f} miles: mean ratio to the truth (standard error)")
    for (mode, how), ratios in found.items():
        error = np.std(ratios, ddof=1) / np.sqrt(len(ratios))
        print(f"  {mode:6s} {how:14s} {np.mean(ratios):.3f} ({error:.4f})")
    for mode in modes_factory.SCALES:
        assert abs(np.mean(found[mode, "joint"]) - 1.0) < TARGET
    for how in ("last good", "found"):
        assert max(abs(np.mean(found[mode, how]) - 1.0) for mode in modes_factory.SCALES) > TARGET
