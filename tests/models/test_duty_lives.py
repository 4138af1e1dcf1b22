"""Lives for money: fitted where known well, else borrowed through the evened-out ratio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pivotlife.models.duty_lives import (
    Evidence,
    LifeRatio,
    evened_ratios,
    lives_in_duty,
    play_signs,
)
from pivotlife.models.weibull_bootstrap import BootstrapCurves

TYPES = ("rubber-bonded", "threaded", "roller")


@dataclass(frozen=True)
class Fit:
    """A fit whose bootstrap is a tight cloud."""

    shape: float
    scale: float
    n_failures: int

    @property
    def covariance(self) -> np.ndarray:
        return np.eye(2) * 0.01

    def bootstrap(self, *, draws: int = 200, seed: int = 0) -> BootstrapCurves:
        noise = 0.1 * np.random.default_rng(seed).standard_normal((2, draws))
        noise[1, 0] = np.inf  # a sample without a failure
        return BootstrapCurves(np.log(self.shape) + noise[0], np.log(self.scale) + noise[1], 1, 30)


def evidence(**over: object) -> Evidence:
    given = {
        "fits": {
            ("threaded", "line-haul"): Fit(2.2, 600_000.0, 75),
            ("rubber-bonded", "line-haul"): Fit(3.0, 520_000.0, 200),
            ("roller", "line-haul"): Fit(0.9, 3_000_000.0, 3),
            ("roller", "vocational"): Fit(2.5, 260_000.0, 40),
            ("roller", "all"): Fit(1.1, 500_000.0, 43),
        },
        "bounds": {},
        "ratios": {("roller", "rubber-bonded", "line-haul"): LifeRatio(1.5, 1.0, 2.25)},
        "play": {},
        "breaks": {"threaded": (3.0, 30e6)},
    }
    return Evidence(**(given | over))  # type: ignore[arg-type]  the fields by name


def ten_percent_age(shape: float, scale: float) -> float:
    return float(scale * (-np.log(0.9)) ** (1 / shape))


def test_a_type_with_failures_enough_speaks_for_itself() -> None:
    threaded = lives_in_duty(evidence(), TYPES, "line-haul")[1]
    assert (threaded.shape, threaded.scale, threaded.note) == (2.2, 600_000.0, "")
    assert len(threaded.scales) == 100
    assert np.all(np.isfinite(threaded.scales))
    assert np.std(np.log(threaded.scales)) == pytest.approx(0.1, abs=0.03)


def test_a_type_with_few_failures_borrows_through_the_ratio() -> None:
    """Age of one in ten = 1.5 x that of rubber in line-haul; shape from the duty it is known in."""
    roller = lives_in_duty(evidence(), TYPES, "line-haul", draws=400)[2]
    own = ten_percent_age(roller.shape, roller.scale)
    assert own == pytest.approx(1.5 * ten_percent_age(3.0, 520_000.0))
    assert roller.shape == 2.5
    assert "3 failures in line-haul: life of rubber-bonded there times 1.50" in roller.note
    assert "shape as in vocational" in roller.note
    spread = np.std(np.log(roller.scales))
    # Its own doubt: log(2.25) / (2 x 1.96), and that of the anchor's curve beside it.
    assert spread > np.log(2.25) / (2 * 1.96) * 0.9


def test_a_ratio_the_other_way_round_is_turned() -> None:
    turned = {("rubber-bonded", "roller", "all"): LifeRatio(0.5, 0.4, 0.625)}
    roller = lives_in_duty(evidence(ratios=turned), TYPES, "line-haul")[2]
    own = ten_percent_age(roller.shape, roller.scale)
    assert own == pytest.approx(2.0 * ten_percent_age(3.0, 520_000.0))


def test_without_a_ratio_the_curve_of_the_decisions_stands_in_and_says_so() -> None:
    roller = lives_in_duty(evidence(ratios={}), TYPES, "line-haul")[2]
    assert roller.scale == 500_000.0
    assert "too few failures in line-haul" in roller.note


def test_the_stand_in_is_read_at_the_pace_of_the_duty_where_that_is_known() -> None:
    paced = {("roller", "line-haul"): Fit(1.1, 900_000.0, 43)}
    roller = lives_in_duty(evidence(ratios={}, paced=paced), TYPES, "line-haul")[2]
    assert roller.scale == 900_000.0
    assert "at its pace" in roller.note


def test_types_of_which_nothing_is_known_are_left_out() -> None:
    lives = lives_in_duty(
        evidence(fits={}, bounds={"threaded": (2.0, 90_000.0)}), TYPES, "regional"
    )
    assert [life.bushing_type for life in lives] == ["threaded"]
    assert "upper bound" in lives[0].note


def test_another_types_records_do_not_move_the_draws() -> None:
    before = lives_in_duty(evidence(), TYPES, "line-haul")[1]
    fits = {**evidence().fits, ("rubber-bonded", "line-haul"): Fit(4.0, 700_000.0, 90)}
    after = lives_in_duty(evidence(fits=fits), TYPES, "line-haul")[1]
    assert np.array_equal(before.scales, after.scales)


def test_breaks_are_drawn_around_what_was_seen() -> None:
    lives = lives_in_duty(evidence(), TYPES, "line-haul", draws=4_000)
    assert lives[1].breaks_per_mile.mean() == pytest.approx(3.5 / 30e6, rel=0.05)
    assert np.all(lives[0].breaks_per_mile == 0.0)


def test_ratios_over_all_duties_are_given_both_ways() -> None:
    pairs = evened_ratios({("roller", "threaded", "all"): LifeRatio(2.0, 1.0, 4.0)})
    assert pairs == {("roller", "threaded"): (1.0, 4.0), ("threaded", "roller"): (0.25, 1.0)}
    endless = {("roller", "threaded", "all"): LifeRatio(2.0, 0.0, float("inf"))}
    assert evened_ratios(endless) == {}


def test_play_is_a_sign_only_below_the_limit() -> None:
    signs = play_signs(0.32, 1.3, 0.16, 3.2)
    assert signs is not None
    assert (signs.new_share, signs.noise_share) == (pytest.approx(0.1), pytest.approx(0.05))
    assert play_signs(3.3, 1.3, 0.16, 3.2) is None
