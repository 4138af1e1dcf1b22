"""A trial of two bushing types: how it is laid out, drawn lives of one, and what it would conclude.

Trucks get new bushings of one type on all their pivots, half of the trucks each ("trucks"), or both
types at once, one on each side ("sides"): then trucks differ less than types. Every pivot is looked
at as the fleet looks at it, and once more when the trial ends; a truck that is sold leaves at its
last look. A bushing counts until it has failed; what is fitted after it does not.

Ages follow each type's own Weibull law. Those of a truck are alike: they share a part in a normal
copula, as in `redrawn_lives`. One type has its life stretched until its B10 is ``ratio`` times that
of the other.

The verdict compares B10. Both types are fitted together, each with a shape of its own or both with
one; limits of the log ratio come from the sandwich over trucks, widened for few trucks by
G / (G - p) and Student's t with G - p degrees of freedom (G trucks on which anything failed, p
parameters). A type lasts longer when the limits leave out 1 and both types have failed often
enough to be compared.

Not here: how often such trials succeed (`trial_power`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, isfinite, log, sqrt
from typing import Final, Literal, NamedTuple

import numpy as np
from scipy.special import ndtr
from scipy.stats import t as student

from pivotlife.models.accelerated_likelihood import AcceleratedLikelihood
from pivotlife.models.accelerated_maximum import climb
from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.errors import LivesError
from pivotlife.models.lives import CheckedLives
from pivotlife.models.no_failures import FEW_FAILURES

Split = Literal["trucks", "sides"]
LEVEL: Final = 0.95
#: log(-log 0.9): where a Weibull curve has lost one bushing in ten.
_B10: Final = log(-log(0.9))
#: Visits are spread by this share of the usual distance to either side.
VISIT_SPREAD: Final = 0.2
#: Gain in log-likelihood at which a drawn trial's fit has settled.
_TOLERANCE: Final = 1e-6


@dataclass(frozen=True)
class TrialDesign:
    """How a trial is laid out and what is believed of the two types.

    Attributes
    ----------
    ratio : float
        How many times as high the B10 of the first type is as that of the second.
    shapes : tuple of float
        Of the first and the second type.
    scale_miles : float
        Of the second type: the age by which 63.2 % of its bushings have failed.
    trucks : int
        Trucks in the trial, both types together.
    pivots : int
        Pivots on a truck.
    miles : float
        Miles that each truck runs in the trial unless it is sold before.
    visit_miles : float
        Usual miles between two looks at a pivot; 0: failures are known to the mile.
    likeness : float
        How alike lives of one truck are, 0 to below 1.
    sold_per_mile : float
        Chance per mile that a truck leaves the trial.
    split : "trucks" or "sides"
        One type a truck, or both types on every truck.
    one_shape : bool
        The verdict takes both types to have one shape.
    """

    ratio: float
    shapes: tuple[float, float]
    scale_miles: float
    trucks: int
    pivots: int = 6
    miles: float = 200_000.0
    visit_miles: float = 25_000.0
    likeness: float = 0.0
    sold_per_mile: float = 0.0
    split: Split = "trucks"
    one_shape: bool = False

    def __post_init__(self) -> None:
        """Refuse what no trial can be."""
        positive = (self.ratio, *self.shapes, self.scale_miles, self.miles)
        wrong = [
            ("a ratio, shape, scale or distance that is not above 0", min(positive) <= 0.0),
            ("fewer than 2 trucks", self.trucks < 2),
            ("no pivot", self.pivots < 1),
            ("a single pivot for both types", self.split == "sides" and self.pivots < 2),
            ("visits or sales below 0", min(self.visit_miles, self.sold_per_mile) < 0.0),
            ("a likeness outside 0 to 1", not 0.0 <= self.likeness < 1.0),
        ]
        told = "; ".join(text for text, is_wrong in wrong if is_wrong)
        if told or not all(isfinite(number) for number in positive):
            raise LivesError(f"a trial cannot have {told or 'infinite numbers'}")

    @property
    def scales(self) -> tuple[float, float]:
        """Scales of the first and the second type in miles."""
        first, second = self.shapes
        b10 = log(self.scale_miles) + _B10 / second + log(self.ratio)
        return exp(b10 - _B10 / first), self.scale_miles


class TrialLives(NamedTuple):
    """Lives of one trial, and which of them are of the first type."""

    lives: CheckedLives
    is_first: BoolArray


class TrialOutcome(NamedTuple):
    """What one trial concludes.

    ``verdict``: 1 the first type lasts longer, -1 the second, 0 not enough evidence. ``ratio`` of
    B10 with its limits; NaN, 0 and infinity where the lives determine none.
    """

    verdict: int
    ratio: float
    lower: float
    upper: float
    failures: tuple[int, int]


def draw_trial(design: TrialDesign, random: np.random.Generator) -> TrialLives:
    """Draw the lives of one trial.

    Parameters
    ----------
    design : TrialDesign
    random : Generator

    Returns
    -------
    TrialLives
        Bushings that were never looked at are left out.
    """
    unit = np.repeat(np.arange(design.trucks), design.pivots)
    number = np.tile(np.arange(design.pivots), design.trucks)
    is_first = (unit if design.split == "trucks" else number) % 2 == 0
    age = _ages(design, unit, is_first, random)
    end = np.full(design.trucks, design.miles)
    if design.sold_per_mile > 0.0:
        end = np.minimum(end, random.exponential(1.0 / design.sold_per_mile, design.trucks))
    lower, upper = _seen(design, age, unit, end, random)
    kept = np.isfinite(upper) | (lower > 0.0)
    lives = CheckedLives(
        entry=np.zeros(int(kept.sum())),
        lower=lower[kept],
        upper=upper[kept],
        weight=np.ones(int(kept.sum())),
        unit=unit[kept],
        n_units=design.trucks,
        left_out=int(np.count_nonzero(~kept)),
    )
    return TrialLives(lives, is_first[kept])


def trial_outcome(
    trial: TrialLives, *, one_shape: bool = False, level: float = LEVEL
) -> TrialOutcome:
    """Say what a trial concludes about the ratio of B10.

    Parameters
    ----------
    trial : TrialLives
    one_shape : bool
        Both types share a shape.
    level : float
        Confidence of the limits.

    Returns
    -------
    TrialOutcome
    """
    lives, first = trial
    failed = lives.is_failure
    counts = int((failed & first).sum()), int((failed & ~first).sum())
    unknown = TrialOutcome(0, np.nan, 0.0, np.inf, counts)
    if min(counts) < 2:
        return unknown
    arms = np.column_stack([first, ~first]).astype(np.float64)
    shapes = np.ones((lives.n_lives, 1)) if one_shape else arms
    likelihood = AcceleratedLikelihood.of(lives, shapes, arms)
    top = climb(likelihood, lives.weight, _start(lives, arms, shapes.shape[1]), _TOLERANCE)
    if not top.settled:
        return unknown
    k = shapes.shape[1]
    inverse = np.exp(-top.theta[:k])
    # log B10 = log scale + c / shape of the first type, less the same of the second.
    first_of, second_of = inverse[0], inverse[-1]
    value = float(top.theta[k] - top.theta[k + 1] + _B10 * (first_of - second_of))
    slope = np.zeros(top.theta.size)
    slope[k], slope[k + 1] = 1.0, -1.0
    if not one_shape:
        slope[0], slope[1] = -_B10 * first_of, _B10 * second_of
    half = _half_width(likelihood, lives, top.theta, top.slopes.hessian, slope, level)
    low, high = exp(min(value - half, 700.0)), exp(min(value + half, 700.0))
    told = min(counts) >= FEW_FAILURES
    verdict = int(told and low > 1.0) - int(told and high < 1.0)
    return TrialOutcome(verdict, exp(value), low, high, counts)


def _ages(
    design: TrialDesign, unit: IntArray, is_first: BoolArray, random: np.random.Generator
) -> FloatArray:
    """Draw the age at failure of every bushing, miles."""
    common = random.standard_normal(design.trucks)[unit]
    own = random.standard_normal(unit.size)
    share = ndtr(-(sqrt(design.likeness) * common + sqrt(1.0 - design.likeness) * own))
    shape, scale = (np.where(is_first, *pair) for pair in (design.shapes, design.scales))
    return np.asarray(scale * (-np.log(share)) ** (1.0 / shape))


def _seen(
    design: TrialDesign,
    age: FloatArray,
    unit: IntArray,
    end: FloatArray,
    random: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Return between which looks each bushing failed; infinity: it did not."""
    if design.visit_miles == 0.0:
        failed = age <= end[unit]
        return np.where(failed, age, end[unit]), np.where(failed, age, np.inf)
    looks = max(1, ceil(design.miles / (design.visit_miles * (1.0 - VISIT_SPREAD))))
    gaps = random.uniform(1.0 - VISIT_SPREAD, 1.0 + VISIT_SPREAD, (design.trucks, looks))
    visits = np.cumsum(design.visit_miles * gaps, axis=1)
    visits = np.where(visits < end[:, None], visits, np.inf)
    # Whoever is still there at the end is looked at once more.
    closing = np.where(end >= design.miles, end, np.inf)
    visits = np.sort(np.column_stack([visits, closing]), axis=1)[unit]
    known = np.column_stack([np.zeros(age.size), visits, np.full(age.size, np.inf)])
    row = np.arange(age.size)
    before = (known < age[:, None]).sum(axis=1) - 1
    upper = known[row, np.minimum(before + 1, known.shape[1] - 1)]
    last = np.where(np.isfinite(known), known, 0.0).max(axis=1)
    return np.minimum(known[row, before], last), upper


def _start(lives: CheckedLives, arms: FloatArray, n_shapes: int) -> FloatArray:
    """Return shape 1.5 and, for each type, the log of its miles per failure."""
    end = np.where(lives.is_failure, lives.upper, lives.lower)
    miles = 0.5 * (lives.lower + end) @ arms
    return np.concatenate([np.full(n_shapes, log(1.5)), np.log(miles / (lives.is_failure @ arms))])


def _half_width(
    likelihood: AcceleratedLikelihood,
    lives: CheckedLives,
    theta: FloatArray,
    hessian: FloatArray,
    slope: FloatArray,
    level: float,
) -> float:
    """Return half the width of the limits of a linear function of the parameters."""
    scores = likelihood.scores(theta)
    of_truck = np.column_stack(
        [np.bincount(lives.unit, column, lives.n_units) for column in scores.T]
    )
    failing = np.unique(lives.unit[lives.is_failure]).size
    left = max(failing - theta.size, 1)
    moved = np.linalg.solve(-hessian, slope)
    variance = float(np.sum((of_truck @ moved) ** 2)) * failing / left
    return float(student.ppf(0.5 + level / 2.0, left)) * sqrt(variance)
