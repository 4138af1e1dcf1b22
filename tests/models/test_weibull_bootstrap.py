"""The unit bootstrap: how wide its percentiles are, and that few units widen them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, t

from pivotlife.models.weibull import fit_weibull
from pivotlife.models.weibull_bootstrap import expanded_tail


def test_the_tail_is_that_of_a_mean_of_so_many_units() -> None:
    """For the mean of n normal values the widened percentiles are the t interval."""
    n, level = 12, 0.95
    divided_by_n = np.sqrt((n - 1) / n)  # the bootstrap's spread, against the unbiased one
    half = norm.isf(expanded_tail(level, n)) * divided_by_n
    assert half == pytest.approx(t.ppf(0.975, n - 1))


@given(level=st.floats(0.5, 0.99), n=st.integers(2, 10_000))
def test_few_units_leave_out_less(level: float, n: int) -> None:
    plain = (1.0 - level) / 2.0
    assert 0.0 <= expanded_tail(level, n) <= expanded_tail(level, n + 1) <= plain
    assert expanded_tail(level, 10_000_000) == pytest.approx(plain, rel=1e-4)
    assert expanded_tail(level, 1) == plain


def test_an_interval_of_few_units_holds_the_truth_more_often_than_plain_percentiles() -> None:
    """Fourteen trucks, six alike pivots each; 120 fleets, nominal 95 %."""
    random = np.random.default_rng(8)
    truth = 300_000.0 * np.log(2.0) ** 0.5
    held = plain = 0
    for fleet in range(120):
        frailty = np.repeat(random.lognormal(0.0, 0.25, 14), 6)
        lives = 300_000.0 * random.weibull(2.0, 84) * frailty
        table = {"lower_miles": lives, "upper_miles": lives, "unit_id": np.repeat(range(14), 6)}
        curves = fit_weibull(pd.DataFrame(table)).bootstrap(draws=120, seed=fleet)
        medians = np.exp(curves.log_scale) * np.log(2.0) ** np.exp(-curves.log_shape)
        tail = expanded_tail(0.95, curves.n_failing_units)
        for counted, share in ((True, tail), (False, 0.025)):
            low, high = np.quantile(medians, [share, 1.0 - share])
            if low <= truth <= high:
                held += counted
                plain += not counted
    assert plain < held
    assert held >= 0.88 * 120
