"""What one pivot is expected to cost from a visit to the truck's sale, under each bushing type.

Lives follow the life curve of a type in a duty, with curves drawn from the fit's uncertainty. Types
were not handed out by lot, so a type that stands in for another takes its life from the fair
comparison: the B10 of what is fitted now times the adjusted ratio of B10, drawn from its interval,
with the shape of its own curve. Each end of a bushing costs

    e = long-run cost of a mile x mean life, held between a planned renewal and a late finding,

so that over many miles the cost is the long-run rate and over few it is the chance of an end:

    new bushing, distance H:    e M(H),  M(t) = F(t) + integral of M(t - u) dF(u)
    bushing of age a:           e integral of (1 + M(H - u)) dF(a + u) / S(a).

M by mid-point sums of Xie (1989, Communications in Statistics B 18; from memory), all drawn curves
at once. Nothing is credited beyond H. Not here: which pivots are converted (`conversion`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import gamma

from pivotlife.models.arrays import FloatArray
from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost
from pivotlife.models.life_curves import CurveBook

#: Steps of the distance to the sale, for new bushings and for those in service.
STEPS: Final = 300
AGE_STEPS: Final = 60
_NORMAL_975: Final = 1.959963984540054
_B10: Final = -log(0.9)


@dataclass(frozen=True, eq=False)
class LifeDraws:
    """Drawn life curves of one type in one duty, and what an end costs.

    Attributes
    ----------
    shapes, scales : ndarray, shape (n_draws,)
        Weibull shape; miles by which 63.2 % have failed.
    end_cost : float, currency
        What each end of a bushing costs on average, the next bushing included.
    """

    shapes: FloatArray
    scales: FloatArray
    end_cost: float


@dataclass(frozen=True, eq=False)
class ConversionLives:
    """Lives to compare, for each (fitted type, duty).

    Attributes
    ----------
    own : mapping of (bushing type, duty) to LifeDraws
    other : mapping of (fitted type, other type, duty) to LifeDraws
        The other type on trucks like these; draws belong to those of `own` one by one.
    """

    own: Mapping[tuple[str, str], LifeDraws] = field(default_factory=dict)
    other: Mapping[tuple[str, str, str], LifeDraws] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class RenewalCounts:
    """Expected renewals of one pivot from a new bushing on, by draw.

    Attributes
    ----------
    lives : LifeDraws
    step : float, miles
    count : ndarray, shape (n_draws, steps + 1)
        At 0, step, 2 step, ...
    """

    lives: LifeDraws
    step: float
    count: FloatArray

    def new(self, miles: float) -> FloatArray:
        """Count ends within a distance (miles) from a new bushing on, shape (n_draws,)."""
        return self._at(np.array([max(miles, 0.0)]))[:, 0]

    def from_age(self, age: float, miles: float) -> FloatArray:
        """Count ends within a distance from one that is good at an age on, shape (n_draws,)."""
        ahead = np.linspace(0.0, max(miles, 0.0), AGE_STEPS + 1)
        power = ((age + ahead) / self.lives.scales[:, None]) ** self.lives.shapes[:, None]
        failed = -np.expm1(power[:, :1] - power)
        middle = (ahead[:-1] + ahead[1:]) / 2.0
        after = 1.0 + self._at(ahead[-1] - middle)
        return np.asarray((np.diff(failed, axis=1) * after).sum(axis=1))

    def _at(self, miles: FloatArray) -> FloatArray:
        place = np.clip(miles / self.step, 0.0, self.count.shape[1] - 1)
        low = np.minimum(place.astype(np.int64), self.count.shape[1] - 2)
        share = place - low
        return np.asarray(self.count[:, low] * (1.0 - share) + self.count[:, low + 1] * share)


def conversion_lives(
    curves: CurveBook,
    ratios: pd.DataFrame,
    costs: CostItems,
    rates: Mapping[tuple[str, str], float],
    visit_gap_miles: Mapping[str, float],
) -> ConversionLives:
    """Collect the lives that a conversion is judged by.

    Parameters
    ----------
    curves : CurveBook
        A fitted type whose curve in the duty is a bound, or borrowed, is not judged.
    ratios : DataFrame
        Fair comparison: numerator_type, denominator_type, duty, estimand, method, ratio,
        ratio_lower, ratio_upper (95 %). Only adjusted ratios of B10 in the duty count.
    costs : CostItems
    rates : mapping of (bushing type, duty) to currency per mile
        Long-run cost under the rule.
    visit_gap_miles : mapping of duty to miles

    Returns
    -------
    ConversionLives
    """
    fair = _adjusted(ratios)
    random = np.random.default_rng([curves.seed, 97])
    own: dict[tuple[str, str], LifeDraws] = {}
    other: dict[tuple[str, str, str], LifeDraws] = {}
    for duty, gap in sorted(visit_gap_miles.items()):
        found = _ends(curves, duty, costs, rates, gap)
        normal = random.standard_normal(curves.draws)
        for kind, mine in found.items():
            if mine.scales.size == 0:
                continue
            own[kind, duty] = mine
            for fitted, theirs in found.items():
                pair = fair.get((fitted, kind, duty))
                if fitted != kind and pair is not None:
                    other[kind, fitted, duty] = _stands_in(mine, theirs, pair, normal)
    return ConversionLives(own, other)


def _ends(
    curves: CurveBook,
    duty: str,
    costs: CostItems,
    rates: Mapping[tuple[str, str], float],
    gap: float,
) -> dict[str, LifeDraws]:
    """Draws and cost of an end by type; no scales where the curve is not the duty's own."""
    found = {}
    for kind in sorted(costs.parts):
        curve = curves.curve(kind, duty)
        rate = rates.get((kind, duty), float("nan"))
        if curve is None or not rate > 0:
            continue
        mean = curve.scale * float(gamma(1.0 + 1.0 / curve.shape))
        end = np.clip(rate * mean, planned_cost(costs, kind), late_cost(costs, kind, gap / 2))
        count = curves.draws
        borrowed = curve.is_bound or curve.warning != ""
        shapes = np.broadcast_to(curve.shapes, count) if curve.is_bound else curve.shapes
        scales = np.empty(0) if borrowed else curve.scales
        found[kind] = LifeDraws(np.asarray(shapes), np.asarray(scales), float(end))
    return found


def _adjusted(ratios: pd.DataFrame) -> dict[tuple[str, str, str], tuple[float, float]]:
    """(type, compared with, duty) to centre and spread of the log ratio of B10, both ways."""
    kept = ratios[(ratios["method"] == "adjusted") & ratios["estimand"].eq("b10")]
    pairs: dict[tuple[str, str, str], tuple[float, float]] = {}
    for row in kept.to_dict("records"):
        ends = np.array([row["ratio_lower"], row["ratio"], row["ratio_upper"]], dtype=float)
        if not (np.isfinite(ends).all() and (ends > 0).all()):
            continue
        low, centre, high = np.log(ends)
        spread = (high - low) / (2.0 * _NORMAL_975)
        above, below, duty = (str(row[c]) for c in ("numerator_type", "denominator_type", "duty"))
        pairs[above, below, duty] = (float(centre), float(spread))
        pairs[below, above, duty] = (-float(centre), float(spread))
    return pairs


def _stands_in(
    mine: LifeDraws, theirs: LifeDraws, pair: tuple[float, float], normal: FloatArray
) -> LifeDraws:
    """Give the other type the B10 of the fitted one times the drawn ratio."""
    ratio = np.exp(pair[0] + pair[1] * normal)
    b10 = mine.scales * _B10 ** (1.0 / mine.shapes)
    scales = b10 * ratio / _B10 ** (1.0 / theirs.shapes)
    return LifeDraws(theirs.shapes, scales, theirs.end_cost)


def renewal_counts(lives: LifeDraws, furthest: float, steps: int = STEPS) -> RenewalCounts:
    """Count the renewals of one pivot under every drawn curve, up to a distance.

    Parameters
    ----------
    lives : LifeDraws
    furthest : float, miles, above 0
    steps : int
        At 300 a count is right to a thousandth over five mean lives.

    Returns
    -------
    RenewalCounts
    """
    grid = np.linspace(0.0, furthest, 2 * steps + 1)
    chance = -np.expm1(-((grid / lives.scales[:, None]) ** lives.shapes[:, None]))
    failed, half = chance[:, ::2], chance[:, 1::2]
    count = np.zeros(failed.shape)
    added = np.zeros(half.shape)
    for i in range(steps):
        past = np.einsum("ij,ij->i", added[:, :i], half[:, i:0:-1])
        following = (failed[:, i + 1] + past - count[:, i] * half[:, 0]) / (1.0 - half[:, 0])
        added[:, i] = following - count[:, i]
        count[:, i + 1] = following
    return RenewalCounts(lives, furthest / steps, count)
