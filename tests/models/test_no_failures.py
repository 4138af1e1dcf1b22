"""Lower limits from failure-free miles, and the upper limit of a sudden mode's rate."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from pivotlife.models.no_failures import no_failure_bound, sudden_rate_upper


def survivors(*ages: float, entry: float = 0.0) -> pd.DataFrame:
    return pd.DataFrame({"lower_miles": ages, "upper_miles": np.inf, "entry_miles": entry})


def test_exponential_bound_is_the_textbook_one() -> None:
    # Rule of three (common practice): with 95 % confidence at most 3 failures in the miles watched.
    assert no_failure_bound(survivors(*[1_000.0] * 30), 1.0) == pytest.approx(10_000.0, rel=2e-3)


def test_formula_with_late_entry_and_a_failure() -> None:
    lives = survivors(300.0, 500.0, entry=100.0)
    lives.loc[2] = [400.0, 400.0, 0.0]
    total = (300.0**2 - 100.0**2) + (500.0**2 - 100.0**2) + 400.0**2
    expected = np.sqrt(2.0 * total / chi2.ppf(0.9, 4))
    assert no_failure_bound(lives, 2.0, level=0.9) == pytest.approx(expected)


def test_bound_holds_the_truth_as_often_as_it_says() -> None:
    random = np.random.default_rng(8)
    held = 0
    for _ in range(400):
        age = 1_000.0 * random.weibull(2.0, 40)
        failed = age < 150.0
        lives = pd.DataFrame(
            {
                "lower_miles": np.where(failed, age, 150.0),
                "upper_miles": np.where(failed, age, np.inf),
            }
        )
        held += no_failure_bound(lives, 2.0, level=0.9) <= 1_000.0
    assert held / 400 > 0.9 - 3 * np.sqrt(0.09 / 400)


def test_no_life_proves_nothing() -> None:
    assert no_failure_bound(survivors(), 2.0) == 0.0


@pytest.mark.parametrize(("shape", "level"), [(0.0, 0.9), (2.0, 1.0)])
def test_impossible_requests_are_refused(shape: float, level: float) -> None:
    with pytest.raises(ValueError, match=r"above 0|between 0 and 1"):
        no_failure_bound(survivors(5.0), shape, level)


def test_rate_of_a_sudden_mode() -> None:
    rate = sudden_rate_upper(survivors(600_000.0, 400_000.0))
    # No failure: -log(0.2) failures in a million miles.
    assert rate.rate_upper_per_mile == pytest.approx(-np.log(0.2) / 1e6)
    assert rate.failures == 0
    assert "0 sudden failures in 1,000,000 miles watched" in rate.statement
    assert "upper 80% limit of a constant rate is used, 1.61 per million miles" in rate.statement


def test_rate_without_miles_has_no_limit() -> None:
    assert sudden_rate_upper(survivors()).rate_upper_per_mile == np.inf
