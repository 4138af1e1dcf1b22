"""When renewing by age pays, and how many renewals a distance brings.

A bushing renewed at age T, or when it fails before, costs in the long run

    g(T) = (c_planned S(T) + c_failure F(T)) / integral of S from 0 to T   per mile,

(Barlow & Proschan 1965, Mathematical Theory of Reliability, ch. 3-4; from memory). With a Weibull
life the best T solves h(T) integral(S) - F(T) = c_planned / (c_failure - c_planned), which has
one root when the shape is above 1 and failing costs more than planning. Discounted money keeps
the same equation with every mile weighted by exp(-discount x miles) (Fox 1966, Operations
Research 14; from memory).

Not here: inspections (the rate is that of a failure noticed at once), lifetime cost by year, the
choice at one visit.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import integrate, optimize, special

from pivotlife.models.errors import PivotlifeError

FloatArray = npt.NDArray[np.float64]

#: A policy that saves less than this share of running to failure is not worth its diary.
PRACTICAL_SAVING: Final = 0.02
#: Renewal counts are solved on a grid up to this many scales, and follow their line beyond.
GRID_SCALES: Final = 50.0


class PolicyError(PivotlifeError, ValueError):
    """Figures from which no replacement policy follows; the text names the figure."""


@dataclass(frozen=True)
class AgeReplacement:
    """The best age to renew a bushing that is otherwise run until it fails.

    Attributes
    ----------
    optimal_miles : float, miles
        Renew at this age; infinity when planned renewal never pays.
    cost_per_mile : float, currency per mile
        What the bushing costs in the long run when it is renewed at that age.
    run_to_failure_cost_per_mile : float, currency per mile
        What it costs when nothing is ever renewed early.
    saving : float, share between 0 and 1
        The part of the run-to-failure cost that renewing early saves.
    """

    optimal_miles: float
    cost_per_mile: float
    run_to_failure_cost_per_mile: float
    saving: float

    @property
    def is_practical(self) -> bool:
        """True when renewing by age saves at least 2 % of running to failure."""
        return self.saving >= PRACTICAL_SAVING

    @property
    def practical_cost_per_mile(self) -> float:
        """Cost per mile of the policy to follow: by age if that is practical, else to failure."""
        return self.cost_per_mile if self.is_practical else self.run_to_failure_cost_per_mile


def age_replacement(
    shape: float,
    scale: float,
    planned_cost: float,
    failure_cost: float,
    discount_per_mile: float = 0.0,
) -> AgeReplacement:
    """Find the age at which renewing a Weibull bushing costs least per mile.

    Parameters
    ----------
    shape : float, above 0
        Above 1 the bushing wears out; at or below 1 an old one is no worse than a new one.
    scale : float, miles, above 0
        Age by which 63.2 % have failed.
    planned_cost, failure_cost : float, currency, at least 0
        Cost of a planned renewal, and of one after a failure.
    discount_per_mile : float, per mile, at least 0
        Continuous discount: money spent m miles ahead counts exp(-discount m). The rates are
        then the steady payment per mile with the same present value, the first bushing unpaid.

    Returns
    -------
    AgeReplacement

    Raises
    ------
    PolicyError
        When a figure is negative, not finite, or a shape or scale is not above zero.
    """
    _check_figures(shape, scale, planned_cost, failure_cost, discount_per_mile)
    discount = discount_per_mile * scale
    run = failure_cost * _failures(math.inf, shape, discount) / _mileage(math.inf, shape, discount)
    best = _best_age(shape, planned_cost, failure_cost, discount)
    rate = run if math.isinf(best) else _rate(best, shape, planned_cost, failure_cost, discount)
    saving = max(0.0, 1.0 - rate / run) if run > 0 else 0.0
    return AgeReplacement(best * scale, rate / scale, run / scale, saving)


def _check_figures(
    shape: float, scale: float, planned: float, failure: float, discount: float
) -> None:
    for name, value in (("shape", shape), ("scale", scale)):
        if not (math.isfinite(value) and value > 0):
            raise PolicyError(f"{name} = {value!r}: must be a number above 0")
    for name, value in (
        ("planned_cost", planned),
        ("failure_cost", failure),
        ("discount_per_mile", discount),
    ):
        if not (math.isfinite(value) and value >= 0):
            raise PolicyError(f"{name} = {value!r}: must be a number of at least 0")


def _mileage(age: float, shape: float, discount: float) -> float:
    """Discounted miles that a bushing renewed at `age` serves, everything in scales."""
    if discount == 0:
        share = 1.0 if math.isinf(age) else float(special.gammainc(1 / shape, age**shape))
        return share * math.gamma(1 + 1 / shape)
    end = min(age, 745.0 ** (1 / shape), 745.0 / discount)  # the integrand underflows beyond
    edges = [e for e in (0.0, 0.1 / discount, 1 / discount, 0.3, 1.0, 2.0, end) if e <= end]
    pieces = sorted(set(edges))
    total = 0.0
    for low, high in itertools.pairwise(pieces):
        part, _ = integrate.quad(
            lambda u: math.exp(-discount * u - u**shape), low, high, epsabs=0, epsrel=1e-12
        )
        total += part
    return total


def _failures(age: float, shape: float, discount: float) -> float:
    """Discounted failures of one bushing renewed at `age` (its chance to fail if undiscounted)."""
    if discount == 0:
        return 1.0 if math.isinf(age) else -math.expm1(-(age**shape))
    alive = 0.0 if math.isinf(age) else math.exp(-discount * age - age**shape)
    return 1.0 - alive - discount * _mileage(age, shape, discount)


def _rate(age: float, shape: float, planned: float, failure: float, discount: float) -> float:
    kept = math.exp(-discount * age - age**shape)
    paid = planned * kept + failure * _failures(age, shape, discount)
    return paid / _mileage(age, shape, discount)


def _best_age(shape: float, planned: float, failure: float, discount: float) -> float:
    if shape <= 1 or failure <= planned:
        return math.inf
    if planned == 0:
        return 0.0
    target = planned / (failure - planned)

    def excess(log_age: float) -> float:
        age = math.exp(log_age)
        hazard = shape * math.exp((shape - 1) * log_age)
        served = _mileage(age, shape, discount)
        return hazard * served - _failures(age, shape, discount) - target

    high = min(700.0, 300.0 / shape)
    if excess(high) < 0:
        return math.inf
    root = optimize.brentq(excess, -300.0 / shape, high, xtol=1e-14, rtol=1e-14)
    return math.exp(float(root))


def renewal_function(shape: float, scale: float, miles: npt.ArrayLike) -> FloatArray:
    """Count the bushings that one pivot is expected to wear out within a distance.

    Parameters
    ----------
    shape, scale : float
        Weibull shape, and scale in miles, of each bushing's life.
    miles : array_like of float, shape (n,), miles, at least 0
        Distance from a new bushing on; each failed one is renewed at once.

    Returns
    -------
    ndarray of float, shape of `miles`
        Expected number of renewals, M(t) = F(t) + integral of M(t - u) dF(u). Solved with the
        mid-point sums of Xie (1989, Communications in Statistics B 18; from memory); beyond 50
        scales the line t / mean + (cv^2 - 1) / 2 that it approaches.

    Raises
    ------
    PolicyError
        When shape or scale is not above zero, or a distance is negative or not finite.
    """
    _check_figures(shape, scale, 0.0, 0.0, 0.0)
    distance = np.asarray(miles, dtype=float)
    if not np.all(np.isfinite(distance)) or np.any(distance < 0):
        raise PolicyError("miles: every distance must be a number of at least 0")
    x = distance / scale
    within = x[x <= GRID_SCALES]
    counts = _line(shape, x)
    if within.size:
        counts[x <= GRID_SCALES] = _solved(shape, within)
    return counts


def _line(shape: float, x: FloatArray) -> FloatArray:
    mean = math.gamma(1 + 1 / shape)
    variance = math.gamma(1 + 2 / shape) - mean**2
    return np.asarray(x / mean + (variance / mean**2 - 1) / 2)


def _solved(shape: float, x: FloatArray) -> FloatArray:
    end = max(float(x.max()), 1e-9)
    steps = int(np.clip(400 * end * max(1.0, shape / 3), 1_000, 12_000))
    grid = np.linspace(0.0, end, steps + 1)
    failed = -np.expm1(-(grid**shape))
    half = -np.expm1(-((grid[:-1] + end / steps / 2) ** shape))
    added = np.zeros(steps)
    count = 0.0
    for i in range(steps):
        past = float(added[:i] @ half[i:0:-1])
        following = (failed[i + 1] + past - count * half[0]) / (1.0 - half[0])
        added[i] = following - count
        count = following
    repeats = np.concatenate([[0.0], np.cumsum(added)]) - failed
    return np.asarray(np.interp(x, grid, repeats) - np.expm1(-(x**shape)))
