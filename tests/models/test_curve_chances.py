"""Columns from a life curve alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.curve_chances import by_curve, by_curve_over_ages
from pivotlife.models.life_curves import Curve

SHAPE, SCALE = 2.2, 5e5
SPREAD = np.linspace(-0.2, 0.2, 41)
CURVE = Curve(
    SHAPE, SCALE, np.full(41, SHAPE), SCALE * np.exp(SPREAD), "roller", "", is_bound=False
)
PART = pd.DataFrame(
    {
        "age_miles": [2e5, 3e5],
        "visit_age": [2.2e5, 3.2e5],
        "next_age": [2.5e5, np.nan],
        "last_good_miles": [np.nan, 1e5],
        "limit_mm": 3.2,
    },
    index=[7, 3],
)


def hazard(age: float, scale: float = SCALE) -> float:
    return float((age / scale) ** SHAPE)


def test_the_curve_alone_is_conditional_on_the_last_good_finding() -> None:
    found = by_curve(PART, CURVE)
    assert found.index.tolist() == [7, 3]
    assert found.loc[7, "chance_over_now"] == pytest.approx(-np.expm1(-hazard(2e5)))
    assert found.loc[3, "chance_over_now"] == pytest.approx(-np.expm1(hazard(1e5) - hazard(3e5)))
    due = SCALE * (hazard(1e5) - np.log(0.8)) ** (1 / SHAPE) - 3e5
    assert found.loc[3, "miles_until_due"] == pytest.approx(max(due, 0.0))
    assert pd.isna(found.loc[3, "chance_over_by_next_visit"])
    assert pd.isna(found.loc[3, "chance_upper"])


def test_the_band_is_the_middle_of_the_drawn_curves() -> None:
    found = by_curve(PART, CURVE).loc[7]
    ends = [-np.expm1(-hazard(2.5e5, SCALE * np.exp(s))) for s in (0.16, -0.16)]
    assert [found["chance_lower"], found["chance_upper"]] == pytest.approx(ends, rel=1e-6)


UNKNOWN = PART.iloc[:1].assign(age_miles=4e5, visit_age=4.2e5, next_age=4.5e5, open_miles=3e5)
GOOD = pd.DataFrame({"row": [7, 7], "age_miles": [3.2e5, 3.8e5]})


def test_an_unknown_age_counts_as_much_as_it_could_have_been_found_good() -> None:
    found = by_curve_over_ages(UNKNOWN, GOOD, CURVE).loc[7]
    shares, chances = [], []
    for younger in (0.0, 1.5e5, 3e5):
        good, now = 3.8e5 - younger, 4e5 - younger
        shares.append(np.exp(-hazard(good)))
        chances.append(-np.expm1(hazard(good) - hazard(now)))
    expected = np.dot(shares, chances) / np.sum(shares)
    assert found["chance_over_now"] == pytest.approx(expected)
    oldest = by_curve(UNKNOWN.assign(last_good_miles=3.8e5), CURVE).loc[7]
    assert found["chance_over_now"] < oldest["chance_over_now"]
    assert found["chance_upper"] == pytest.approx(oldest["chance_upper"])
    assert found["miles_until_due"] == pytest.approx(oldest["miles_until_due"])
    assert "play_at_visit_mm" not in found


def test_an_unknown_age_without_a_good_finding_is_as_old_as_it_can_be() -> None:
    found = by_curve_over_ages(UNKNOWN, GOOD.iloc[:0], CURVE)
    pd.testing.assert_frame_equal(found, by_curve(UNKNOWN, CURVE), check_names=False)
    known = by_curve_over_ages(PART.assign(open_miles=0.0), GOOD.iloc[:0], CURVE)
    pd.testing.assert_frame_equal(known, by_curve(PART, CURVE), check_names=False)


def test_ages_that_are_all_next_to_impossible_still_give_a_chance() -> None:
    old = UNKNOWN.assign(age_miles=9e6, visit_age=9.1e6, next_age=9.2e6, open_miles=1e5)
    found = by_curve_over_ages(old, GOOD.assign(age_miles=8.9e6), CURVE)
    assert found["chance_over_now"].between(0.0, 1.0).all()
