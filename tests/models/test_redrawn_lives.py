"""How alike the lives of one truck are, from several fits together."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr

from pivotlife.models.redrawn_lives import MOST_ALIKE, fleet_likeness, likeness
from pivotlife.models.weibull import WeibullFit, fit_weibull


def fitted(alike: float, trucks: int, seed: int) -> WeibullFit:
    """Complete Weibull lives, six a truck, alike by a normal copula."""
    random = np.random.default_rng(seed)
    common, own = random.standard_normal((trucks, 1)), random.standard_normal((trucks, 6))
    score = np.sqrt(alike) * common + np.sqrt(1.0 - alike) * own
    age = (300_000.0 * (-np.log(ndtr(-score))) ** (1.0 / 2.4)).ravel()
    unit = np.repeat(np.arange(trucks), 6)
    return fit_weibull(pd.DataFrame({"lower_miles": age, "upper_miles": age, "unit_id": unit}))


@pytest.mark.parametrize("alike", [0.0, 0.2, 0.5])
def test_many_small_fits_together_tell_how_alike_lives_are(alike: float) -> None:
    """Scores of a copula's lives correlate a little less than the copula says (by up to 0.05)."""
    fits = [fitted(alike, 40, seed) for seed in range(40)]
    assert fleet_likeness(fits) == pytest.approx(alike, abs=0.06)


def test_a_fit_below_nothing_by_luck_counts_against_one_above() -> None:
    """Cut off at 0 one by one, their mean would read likeness into lives that have none."""
    fits = [fitted(0.0, 12, seed) for seed in range(40)]
    one_by_one = float(np.mean([likeness(fit) for fit in fits]))
    assert fleet_likeness(fits) < 0.5 * one_by_one
    assert fleet_likeness(fits[:1]) == likeness(fits[0])


def test_nothing_known_is_no_likeness_and_none_is_whole() -> None:
    assert fleet_likeness([]) == 0.0
    assert fleet_likeness([fitted(0.999, 30, 1)]) == MOST_ALIKE
