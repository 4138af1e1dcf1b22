"""Ages at which 10 and 50 % have failed, for two types side by side, in three ways.

- pooled: a Weibull curve for all lives of each type, whoever ran them (unadjusted);
- adjusted: the accelerated-failure-time model, each type put on every pivot of the fleet;
- weighted: a Weibull curve for each type and duty on lives weighted so that the two types' lives
  are alike in what was known when they were fitted (`overlap`). All duties together: one shape for
  each type and a factor for each duty, put together in the fleet's own proportions.

Every estimate is an array of log miles of shape (pairs, duties, shares, 2): numerator, then
denominator. Their difference along the last axis is the log of the ratio of ages.

Not here: how far they may be wrong (`fair_draws`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from pivotlife.models.accelerated_likelihood import AcceleratedLikelihood
from pivotlife.models.accelerated_maximum import climb as climb_accelerated
from pivotlife.models.adjusted import starting_point
from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.fair_design import FairDesign
from pivotlife.models.fair_lives import ALL_DUTIES, FairLives, Pair
from pivotlife.models.lives import CheckedLives
from pivotlife.models.standardised import GRID, log_age, outlast, survival
from pivotlife.models.weibull_likelihood import LifeTerms
from pivotlife.models.weibull_maximum import climb

SHARES: Final = (0.1, 0.5)
#: log(-log(1 - share)): where a Weibull curve reaches a share, in units of shape x log age.
_REACHED: Final = np.log(-np.log1p(-np.array(SHARES)))


class Standard:
    """Curves of the types on the fleet, from the parameters of the adjusted model."""

    def __init__(self, lives: FairLives) -> None:
        self.lives = lives
        self.n_shapes = len(lives.kinds)
        duty = lives.fleet["duty"].to_numpy()
        self.members: list[BoolArray] = [
            (duty == name) | (name == ALL_DUTIES) for name in lives.duties
        ]
        self.matrix = {
            (kind, pair.later): self._matrix(kind, pair.later)
            for pair in lives.pairs
            for kind in (pair.numerator, pair.denominator)
        }
        self.until = np.array(
            [
                [
                    min(lives.last_miles(kind, duty) for kind in (p.numerator, p.denominator))
                    for duty in lives.duties
                ]
                for p in lives.pairs
            ]
        )

    def _matrix(self, kind: int, later: bool) -> FloatArray:
        """Return the columns of the fleet's pivots, all with one type."""
        fleet = self.lives.fleet.assign(later=0.0, condition_known=0.0, condition=0.0)
        if later:
            features = self.lives.features
            mean = features.loc[features["later"] > 0.0, ["condition_known", "condition"]].mean()
            fleet = fleet.assign(later=1.0, **{str(name): mean[name] for name in mean.index})
        return self.lives.design.matrix(fleet, np.full(len(fleet), kind))

    def laws(self, theta: FloatArray) -> dict[tuple[int, bool], tuple[float, FloatArray]]:
        """Return the shape and the log scale on every pivot, by type and first or later."""
        b = theta[self.n_shapes :]
        return {
            key: (float(np.exp(theta[key[0]])), matrix @ b) for key, matrix in self.matrix.items()
        }

    def log_ages(self, theta: FloatArray) -> FloatArray:
        """Return log ages, shape (pairs, duties, shares, 2)."""
        found = {
            key: np.array([[log_age(shape, s[own], p) for p in SHARES] for own in self.members])
            for key, (shape, s) in self.laws(theta).items()
        }
        return np.array([np.stack([found[k] for k in _keys(p)], axis=-1) for p in self.lives.pairs])

    def outlast(self, theta: FloatArray) -> FloatArray:
        """Return the chances of `standardised.Outlast`, shape (pairs, duties, 3)."""
        laws = self.laws(theta)
        result = np.full((len(self.lives.pairs), len(self.members), 3), np.nan)
        for i, pair in enumerate(self.lives.pairs):
            for j, own in enumerate(self.members):
                if not own.any() or self.until[i, j] <= 0.0:
                    continue
                ages = np.linspace(0.0, self.until[i, j], GRID)
                first, second = (
                    survival(shape, s[own], ages) for shape, s in (laws[k] for k in _keys(pair))
                )
                result[i, j] = outlast(first, second)
        return result


class Curves:
    """Weibull curves of each type in each duty, under any weights of the rows.

    Parameters
    ----------
    lives : FairLives
    rows : CheckedLives
        The rows that are fitted.
    life : ndarray of int, shape (n_rows,)
        The life of each row.
    groups : sequence of ndarray of bool, shape (n_lives,)
        Lives that pairs are compared on.
    group_of : sequence of int
        Each pair's group.
    """

    def __init__(
        self,
        lives: FairLives,
        rows: CheckedLives,
        life: IntArray,
        groups: Sequence[BoolArray],
        group_of: Sequence[int],
    ) -> None:
        self.lives, self.group_of = lives, tuple(group_of)
        self.cells: dict[tuple[int, int, int], _Cell] = {}
        for pair, group in zip(lives.pairs, self.group_of, strict=True):
            for kind in (pair.numerator, pair.denominator):
                for j, duty in enumerate(lives.duties):
                    key = (group, kind, j)
                    if key not in self.cells:
                        own = groups[group] & lives.in_duty(duty) & (lives.kind == kind)
                        self.cells[key] = _Cell(rows, np.flatnonzero(own[life]))

    def log_ages(self, weights: Sequence[FloatArray]) -> FloatArray:
        """Return log ages, shape (pairs, duties, shares, 2), from row weights by group."""
        found = {key: cell.log_ages(weights[key[0]]) for key, cell in self.cells.items()}
        duties = range(len(self.lives.duties))
        return np.array(
            [
                [np.stack([found[group, kind, j] for kind in pair[:2]], axis=-1) for j in duties]
                for pair, group in zip(self.lives.pairs, self.group_of, strict=True)
            ]
        )


class Together:
    """Two types over all duties of the fleet, from weighted lives with a factor for each duty."""

    def __init__(self, lives: FairLives, pair: Pair) -> None:
        own = lives.eligible(pair)[lives.life]
        self.rows = np.flatnonzero(own)
        life = lives.life[self.rows]
        columns = tuple(name for name in lives.design.columns if name.startswith("duty["))
        kinds = tuple(lives.kinds[kind] for kind in pair[:2])
        design = FairDesign(kinds, (*kinds, *columns), ())
        place = (lives.kind[life] == pair.denominator).astype(np.int64)
        self.likelihood = AcceleratedLikelihood.of(
            lives.rows.take(self.rows),
            (place[:, None] == np.arange(2)).astype(np.float64),
            design.matrix(lives.features.iloc[life], place),
        )
        n = len(lives.fleet)
        self.fleet = [design.matrix(lives.fleet, np.full(n, side)) for side in range(2)]
        self.start = starting_point(lives.rows.take(self.rows), self.likelihood)
        self.start[3] = self.start[2]
        self.failed = lives.rows.is_failure[self.rows]
        self.side = place

    def log_ages(self, weight: FloatArray, tolerance: float) -> FloatArray:
        """Return log ages, shape (shares, 2); NaN where no curve is determined."""
        own = weight[self.rows]
        told = [np.any(own[self.failed & (self.side == side)] > 0.0) for side in range(2)]
        if not all(told):
            return np.full((len(SHARES), 2), np.nan)
        top = climb_accelerated(self.likelihood, own, self.start, tolerance)
        if not top.settled:
            return np.full((len(SHARES), 2), np.nan)
        self.start = top.theta
        return np.array(
            [
                [
                    log_age(float(np.exp(top.theta[side])), matrix @ top.theta[2:], share)
                    for side, matrix in enumerate(self.fleet)
                ]
                for share in SHARES
            ]
        )


class _Cell:
    """The rows of one type in one duty; the first curve fitted is the start of all later ones."""

    def __init__(self, rows: CheckedLives, chosen: npt.NDArray[np.intp]) -> None:
        own = rows.take(chosen)
        self.rows, self.terms, self.failed = chosen, LifeTerms.of(own), own.is_failure
        ends = np.where(own.is_failure, own.upper, own.lower)
        self.start = (0.5, float(np.log(np.maximum(ends, 1.0)).max(initial=0.0)))
        self.is_settled = False

    def log_ages(self, weight: FloatArray) -> FloatArray:
        """Return the log ages of `SHARES`; NaN where nothing failed or no curve is determined."""
        own = weight[self.rows]
        nothing = np.full(len(SHARES), np.nan)
        if not np.any(own[self.failed] > 0.0):
            return nothing
        found = climb(self.terms.weighted(own), *self.start)
        if found.at_lowest_shape or found.at_highest_shape or not np.isfinite(found.s):
            return nothing
        if not self.is_settled:
            self.start, self.is_settled = (found.a, found.s), True
        return np.asarray(found.s + _REACHED / np.exp(found.a))


def _keys(pair: Pair) -> tuple[tuple[int, bool], tuple[int, bool]]:
    return (pair.numerator, pair.later), (pair.denominator, pair.later)
