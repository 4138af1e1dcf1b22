"""Columns from a life curve alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.curve_chances import by_curve
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
