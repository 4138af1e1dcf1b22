"""How often the check of a Weibull fit refutes a curve that is right.

Sixty fleets of forty trucks of six bushings whose lives follow one Weibull law exactly, those of a
truck alike (normal copula, correlation 0.2), looked at every 25,000 miles. At most 5 in 100 should
have a p-value below 0.05; the allowance is three standard errors.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr

from pivotlife.models.fit_check import gain_test
from pivotlife.models.lives import check_lives

FLEETS, TRUCKS, PIVOTS, GAP, ALIKE = 60, 40, 6, 25_000.0, 0.2

pytestmark = pytest.mark.slow


def fleet(seed: int) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    unit = np.repeat(np.arange(TRUCKS), PIVOTS)
    common = random.standard_normal(TRUCKS)[unit]
    own = random.standard_normal(unit.size)
    share = ndtr(np.sqrt(ALIKE) * common + np.sqrt(1.0 - ALIKE) * own)
    age = 300_000.0 * (-np.log(share)) ** (1.0 / 2.2)
    visits = np.floor(random.uniform(150_000.0, 600_000.0, TRUCKS)[unit] / GAP)
    before = np.minimum(np.floor(age / GAP), visits)
    failed = before < visits
    return pd.DataFrame(
        {
            "unit_id": unit,
            "lower_miles": GAP * before,
            "upper_miles": np.where(failed, GAP * (before + 1.0), np.inf),
        }
    )


def test_a_right_curve_is_seldom_refuted() -> None:
    tests = [gain_test(check_lives(fleet(seed)), draws=60, seed=seed) for seed in range(FLEETS)]
    p_values = np.array([test.p_value for test in tests])
    share = float(np.mean(p_values < 0.05))
    alike = np.mean([test.alike for test in tests])
    error = np.sqrt(0.05 * 0.95 / FLEETS)
    print(
        f"\n{FLEETS} fleets: {share:.3f} below 0.05, {np.mean(p_values < 0.2):.3f} below 0.2, "
        f"median {np.median(p_values):.2f}; mean likeness {alike:.2f} "
        f"(drawn {ALIKE}); standard error of 0.05 {error:.3f}"
    )
    assert share < 0.05 + 3.0 * error
