"""Standardised curves: against the single curve, direct sums and drawn lives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.models.standardised import log_age, outlast, survival


@given(
    shape=st.floats(0.3, 8.0),
    share=st.floats(0.01, 0.95),
    scales=st.lists(st.floats(8.0, 14.0), min_size=1, max_size=6),
)
def test_the_age_is_where_the_mean_curve_reaches_the_share(
    shape: float, share: float, scales: list[float]
) -> None:
    log_scale = np.array(scales)
    age = np.exp(log_age(shape, log_scale, share))
    alive = np.exp(-((age / np.exp(log_scale)) ** shape)).mean()
    assert 1.0 - alive == pytest.approx(share, abs=1e-6)
    assert survival(shape, log_scale, np.array([0.0, age])) == pytest.approx([1.0, alive])


def test_two_far_apart_members_are_told_apart() -> None:
    log_scale = np.array([8.0, 13.0])
    age = np.exp(log_age(7.0, log_scale, 0.75))
    assert np.exp(-((age / np.exp(13.0)) ** 7.0)) / 2 == pytest.approx(0.25, abs=1e-6)


def test_one_member_has_the_plain_quantile() -> None:
    assert log_age(2.2, np.array([np.log(600_000.0)]), 0.1) == pytest.approx(
        np.log(215_732.0), abs=1e-5
    )


def test_who_outlasts_whom_agrees_with_drawn_lives() -> None:
    random = np.random.default_rng(1)
    until = 400_000.0
    first, second = (
        300_000.0 * random.weibull(2.0, 400_000),
        250_000.0 * random.weibull(3.0, 400_000),
    )
    ages = np.linspace(0.0, until, 81)
    found = outlast(
        survival(2.0, np.array([np.log(300_000.0)]), ages),
        survival(3.0, np.array([np.log(250_000.0)]), ages),
    )
    decided = np.minimum(first, second) <= until
    # Four standard errors of a share of 400,000, and the trapezoid's own error.
    assert found.first == pytest.approx(np.mean(decided & (first > second)), abs=0.004)
    assert found.second == pytest.approx(np.mean(decided & (second > first)), abs=0.004)
    assert found.undecided == pytest.approx(np.mean(~decided), abs=0.004)
