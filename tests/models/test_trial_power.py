"""Power against the closed form of exponential samples; curves, trucks needed, limits of shares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from pivotlife.models.trial import TrialDesign
from pivotlife.models.trial_power import (
    POWER_COLUMNS,
    exponential_power,
    power_table,
    trial_power,
    trucks_needed,
    wilson,
)

#: Complete samples: everything fails, known to the mile, one bushing a truck.
COMPLETE = TrialDesign(
    ratio=2.0,
    shapes=(1.0, 1.0),
    scale_miles=1e5,
    trucks=60,
    pivots=1,
    miles=1e9,
    visit_miles=0.0,
    one_shape=True,
)


@pytest.mark.parametrize(("ratio", "trucks"), [(2.0, 60), (1.5, 80), (0.5, 60)])
def test_complete_exponential_samples_have_the_power_of_the_f_ratio(
    ratio: float, trucks: int
) -> None:
    n = 400
    exact = exponential_power(ratio, (trucks // 2, trucks // 2))
    found = trial_power(replace(COMPLETE, ratio=ratio, trucks=trucks), n, seed=5)
    # The trial estimates the shape that the F ratio knows: a point or two of power.
    assert found.right == pytest.approx(exact, abs=3.0 * np.sqrt(exact * (1 - exact) / n) + 0.02)
    assert found.first_failures == found.second_failures == trucks / 2


def test_the_f_ratio_by_drawing() -> None:
    random = np.random.default_rng(2)
    first = random.exponential(1.8, (20_000, 12)).mean(axis=1)
    second = random.exponential(1.0, (20_000, 20)).mean(axis=1)
    equal = random.exponential(1.0, (20_000, 12)).mean(axis=1)
    alike = random.exponential(1.0, (20_000, 20)).mean(axis=1)
    # The bound from samples that last alike, not from the F law.
    bound = np.quantile(equal / alike, 0.975)
    share = np.mean(first / second > bound)
    assert exponential_power(1.8, (12, 20)) == pytest.approx(share, abs=0.02)
    assert exponential_power(1.0, (12, 20)) == pytest.approx(0.025)
    assert exponential_power(1.0 / 1.8, (20, 12)) == pytest.approx(exponential_power(1.8, (12, 20)))


def test_types_that_last_alike_seldom_get_a_verdict() -> None:
    found = trial_power(
        TrialDesign(1.0, (2.2, 2.2), 3e5, 40, miles=4e5, likeness=0.3, sold_per_mile=3e-7), 300
    )
    # 5 in 100 wanted; three standard errors of 300 trials.
    assert found.right + found.wrong < 0.05 + 3.0 * np.sqrt(0.05 * 0.95 / 300)


def test_power_grows_with_trucks_miles_and_both_types_on_a_truck() -> None:
    design = TrialDesign(1.6, (2.2, 2.2), 3e5, 40, miles=3e5, likeness=0.4)
    table = power_table(design, trucks=(8, 40, 100), simulations=40, seed=1)
    assert tuple(table.columns) == POWER_COLUMNS
    by_trucks = table[table["varied"] == "trucks"]["power"].to_numpy()
    by_miles = table[table["varied"] == "miles"].sort_values("miles")["power"].to_numpy()
    assert by_trucks[0] < by_trucks[1] < by_trucks[2]
    assert by_miles[0] < by_miles[-1]
    assert table["power"].between(table["power_lower"], table["power_upper"]).all()
    assert trial_power(replace(design, split="sides"), 80).right > trial_power(design, 80).right


def test_the_same_seed_gives_the_same_power() -> None:
    assert trial_power(COMPLETE, 20, seed=4) == trial_power(COMPLETE, 20, seed=4)
    assert trial_power(COMPLETE, 20, seed=4) != trial_power(COMPLETE, 20, seed=5)


def test_trucks_needed_lie_on_the_curve() -> None:
    curve = pd.DataFrame({"varied": "trucks", "trucks": [10, 40, 90], "power": [0.2, 0.6, 0.9]})
    needed = trucks_needed(curve, 0.8)
    assert needed is not None
    assert 40 < needed < 90
    assert needed % 2 == 0
    assert trucks_needed(curve, 0.95) is None
    assert trucks_needed(curve, 0.1) == 10
    assert trucks_needed(curve, 0.9) == 90


@pytest.mark.parametrize(("right", "n"), [(0, 50), (7, 50), (50, 50)])
def test_wilsons_limits_agree_with_scipy(right: int, n: int) -> None:
    theirs = binomtest(right, n).proportion_ci(method="wilson")
    assert wilson(right / n, n) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_no_simulation_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 1 simulation"):
        trial_power(COMPLETE, 0)
