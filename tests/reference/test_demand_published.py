"""Lives drawn for later renewals against published renewal counts.

Source: H. C. Tijms, A First Course in Stochastic Models, Wiley 2003, table 8.1.1, page 312:
expected renewals M(t) of Weibull lives of mean 1, by their squared coefficient of variation.
"""

from __future__ import annotations

import numpy as np
import pytest

from pivotlife.models.demand_lives import Prospects, new_life_miles

PATHS, LIVES = 20_000, 60
#: Shape and scale of mean 1 with squared coefficients of variation of 0.25 and 2, and the table.
SHAPES = {0.25: (2.10134909, 1.12906339), 2.0: (0.72090474, 0.81179335)}
TIJMS = {
    0.25: {0.2: 0.0261, 0.8: 0.4141, 1.5: 1.124, 2.5: 2.125},
    2.0: {0.2: 0.3841, 1.0: 1.357, 3.0: 3.460, 7.5: 7.995},
}


def fitted_later(shape: float, scale: float) -> Prospects:
    """One pivot of which only the life of what is fitted matters."""
    one, none = np.ones(1), np.zeros((1, 2))
    return Prospects(
        miles=none,
        hazard=none,
        age_miles=one,
        spread=0 * one,
        cell=np.zeros(1, dtype=np.int64),
        shape=np.full((1, 1), shape),
        scale=np.full((1, 1), scale),
        sudden_per_mile=0 * one,
        has_estimate=np.ones(1, dtype=bool),
    )


@pytest.mark.parametrize("variation", list(TIJMS))
def test_drawn_lives_renew_as_often_as_published(variation: float) -> None:
    known, law = fitted_later(*SHAPES[variation]), np.zeros(PATHS, dtype=np.int64)
    rng = np.random.default_rng(12)
    lives = [new_life_miles(known, law, rng.random((1, PATHS)))[0] for _ in range(LIVES)]
    ends = np.cumsum(lives, axis=0)
    assert ends[-1].min() > max(TIJMS[variation])
    for t, expected in TIJMS[variation].items():
        counts = (ends <= t).sum(axis=0)
        error = counts.std() / np.sqrt(PATHS)
        # The table has four significant digits.
        assert abs(counts.mean() - expected) <= 4 * error + 5e-4, t
