"""Present values and yearly payments, held against numpy-financial."""

from __future__ import annotations

import math

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.models.cash_flows import (
    CashFlowError,
    discount_factors,
    present_value,
    price_factors,
    yearly_payment,
)

#: Whole hundredths of a percent: numpy-financial divides by zero at rates like 1e-222.
RATES = st.integers(-2_000, 6_000).map(lambda points: points / 10_000)


@settings(max_examples=60, deadline=None)
@given(rate=RATES, amounts=st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=20))
def test_present_values_are_those_of_numpy_financial(rate: float, amounts: list[float]) -> None:
    assert present_value(amounts, rate) == pytest.approx(npf.npv(rate, amounts), rel=1e-9, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(rate=RATES, present=st.floats(1.0, 1e6), years=st.integers(1, 30))
def test_payments_are_those_of_numpy_financial(rate: float, present: float, years: int) -> None:
    assert yearly_payment(present, rate, years) == pytest.approx(-npf.pmt(rate, years, present))


def test_without_discount_every_year_counts_alike() -> None:
    assert present_value([100.0, 50.0, 25.0], 0.0) == 175.0
    assert yearly_payment(175.0, 0.0, 2.5) == 70.0
    assert np.all(discount_factors(0.0, 4) == 1.0)


def test_prices_rise_and_discounts_fall_from_one() -> None:
    assert price_factors(0.1, 2) == pytest.approx([1.0, 1.1, 1.21])
    assert discount_factors(0.1, 2) == pytest.approx([1.0, 1 / 1.1, 1 / 1.21])


def test_what_cannot_be_compared_is_named() -> None:
    with pytest.raises(CashFlowError, match=r"discount rate = -1\.0: must be a number above -1"):
        present_value([1.0], -1.0)
    with pytest.raises(CashFlowError, match="price escalation = nan"):
        price_factors(math.nan, 3)
    with pytest.raises(CashFlowError, match="years = 0: a payment needs a span above 0"):
        yearly_payment(1.0, 0.1, 0)
