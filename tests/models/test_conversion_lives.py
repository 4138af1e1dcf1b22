"""Ends of bushings until a sale: closed forms, the renewal function, and fair lives."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.models.conversion_lives import LifeDraws, conversion_lives, renewal_counts
from pivotlife.models.decision_costs import late_cost, planned_cost
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.replacement import renewal_function
from work_factory import COSTS


def draws(*curves: tuple[float, float]) -> LifeDraws:
    shapes, scales = np.array(curves).T
    return LifeDraws(shapes, scales, 700.0)


def test_lives_without_memory_end_at_a_constant_rate() -> None:
    """Exponential lives: miles / mean ends, whatever the age (closed form)."""
    counts = renewal_counts(draws((1.0, 80_000.0), (1.0, 200_000.0)), 400_000.0)
    assert counts.new(300_000.0) == pytest.approx([3.75, 1.5], rel=1e-3)
    assert counts.from_age(120_000.0, 300_000.0) == pytest.approx([3.75, 1.5], rel=1e-3)
    assert (counts.new(0.0) == 0).all()
    assert (counts.from_age(50_000.0, -1.0) == 0).all()


def test_all_draws_at_once_agree_with_the_renewal_function() -> None:
    curves = ((2.2, 170_000.0), (3.0, 520_000.0), (1.2, 90_000.0), (5.0, 120_000.0))
    counts = renewal_counts(draws(*curves), 600_000.0)
    for miles in (40_000.0, 250_000.0, 600_000.0):
        single = [renewal_function(shape, scale, [miles])[0] for shape, scale in curves]
        assert counts.new(miles) == pytest.approx(single, rel=2e-3, abs=2e-3)


def test_an_age_beyond_doubt_ends_soon_and_then_renews_as_new() -> None:
    """Nearly fixed lives of 100,000 miles: one at 90,000 ends after 10,000, then every 100,000."""
    counts = renewal_counts(draws((60.0, 100_000.0)), 300_000.0, steps=1_500)
    assert counts.from_age(90_000.0, 60_000.0)[0] == pytest.approx(1.0, abs=0.02)
    assert counts.from_age(90_000.0, 160_000.0)[0] == pytest.approx(2.0, abs=0.05)


@given(
    st.floats(0.6, 6.0),
    st.floats(40_000.0, 900_000.0),
    st.floats(0.0, 300_000.0),
    st.floats(1_000.0, 500_000.0),
)
def test_ends_grow_with_distance_and_wear_adds_to_them(
    shape: float, scale: float, age: float, miles: float
) -> None:
    counts = renewal_counts(draws((shape, scale)), 600_000.0)
    near, far = counts.new(miles)[0], counts.new(miles + 50_000.0)[0]
    assert 0.0 <= near <= far + 1e-12
    if shape >= 1.0:
        assert counts.from_age(age, miles)[0] >= near - 5e-3


def test_another_type_lives_as_the_fair_comparison_says() -> None:
    """Fitted type B10 60,000; adjusted ratio exactly 2: the other type's B10 is 120,000."""
    book = CurveBook({("threaded", "regional"): _fit(2.0), ("roller", "regional"): _fit(3.0)}, {})
    rates = {("threaded", "regional"): 0.002, ("roller", "regional"): 0.9}
    found = conversion_lives(book, _ratios(2.0), COSTS, rates, {"regional": 15_000.0})
    own = found.own["threaded", "regional"]
    other = found.other["threaded", "roller", "regional"]
    tenth = -np.log(0.9)
    b10 = own.scales * tenth ** (1 / own.shapes)
    assert other.scales * tenth ** (1 / other.shapes) == pytest.approx(2.0 * b10)
    back = found.other["roller", "threaded", "regional"]
    roller = found.own["roller", "regional"]
    assert back.scales * tenth ** (1 / back.shapes) == pytest.approx(
        0.5 * roller.scales * tenth ** (1 / roller.shapes)
    )
    # 0.002 a mile x mean life 88,623 lies under a planned renewal; 0.9 a mile far over a late one.
    assert own.end_cost == pytest.approx(planned_cost(COSTS, "threaded"))
    assert other.end_cost == pytest.approx(late_cost(COSTS, "roller", 7_500.0))


@pytest.mark.parametrize("upper", [np.nan, np.inf])
def test_without_a_fair_comparison_there_is_no_other_type(upper: float) -> None:
    book = CurveBook({("threaded", "regional"): _fit(2.0), ("roller", "regional"): _fit(3.0)}, {})
    rates = {("threaded", "regional"): 0.002, ("roller", "regional"): 0.003}
    ratios = _ratios(2.0).assign(ratio_upper=upper)
    found = conversion_lives(book, ratios, COSTS, rates, {"regional": 15_000.0})
    assert found.other == {}


def test_a_borrowed_curve_does_not_judge_what_is_fitted() -> None:
    fits = {("threaded", "all"): _fit(2.0), ("roller", "regional"): _fit(3.0)}
    rates = {("threaded", "regional"): 0.002, ("roller", "regional"): 0.003}
    found = conversion_lives(
        CurveBook(fits, {}), _ratios(2.0), COSTS, rates, {"regional": 15_000.0}
    )
    assert set(found.own) == {("roller", "regional")}
    assert set(found.other) == {("roller", "threaded", "regional")}


def _fit(shape: float) -> SimpleNamespace:
    covariance = np.diag([0.01, 0.01])
    return SimpleNamespace(shape=shape, scale=100_000.0, covariance=covariance, n_failures=40)


def _ratios(ratio: float) -> pd.DataFrame:
    row = {
        "numerator_type": "roller",
        "denominator_type": "threaded",
        "duty": "regional",
        "estimand": "b10",
        "method": "adjusted",
        "ratio": ratio,
        "ratio_lower": ratio,
        "ratio_upper": ratio,
    }
    return pd.DataFrame([row, row | {"method": "pooled", "ratio": 9.0}])
