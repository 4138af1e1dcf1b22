r"""Turnbull's curve with late entry, found in the increments of the cumulative hazard.

All weight may sit in *innermost* gaps: a left end (a lower age, open; an exact age, closed)
directly followed by a right end (an upper age, or an entry: weight before an entry spares the life
that entered there). Gap j gets the hazard increment eta_j >= 0, S = exp(-sum eta). Life i of
weight w, entered at E, adds to the log-likelihood

    -w sum_{E < j <= L} eta_j  +  w log(1 - exp(-sum_{L < j <= R} eta_j))

the second term only if it failed in (L, R]. In eta this is **concave** even with late entry, where
the likelihood in the masses is not, and early ages with few lives cannot drag down the later curve:
conditional survival needs only later increments. The maximum is where every gradient is zero, or
negative with eta_j = 0; the largest violation is returned.

The search for it: `turnbull_search`.

Not here: where the reported curve begins, and its band (`nonparametric`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import CheckedLives
from pivotlife.models.turnbull_search import CERTAIN, TOLERANCE, WeightedProblem

#: Most rounds of the search.
ROUNDS = 300
#: Relative rise below which a step has got stuck.
STUCK = 1e-10
#: Gradient per life that is taken for zero when the search ends there: the likelihood itself can no
#: longer tell two such points apart.
NEARLY = 1e-6
#: Most gaps for which a stuck step is solved exactly.
MOST_CAREFUL = 400


@dataclass(frozen=True, eq=False)
class TurnbullProblem:
    """Lives in terms of gap numbers.

    Attributes
    ----------
    ages : ndarray, shape (n_gaps,), miles
        Right end of each innermost gap, rising.
    entry, lower, upper : ndarray of int64, shape (n_lives,)
        Gaps at or before each age: life i survived gaps entry..lower - 1 and, if it failed, failed
        in one of lower..upper - 1. ``upper`` equals ``lower`` for right-censored lives.
    """

    ages: FloatArray
    entry: IntArray
    lower: IntArray
    upper: IntArray

    @classmethod
    def of(cls, lives: CheckedLives) -> TurnbullProblem:
        """Find the innermost gaps and place the lives among them."""
        ages = innermost_ends(lives)
        lower = np.where(
            lives.is_exact,
            np.searchsorted(ages, lives.lower, "left"),
            np.searchsorted(ages, lives.lower, "right"),
        )
        upper = np.where(lives.is_failure, np.searchsorted(ages, lives.upper, "right"), lower)
        entry = np.searchsorted(ages, lives.entry, "right")
        return cls(ages, entry.astype(np.int64), lower.astype(np.int64), upper.astype(np.int64))

    def solve(self, weight: FloatArray) -> tuple[FloatArray, float]:
        """Return the hazard increments at the maximum and the largest gradient per life.

        Parameters
        ----------
        weight : ndarray, shape (n_lives,)
            How often each life counts; 0 leaves it out.

        Raises
        ------
        NoMaximumError
            The search did not settle.
        """
        state = WeightedProblem.of(self.entry, self.lower, self.upper, weight, self.ages.size)
        active = state.first_guess()
        eta = np.zeros(state.cost.size)
        eta[active] = 1.0 / max(active.size, 1)
        eta[state.certain] = CERTAIN
        value = state.value(eta)
        for _ in range(ROUNDS):
            gradient = state.gradient(eta)
            excess = state.excess(eta, gradient)
            if excess <= TOLERANCE:
                return eta, excess
            active = state.candidates(eta, gradient)
            eta, reached = state.step(eta, value, gradient, active)
            if excess > NEARLY and _is_stuck(value, reached):
                if active.size <= MOST_CAREFUL:
                    eta, reached = state.careful_step(eta, value, gradient, active)
                if _is_stuck(value, reached):
                    eta, reached = state.restart(eta, state.gradient(eta))
            value = reached
        if excess <= NEARLY:
            return eta, excess
        raise NoMaximumError(
            f"the non-parametric curve did not settle in {ROUNDS} rounds; largest gradient"
            f" {excess:.1e} per life"
        )


def _is_stuck(value: float, reached: float) -> bool:
    return reached - value <= STUCK * (abs(value) + 1.0)


def innermost_ends(lives: CheckedLives) -> FloatArray:
    """Return the right ends of the gaps that can carry weight, in miles, rising."""
    exact, failed = lives.is_exact, lives.is_failure
    closed = np.unique(lives.lower[exact])
    opened = np.unique(np.concatenate([lives.lower[~exact], [0.0]]))
    ends = np.unique(np.concatenate([lives.upper[failed], lives.entry[lives.entry > 0.0]]))
    value = np.concatenate([closed, ends, opened])
    rank = np.repeat([0, 1, 2], [closed.size, ends.size, opened.size])
    order = np.lexsort((rank, value))
    value, is_end = value[order], rank[order] == 1
    return np.asarray(value[1:][is_end[1:] & ~is_end[:-1]], dtype=np.float64)
