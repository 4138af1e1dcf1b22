"""Which curve speaks, and what it admits."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from pivotlife.models.life_curves import CurveBook, choose_curve


@dataclass
class Fit:
    shape: float = 2.0
    scale: float = 4e5
    n_failures: int = 20
    covariance: np.ndarray = field(default_factory=lambda: np.diag([0.01, 0.0025]))


def test_the_duty_of_its_own_comes_first() -> None:
    fits = {("roller", "regional"): Fit(scale=3e5), ("roller", "all"): Fit()}
    curve = choose_curve(fits, {}, "roller", "regional", draws=4_000, seed=1)
    assert curve is not None
    assert (curve.scale, curve.name, curve.warning) == (3e5, "roller, regional", "")
    assert np.log(curve.scales).std() == pytest.approx(0.05, rel=0.1)
    assert np.log(curve.shapes).mean() == pytest.approx(np.log(2.0), abs=0.01)


def test_then_all_duties_then_the_bound_then_nothing() -> None:
    few = Fit(n_failures=4)
    fits = {("roller", "regional"): few, ("roller", "all"): Fit()}
    pooled = choose_curve(fits, {}, "roller", "regional", draws=3, seed=1)
    assert pooled is not None
    assert pooled.warning == "too few failures in regional: curve of all duties"
    bound = choose_curve(
        {("roller", "all"): few}, {"roller": (2.5, 7e5)}, "roller", "regional", draws=3, seed=1
    )
    assert bound is not None
    assert bound.is_bound
    assert (bound.shape, bound.scale) == (2.5, 7e5)
    assert "assumed shape of 2.5" in bound.warning
    assert choose_curve({("roller", "all"): few}, {}, "roller", "regional", draws=3, seed=1) is None


def test_draws_belong_to_the_curve_alone() -> None:
    one = choose_curve({("roller", "all"): Fit()}, {}, "roller", "x", draws=9, seed=1)
    two = choose_curve(
        {("roller", "all"): Fit(), ("threaded", "all"): Fit()}, {}, "roller", "y", draws=9, seed=1
    )
    assert one is not None
    assert two is not None
    assert np.array_equal(one.scales, two.scales)


def test_an_unknown_uncertainty_is_admitted() -> None:
    fit = Fit(covariance=np.full((2, 2), np.nan))
    curve = choose_curve({("roller", "all"): fit}, {}, "roller", "x", draws=9, seed=1)
    assert curve is not None
    assert "uncertainty is unknown" in curve.warning
    assert np.all(curve.scales == pytest.approx(4e5))


def test_a_duty_with_too_few_failures_takes_the_curve_at_its_pace() -> None:
    fits = {("roller", "regional"): Fit(n_failures=4), ("roller", "all"): Fit()}
    paced = {("roller", "regional"): Fit(scale=7e5), ("roller", "line-haul"): Fit(scale=9e5)}
    curve = CurveBook(fits, {}, paced=paced).curve("roller", "regional")
    assert curve is not None
    assert curve.scale == 7e5
    assert curve.name == "roller, all duties at the pace of regional"
    assert curve.warning == "too few failures in regional: curve of all duties at its pace"
    enough = CurveBook({("roller", "regional"): Fit(n_failures=5)}, {}, paced=paced)
    own = enough.curve("roller", "regional")
    assert own is not None
    assert (own.scale, own.warning) == (4e5, "")
    other = CurveBook(fits, {}, paced=paced).curve("roller", "vocational")
    assert other is not None
    assert other.warning == "too few failures in vocational: curve of all duties"
