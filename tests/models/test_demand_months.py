"""Calendar months ahead: the first is what is left of it, leap years included."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.demand_months import months_ahead


@pytest.mark.parametrize(
    ("day", "first", "left"),
    [("2026-11-25", "2026-11", 6), ("2026-06-30", "2026-07", 32), ("2027-12-31", "2028-01", 32)],
)
def test_the_first_month_is_that_of_tomorrow(day: str, first: str, left: int) -> None:
    months = months_ahead(pd.Timestamp(day))
    assert len(months.names) == 24
    assert months.names[0] == first
    assert months.starts[1] == left


def test_days_fall_into_their_months() -> None:
    months = months_ahead(pd.Timestamp("2027-12-31"), 3)
    assert months.names == ("2028-01", "2028-02", "2028-03")
    # 2028 is a leap year: 29 February is day 60, 1 March day 61.
    np.testing.assert_array_equal(
        months.of_days(np.array([0, 31, 32, 60, 61, 92])), [0, 0, 1, 1, 2, 3]
    )
    assert months.horizon_days == 92


def test_quarters_are_calendar_quarters() -> None:
    quarters = months_ahead(pd.Timestamp("2026-11-25"), 6).quarters()
    assert quarters == (("2026-Q4", 0, 2), ("2027-Q1", 2, 5), ("2027-Q2", 5, 6))
