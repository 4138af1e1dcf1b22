"""Drawn trials follow their design; verdicts come from the limits of the ratio of B10."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.adjusted import fit_accelerated_failure_time
from pivotlife.models.errors import LivesError
from pivotlife.models.trial import TrialDesign, TrialLives, draw_trial, trial_outcome
from pivotlife.models.weibull import fit_weibull

DESIGN = TrialDesign(
    ratio=1.6, shapes=(2.4, 1.7), scale_miles=250_000.0, trucks=60, miles=400_000.0, likeness=0.2
)


def drawn(seed: int = 3, **changes: Any) -> TrialLives:
    return draw_trial(replace(DESIGN, **changes), np.random.default_rng(seed))


def test_large_trials_give_back_their_laws() -> None:
    trial = drawn(trucks=3_000, miles=900_000.0, likeness=0.0)
    first = fit_weibull(trial.lives.take(trial.is_first))
    second = fit_weibull(trial.lives.take(~trial.is_first))
    assert first.shape == pytest.approx(2.4, rel=0.03)
    assert second.shape == pytest.approx(1.7, rel=0.03)
    assert second.scale == pytest.approx(250_000.0, rel=0.02)
    assert first.quantile(0.1) / second.quantile(0.1) == pytest.approx(1.6, rel=0.05)


def test_likeness_is_within_trucks() -> None:
    trial = drawn(trucks=4_000, pivots=2, visit_miles=0.0, miles=5e6, likeness=0.5)
    # Ranks within a type: an age's place does not depend on the law.
    ages = pd.Series(trial.lives.upper).groupby(trial.is_first).rank(pct=True).to_numpy()
    left, right = ages[0::2], ages[1::2]
    # Spearman's correlation of a normal copula: 6 / pi asin(r / 2).
    assert np.corrcoef(left, right)[0, 1] == pytest.approx(6 / np.pi * np.arcsin(0.25), abs=0.04)


def test_failures_lie_between_looks_and_the_last_look_is_at_the_end() -> None:
    lives = drawn().lives
    failed = lives.is_failure
    gaps = (lives.upper - lives.lower)[failed]
    assert gaps.min() > 0.0
    assert gaps.max() <= 1.2 * DESIGN.visit_miles
    assert lives.upper[failed].max() <= DESIGN.miles
    assert np.all(lives.lower[~failed] == DESIGN.miles)


def test_sold_trucks_leave_at_their_last_look() -> None:
    lives = drawn(trucks=2_000, sold_per_mile=1.0 / 300_000.0, likeness=0.0).lives
    ends = lives.lower[~lives.is_failure]
    assert np.count_nonzero(ends < DESIGN.miles) > 0.5 * ends.size
    kept = drawn(trucks=2_000, likeness=0.0).lives
    assert lives.n_failures < kept.n_failures


def test_every_truck_carries_one_type_or_both() -> None:
    for split, types in (("trucks", 1), ("sides", 2)):
        trial = drawn(split=split)
        found = pd.Series(trial.is_first).groupby(trial.lives.unit).nunique()
        assert set(found) == {types}


@pytest.mark.parametrize("one_shape", [False, True])
def test_limits_are_those_of_the_accelerated_model(one_shape: bool) -> None:
    trial = drawn(seed=8)
    lives = trial.lives
    frame = pd.DataFrame(
        {
            "lower_miles": lives.lower,
            "upper_miles": lives.upper,
            "unit_id": lives.unit,
            "kind": np.where(trial.is_first, "a", "b"),
        }
    )
    fit = fit_accelerated_failure_time(
        frame, ["kind"], cluster="unit_id", shape_by=None if one_shape else "kind"
    )
    c = np.log(-np.log(0.9))
    inverse = np.exp(-fit.log_shape.to_numpy())
    value = c * (inverse[0] - inverse[-1]) - fit.coefficients["kind[b]"]
    slope = np.zeros(len(fit.theta))
    slope[-1] = -1.0
    if not one_shape:
        slope[:2] = -c * inverse[0], c * inverse[1]
    found = trial_outcome(trial, one_shape=one_shape)
    assert np.log(found.ratio) == pytest.approx(value, abs=1e-4)
    # The sandwich there is summed over all trucks, here widened for those on which anything failed.
    half = 0.5 * np.log(found.upper / found.lower)
    plain = 1.96 * np.sqrt(slope @ fit.covariance.to_numpy() @ slope)
    assert plain < half < 1.15 * plain


def test_a_large_difference_is_found_and_named_the_right_way_round() -> None:
    assert trial_outcome(drawn(ratio=5.0, trucks=200)).verdict == 1
    assert trial_outcome(drawn(ratio=0.2, trucks=200)).verdict == -1


def test_few_failures_give_no_verdict() -> None:
    none = trial_outcome(drawn(miles=2_000.0, visit_miles=1_000.0))
    assert none.verdict == 0
    assert (none.lower, none.upper) == (0.0, np.inf)
    assert np.isnan(none.ratio)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"ratio": 0.0}, "not above 0"),
        ({"shapes": (2.0, -1.0)}, "not above 0"),
        ({"trucks": 1}, "fewer than 2 trucks"),
        ({"pivots": 0}, "no pivot"),
        ({"pivots": 1, "split": "sides"}, "a single pivot for both types"),
        ({"sold_per_mile": -1e-7}, "visits or sales below 0"),
        ({"likeness": 1.0}, "likeness outside"),
        ({"miles": np.inf}, "infinite"),
    ],
)
def test_impossible_designs_are_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(LivesError, match=said):
        replace(DESIGN, **changes)
