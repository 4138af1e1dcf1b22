"""Quantities of a Weibull curve and the paths along which each keeps its value.

A quantity is searched on an unbounded scale v: log of shape, scale, quantile and mean; log H(m) for
a survival, so that its limits stay between 0 and 1. For each quantity a `Path` tells which curve in
(a, s) = (log shape, log scale) keeps v fixed:

- shape:      a = v, s free
- scale:      s = v
- quantile:   s = v - c e^-a,  c = log(-log(1 - p))
- survival:   s = log m - v e^-a
- mean:       s = v - log Gamma(1 + e^-a)

Not here: what the records say about a quantity (`weibull_intervals`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, inf, isfinite, log
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from scipy.special import digamma, gammaln, polygamma

Quantity: TypeAlias = (
    Literal["shape", "scale", "mean"] | tuple[Literal["quantile", "survival"], float]
)

#: log H beyond which a survival is 0 or 1.
LOWEST_LOG_HAZARD, HIGHEST_LOG_HAZARD = -700.0, 6.6


class Interval(NamedTuple):
    """Limits of a quantity; an open side has no limit that the records set."""

    lower: float
    upper: float
    lower_open: bool
    upper_open: bool


class Step(NamedTuple):
    """A point of a path and the derivatives of (a, s) along its parameter t."""

    a: float
    s: float
    da: float
    ds: float
    dds: float


@dataclass(frozen=True)
class Path:
    """Where in (a, s) one quantity keeps its value.

    Attributes
    ----------
    start : callable (a, s) -> (v, t)
        The quantity's search value and the path's parameter at a point.
    step : callable (v, t) -> Step
        The point of the path of v at t.
    slope : callable (a, s) -> (dv/da, dv/ds)
    lowest, highest : float
        Search values beyond which the quantity is as good as at its end.
    is_survival : bool
        v is log H: the quantity falls as v rises. Otherwise v is the quantity's logarithm.
    """

    start: Callable[[float, float], tuple[float, float]]
    step: Callable[[float, float], Step]
    slope: Callable[[float, float], tuple[float, float]]
    lowest: float = -700.0
    highest: float = 700.0
    is_survival: bool = False

    def value(self, v: float) -> float:
        """Return the quantity itself."""
        return exp(-exp(v)) if self.is_survival else exp(v)

    def interval(self, low: float | None, high: float | None) -> Interval:
        """Turn limits of v (None: open) into limits of the quantity."""
        if self.is_survival:
            return Interval(
                0.0 if high is None else self.value(high),
                1.0 if low is None else self.value(low),
                high is None,
                low is None,
            )
        return Interval(
            0.0 if low is None else self.value(low),
            inf if high is None else self.value(high),
            low is None,
            high is None,
        )


def quantity_path(quantity: Quantity) -> Path:
    """Return the path of a quantity.

    Raises
    ------
    ValueError
        An unknown quantity, a share outside 0 to 1, an age that is not above 0.
    """
    if quantity == "shape":
        return Path(
            lambda a, s: (a, s),
            lambda v, t: Step(v, t, 0.0, 1.0, 0.0),
            lambda _a, _s: (1.0, 0.0),
            lowest=log(1e-3),
            highest=log(1e3),
        )
    if quantity == "scale":
        return _quantile_path(0.0)
    if quantity == "mean":
        return _mean_path()
    if isinstance(quantity, tuple) and len(quantity) == 2:
        name, number = quantity
        if name == "quantile" and 0.0 < number < 1.0:
            return _quantile_path(log(-np.log1p(-number)))
        if name == "survival" and number > 0.0 and isfinite(number):
            return _survival_path(log(number))
    raise ValueError(
        f"no quantity {quantity!r}; choose 'shape', 'scale', 'mean', ('quantile', p) with p between"
        " 0 and 1, or ('survival', miles) with miles above 0"
    )


def _quantile_path(c: float) -> Path:
    """Return the path of the age whose log H is ``c``."""
    return Path(
        lambda a, s: (s + c * exp(-a), a),
        lambda v, t: Step(t, v - c * exp(-t), 1.0, c * exp(-t), -c * exp(-t)),
        lambda a, _s: (-c * exp(-a), 1.0),
    )


def _survival_path(x: float) -> Path:
    """Return the path of log H at the age e^x."""
    return Path(
        lambda a, s: (exp(a) * (x - s), a),
        lambda v, t: Step(t, x - v * exp(-t), 1.0, v * exp(-t), -v * exp(-t)),
        lambda a, s: (exp(a) * (x - s), -exp(a)),
        lowest=LOWEST_LOG_HAZARD,
        highest=HIGHEST_LOG_HAZARD,
        is_survival=True,
    )


def _mean_path() -> Path:
    """Return the path of the mean life."""

    def step(v: float, t: float) -> Step:
        inverse = exp(-t)
        psi, psi1 = float(digamma(1.0 + inverse)), float(polygamma(1, 1.0 + inverse))
        s = v - float(gammaln(1.0 + inverse))
        return Step(t, s, 1.0, inverse * psi, -inverse * psi - inverse * inverse * psi1)

    return Path(
        lambda a, s: (s + float(gammaln(1.0 + exp(-a))), a),
        step,
        lambda a, _s: (-exp(-a) * float(digamma(1.0 + exp(-a))), 1.0),
    )
