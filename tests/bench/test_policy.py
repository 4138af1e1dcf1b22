"""The rule with a known law against clairvoyance, a tuned threshold and replacing at the limit.

Base case (invented): play at the start normal (0.15, 0.06) mm, log growth normal (log 2, 0.45) mm
per 100,000 miles to the exponent 1.4, gauge 0.12 mm read to 0.1, limit 3.0 mm, visits every 25,000
miles give or take 20 %, planned 450. The threshold is tuned on bushings of another seed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.policy_paths import draw_paths
from pivotlife.models.policy_rates import (
    Prices,
    best_threshold,
    clairvoyant_rate,
    limit_rate,
    rule_rate,
    threshold_rate,
)

pytestmark = pytest.mark.slow
BASE = GrowthLaw("normal", 0.15, 0.06, 0.12, 1.4, np.log(2.0), 0.45)
CELLS = {
    "base": (BASE, 25_000.0),
    "gauge sd 0.3": (replace(BASE, sigma_e_mm=0.3), 25_000.0),
    "gauge sd 0.5": (replace(BASE, sigma_e_mm=0.5), 25_000.0),
    "visits 50,000": (BASE, 50_000.0),
    "exponent 3": (replace(BASE, exponent=3.0), 25_000.0),
    "exponent 6, spread 0.6": (replace(BASE, exponent=6.0, log_rate_spread=0.6), 25_000.0),
    "spread 0.25": (replace(BASE, log_rate_spread=0.25), 25_000.0),
    "spread 0.8": (replace(BASE, log_rate_spread=0.8), 25_000.0),
}
SHARES = np.arange(0.04, 1.0, 0.02)
SEEDS = (21, 22, 23, 24)


@pytest.mark.parametrize("cell", list(CELLS))
def test_the_rule_against_the_others(cell: str) -> None:
    law, gap = CELLS[cell]
    for late in (900.0, 2_200.0, 6_000.0):
        prices = Prices(450.0, late)
        tuning = draw_paths(law, 3.0, gap, paths=2_000, visits=48, width_mm=0.1, ahead=0, seed=99)
        share = best_threshold(tuning, prices, SHARES)
        rows = []
        for seed in SEEDS:
            paths = draw_paths(law, 3.0, gap, paths=2_000, visits=48, width_mm=0.1, seed=seed)
            best = clairvoyant_rate(paths, prices)
            rule = rule_rate(paths, prices, 1.3 * best)
            tuned, limit = threshold_rate(paths, prices, share), limit_rate(paths, prices)
            rows.append([rule / best, tuned / best, limit / best])
        mean, error = np.mean(rows, axis=0), np.std(rows, axis=0, ddof=1) / len(SEEDS) ** 0.5
        print(
            f"{cell}, late {late:,.0f}: rule {mean[0]:.3f} (se {error[0]:.3f}), best threshold"
            f" {mean[1]:.3f}, at limit {mean[2]:.2f}"
        )
        assert mean[0] < mean[1] + 2 * error[0]
