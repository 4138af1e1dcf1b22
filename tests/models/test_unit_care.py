"""Lube compliance drawn towards its duty: truth recovery and edge cases."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.unit_care import unit_care


def counted(units: int, due: int, seed: int) -> tuple[pd.DataFrame, np.ndarray]:
    random = np.random.default_rng(seed)
    care = random.beta(6.0, 2.0, units)
    share = random.binomial(due, care) / due
    frame = pd.DataFrame(
        {
            "unit_id": [f"U{i}" for i in range(units)],
            "bushing_type": "threaded",
            "duty": "regional",
            "lube_compliance": share,
            "fitted_odometer_miles": 0.0,
            "entry_miles": 0.0,
            "lower_miles": 7_500.0 * due,
        }
    )
    return frame, care


def test_the_slope_of_truth_on_the_estimate_is_one() -> None:
    frame, care = counted(4_000, 8, 1)
    estimate = unit_care(frame, {"regional": 7_500.0})
    slope = np.polyfit(estimate, care, 1)[0]
    raw = np.polyfit(frame["lube_compliance"], care, 1)[0]
    assert slope == pytest.approx(1.0, abs=0.06)
    assert raw < 0.65


def test_lives_side_by_side_share_their_services() -> None:
    frame, _ = counted(200, 8, 2)
    six = pd.concat([frame] * 6, ignore_index=True)
    one = unit_care(frame, {"regional": 7_500.0})
    assert unit_care(six, {"regional": 7_500.0})[: len(frame)] == pytest.approx(one)


def test_without_an_interval_shares_stand_as_they_are() -> None:
    frame, _ = counted(50, 8, 3)
    assert unit_care(frame, {}) == pytest.approx(frame["lube_compliance"].to_numpy())


def test_unknown_shares_take_the_mean_of_their_duty() -> None:
    frame, _ = counted(50, 8, 4)
    frame.loc[0, "lube_compliance"] = np.nan
    care = unit_care(frame, {"regional": 7_500.0})
    assert care[0] == pytest.approx(frame["lube_compliance"].mean())
    assert np.isnan(unit_care(frame.assign(lube_compliance=np.nan), {})).all()
