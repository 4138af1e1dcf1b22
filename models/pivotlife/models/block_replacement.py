"""Two more replacement policies: at fixed distances, and by age for lives of any law.

Block replacement renews every pivot each T miles whatever its bushing's age, and failed bushings
at once:

    B(T) = (c_planned + c_failure M(T)) / T   per mile,

M being the renewal function (Barlow & Proschan 1965, Mathematical Theory of Reliability, ch. 3;
from memory). It asks for no record of ages and costs at least as much as renewing by age. Age
replacement for a life that is given as a survival function needs no law at all.

Not here: age replacement of a Weibull life (`replacement`), inspections.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import integrate, optimize

from pivotlife.models.replacement import PolicyError, age_replacement, renewal_function

#: Blocks are tried up to this many scales; beyond, a block renews what failures renew anyway.
_WIDEST_SCALES: Final = 6.0
_STEPS: Final = 600
_COARSE: Final = 400


@dataclass(frozen=True)
class BlockReplacement:
    """The best distance at which all pivots are renewed together.

    Attributes
    ----------
    optimal_miles : float, miles
        Renew everything each time this distance is driven; infinity when that never pays.
    cost_per_mile : float, currency per mile and pivot
    run_to_failure_cost_per_mile : float, currency per mile and pivot
    saving : float, share between 0 and 1
        The part of the run-to-failure cost that the policy saves.
    """

    optimal_miles: float
    cost_per_mile: float
    run_to_failure_cost_per_mile: float
    saving: float


def block_replacement(
    shape: float, scale: float, planned_cost: float, failure_cost: float
) -> BlockReplacement:
    """Find the distance at which renewing every pivot, whatever its age, costs least per mile.

    Parameters
    ----------
    shape : float, above 0
        Weibull shape of the life; above 1 the bushing wears out.
    scale : float, miles, above 0
        Age by which 63.2 % have failed.
    planned_cost, failure_cost : float, currency, at least 0
        Cost of a renewal in the block, and of one after a failure between blocks.

    Returns
    -------
    BlockReplacement

    Raises
    ------
    PolicyError
        When a figure is negative, not finite, or a shape or scale is not above zero.
    """
    run = age_replacement(shape, scale, planned_cost, failure_cost).run_to_failure_cost_per_mile
    never = BlockReplacement(math.inf, run, run, 0.0)
    if shape <= 1 or failure_cost <= planned_cost or run == 0.0:
        return never
    blocks = np.linspace(0.0, _WIDEST_SCALES, _STEPS + 1)[1:]
    rates = (planned_cost + failure_cost * renewal_function(shape, 1.0, blocks)) / blocks
    best = int(np.argmin(rates))
    low = float(blocks[best - 1]) if best else float(blocks[0]) / 100.0
    high = float(blocks[min(best + 1, _STEPS - 1)])

    def rate(block: float) -> float:
        renewed = float(renewal_function(shape, 1.0, [block])[0])
        return (planned_cost + failure_cost * renewed) / block

    found = optimize.minimize_scalar(
        rate, bounds=(low, high), method="bounded", options={"xatol": 1e-8}
    )
    cost = float(found.fun) / scale
    if cost >= run:
        return never
    return BlockReplacement(float(found.x) * scale, cost, run, 1.0 - cost / run)


def cheapest_age(
    survival: Callable[[float], float], longest: float, planned_cost: float, failure_cost: float
) -> tuple[float, float]:
    """Find the age at which renewing a bushing of any life costs least per mile.

    Parameters
    ----------
    survival : callable
        Share of bushings still good at an age; falls from 1 at age 0 to about 0 at `longest`.
    longest : float, miles
        Oldest age that is tried.
    planned_cost, failure_cost : float, currency

    Returns
    -------
    (age, cost) : float, miles; float, currency per mile
        The minimum of (c_planned S(T) + c_failure F(T)) / integral of S; `longest` where renewing
        early never pays.

    Raises
    ------
    PolicyError
        When longest is not a number above 0.
    """
    if not (math.isfinite(longest) and longest > 0):
        raise PolicyError(f"longest = {longest!r}: must be a number above 0")

    def rate(age: float) -> float:
        served, _ = integrate.quad(survival, 0.0, age, epsrel=1e-11, limit=200)
        alive = survival(age)
        return (planned_cost * alive + failure_cost * (1.0 - alive)) / served

    ages = np.linspace(0.0, longest, _COARSE + 1)[1:]
    best = int(np.argmin([rate(float(age)) for age in ages]))
    low, high = ages[max(best - 1, 0)], ages[min(best + 1, _COARSE - 1)]
    found = optimize.minimize_scalar(
        rate, bounds=(low, high), method="bounded", options={"xatol": 1e-10 * longest}
    )
    ends = [(float(found.x), float(found.fun)), (longest, rate(longest))]
    return min(ends, key=lambda pair: pair[1])
