"""Money at different times: what it is worth today, and the steady yearly payment it equals.

Year 0 is today; what is paid during year y counts at its end. Present value = sum of
amount_y / (1 + rate)^y; the yearly payment of n years with the same present value is

    payment = present value x rate / (1 - (1 + rate)^-n)

(any textbook of engineering economy; from memory). Prices rise by a yearly share of their own, so
that a thing bought in year y costs today's price x (1 + escalation)^y.

Not here: what is bought (`cost_lines_by_year`).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import PivotlifeError


class CashFlowError(PivotlifeError, ValueError):
    """A rate or a span of years with which money cannot be compared; the text names it."""


def discount_factors(rate: float, years: int) -> FloatArray:
    """Worth today of 1 paid at the end of each year.

    Parameters
    ----------
    rate : float, per year, above -1
        What money could earn elsewhere; 0 counts every year alike.
    years : int, at least 0

    Returns
    -------
    ndarray of float, shape (years + 1,)
        (1 + rate)^-y for y = 0 .. years.

    Raises
    ------
    CashFlowError
        When the rate is not a number above -1, or years is negative.
    """
    return np.asarray((1.0 + _checked(rate, "discount rate")) ** -_span(years))


def price_factors(escalation: float, years: int) -> FloatArray:
    """Price of each year as a multiple of today's, shape (years + 1,)."""
    return np.asarray((1.0 + _checked(escalation, "price escalation")) ** _span(years))


def present_value(amounts: npt.ArrayLike, rate: float) -> float:
    """Worth today of what is paid at the end of years 0, 1, 2 ...

    Parameters
    ----------
    amounts : array_like of float, shape (years + 1,), currency
    rate : float, per year

    Returns
    -------
    float, currency
    """
    paid = np.asarray(amounts, dtype=float)
    return float(paid @ discount_factors(rate, len(paid) - 1))


def yearly_payment(present: float, rate: float, years: float) -> float:
    """Steady payment at the end of each of so many years with the same present value.

    Parameters
    ----------
    present : float, currency
    rate : float, per year, above -1
    years : float, above 0

    Returns
    -------
    float, currency per year

    Raises
    ------
    CashFlowError
        When the rate is not a number above -1, or years is not above 0.
    """
    if not years > 0:
        raise CashFlowError(f"years = {years!r}: a payment needs a span above 0")
    growth = math.log1p(_checked(rate, "discount rate"))
    if growth == 0.0:
        return present / years
    return present * math.expm1(growth) / -math.expm1(-growth * years)


def _checked(rate: float, name: str) -> float:
    if not (math.isfinite(rate) and rate > -1.0):
        raise CashFlowError(f"{name} = {rate!r}: must be a number above -1")
    return rate


def _span(years: int) -> FloatArray:
    if years < 0:
        raise CashFlowError(f"years = {years!r}: must be at least 0")
    return np.arange(years + 1, dtype=float)
