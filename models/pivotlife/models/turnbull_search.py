"""Search for the hazard increments of Turnbull's curve, a concave maximum under eta >= 0.

Keep the few increments that are positive, add the gap of largest positive gradient between each two
of them, solve the quadratic model, drop what turns negative and solve again, walk there as far as
the likelihood rises; repeat (after Y. Wang, JRSS B 69 (2007), from memory).
A failure ties together only gaps within its reach, so the model's matrix is a band; where some
failures reach over very many gaps, conjugate gradients solve it without a matrix.
A gap that some failure covers and no survivor crosses takes everything: eta = `CERTAIN`.

Not here: which gaps there are (`turnbull`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular, solveh_banded
from scipy.optimize import nnls
from scipy.sparse.linalg import LinearOperator, cg

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray

#: A hazard increment after which nobody is alive.
CERTAIN = 50.0
#: Largest gradient per life that counts as zero.
TOLERANCE = 1e-9
#: Rounds of expectation-maximisation after a stuck step, and the share of the mean increment from
#: which a gap without any begins.
RESTART_ROUNDS, SEED_SHARE = 20, 1e-3
#: Widest band of second derivatives that is formed.
WIDEST_BAND = 60


@dataclass(frozen=True, eq=False)
class WeightedProblem:
    """One weighting of the lives.

    Attributes
    ----------
    cost : ndarray, shape (n_gaps,)
        Weight of the lives that survived each gap: what an increment costs there.
    certain : ndarray of bool, shape (n_gaps,)
        Gaps that some failure covers and nobody survives.
    lower, upper, weight : ndarray, shape (n_failures,)
        Failures in one of the gaps lower..upper - 1, equal ones merged; those that a certain gap
        explains are left out.
    total : float
        Weight of all lives.
    """

    cost: FloatArray
    certain: BoolArray
    lower: IntArray
    upper: IntArray
    weight: FloatArray
    total: float

    @classmethod
    def of(
        cls, entry: IntArray, lower: IntArray, upper: IntArray, weight: FloatArray, n: int
    ) -> WeightedProblem:
        """Sum the lives, given by gap numbers below ``n``, under their weights."""
        cost = _cover(entry, lower, weight, n)
        failed = (upper > lower) & (weight > 0.0)
        pairs = lower[failed] * (n + 1) + upper[failed]
        distinct, index = np.unique(pairs, return_inverse=True)
        lower, upper = distinct // (n + 1), distinct % (n + 1)
        merged = np.bincount(index, weight[failed], distinct.size).astype(np.float64)
        certain = (cost <= 1e-12 * weight.sum()) & (_cover(lower, upper, merged, n) > 0.0)
        # A failure that can lie in such a gap is explained by it and tells nothing of other gaps.
        before = np.concatenate([[0], np.cumsum(certain)])
        open_ = before[upper] == before[lower]
        return cls(cost, certain, lower[open_], upper[open_], merged[open_], float(weight.sum()))

    def first_guess(self) -> IntArray:
        """Return a small set of gaps such that every failure covers one of them."""
        chosen: list[int] = []
        order = np.argsort(self.upper, kind="stable")
        for low, high in zip(self.lower[order].tolist(), self.upper[order].tolist(), strict=True):
            if not chosen or chosen[-1] < low:
                chosen.append(high - 1)
        return np.array(chosen, dtype=np.int64)

    def value(self, eta: FloatArray) -> float:
        """Return the log-likelihood, without the gaps that take everything."""
        free = np.where(self.certain, 0.0, eta)
        covered = self._covered(free)
        if np.any(covered <= 0.0):
            return -np.inf
        return float(self.weight @ np.log(-np.expm1(-covered)) - self.cost @ free)

    def gradient(self, eta: FloatArray) -> FloatArray:
        """Return the derivative in each increment; 0 in gaps that take everything."""
        covered = self._covered(np.where(self.certain, 0.0, eta))
        pull = _cover(self.lower, self.upper, self.weight * _odds(covered), eta.size)
        return np.where(self.certain, 0.0, pull - self.cost)

    def excess(self, eta: FloatArray, gradient: FloatArray) -> float:
        """Return the largest violation of the maximum's conditions, per life."""
        wrong = np.where(eta > 0.0, np.abs(gradient), np.maximum(gradient, 0.0))
        return float(wrong.max(initial=0.0)) / max(self.total, 1e-300)

    def candidates(self, eta: FloatArray, gradient: FloatArray) -> IntArray:
        """Return positive gaps and, between each two of them, that of largest positive gradient."""
        positive = (eta > 0.0) & ~self.certain
        stretch = np.cumsum(positive)
        inviting = np.flatnonzero((gradient > 0.0) & ~positive & ~self.certain)
        best = np.full(int(stretch[-1]) + 1 if stretch.size else 1, -1, dtype=np.int64)
        rising = inviting[np.argsort(gradient[inviting], kind="stable")]
        best[stretch[rising]] = rising
        return np.union1d(np.flatnonzero(positive), best[best >= 0])

    def step(
        self, eta: FloatArray, value: float, gradient: FloatArray, active: IntArray
    ) -> tuple[FloatArray, float]:
        """Walk towards the maximum of the quadratic model over the active gaps."""
        bend = self._bend(eta)
        move = np.zeros_like(eta)
        move[active] = self._aim(eta, gradient, active, bend) - eta[active]
        rise = float(gradient @ move)
        if rise <= 0.0:  # dropping gaps at once can turn the walk downhill: gap by gap it rises
            own = np.maximum(_cover(self.lower, self.upper, bend, eta.size)[active], 1e-300)
            move[active] = np.maximum(eta[active] + gradient[active] / own, 0.0) - eta[active]
            rise = float(gradient @ move)
        return self._walk(eta, value, move, rise)

    def careful_step(
        self, eta: FloatArray, value: float, gradient: FloatArray, active: IntArray
    ) -> tuple[FloatArray, float]:
        """Walk to the quadratic model's exact maximum under eta >= 0, by least squares."""
        bend = self._bend(eta)
        low, high = np.searchsorted(active, self.lower), np.searchsorted(active, self.upper)
        places = np.arange(active.size)
        covers = ((places >= low[:, None]) & (places < high[:, None])).astype(np.float64)
        matrix = covers.T @ (bend[:, None] * covers)
        matrix[np.diag_indices(active.size)] *= 1.0 + 1e-10
        matrix[np.diag_indices(active.size)] += 1e-12 * float(np.trace(matrix)) / active.size
        root = cholesky(matrix)
        aim_for = gradient[active] + matrix @ eta[active]
        best, _ = nnls(root, solve_triangular(root, aim_for, trans="T"), maxiter=50 * active.size)
        move = np.zeros_like(eta)
        move[active] = best - eta[active]
        return self._walk(eta, value, move, float(gradient @ move))

    def _walk(
        self, eta: FloatArray, value: float, move: FloatArray, rise: float
    ) -> tuple[FloatArray, float]:
        """Go as far along a move as the likelihood rises enough; stay where it never does."""
        length = 1.0
        for _ in range(60):
            there = np.maximum(eta + length * move, 0.0)
            there_value = self.value(there)
            if there_value >= value + 1e-4 * length * rise - 1e-13 * abs(value):
                return there, there_value
            length *= 0.5
        return eta, value

    def restart(self, eta: FloatArray, gradient: FloatArray) -> tuple[FloatArray, float]:
        """Climb a little by expectation-maximisation from where the quadratic model is stuck.

        Each failure is at least one event of a Poisson process with mean eta in every gap it
        covers; the expected events, divided by the weight that runs through a gap, never lower
        the likelihood. Inviting gaps start from a small increment, for zero stays zero.
        """
        inviting = (gradient > 0.0) & (eta <= 0.0) & ~self.certain
        eta = np.where(inviting, SEED_SHARE * float(eta[~self.certain].sum()) / eta.size, eta)
        through = self.cost + _cover(self.lower, self.upper, self.weight, eta.size)
        through = np.where(self.certain | (through <= 0.0), np.inf, through)
        for _ in range(RESTART_ROUNDS):
            covered = np.clip(self._covered(np.where(self.certain, 0.0, eta)), 1e-12, 700.0)
            events = self.weight / -np.expm1(-covered)
            grown = eta * _cover(self.lower, self.upper, events, eta.size) / through
            eta = np.where(self.certain, eta, grown)
        return eta, self.value(eta)

    def _aim(
        self, eta: FloatArray, gradient: FloatArray, active: IntArray, bend: FloatArray
    ) -> FloatArray:
        """Return the quadratic model's best increments, gaps that turn negative dropped to 0."""
        aim = np.zeros(active.size)
        kept = np.ones(active.size, dtype=bool)
        while np.any(kept):
            drop = np.zeros_like(eta)
            drop[active[~kept]] = -eta[active[~kept]]
            pull = gradient[active] - self._bent(drop, bend)[active]
            solved = self._solve(active[kept], pull[kept], bend)
            aim[:] = 0.0
            aim[kept] = eta[active[kept]] + solved
            if np.all(aim[kept] >= 0.0):
                break
            kept &= aim > 0.0
        return np.maximum(aim, 0.0)

    def _bend(self, eta: FloatArray) -> FloatArray:
        """Return minus the second derivative of each failure's term."""
        odds = _odds(self._covered(np.where(self.certain, 0.0, eta)))
        return self.weight * odds * (1.0 + odds)

    def _bent(self, move: FloatArray, bend: FloatArray) -> FloatArray:
        """Return minus the second derivatives times a move, over all gaps."""
        return _cover(self.lower, self.upper, bend * self._covered(move), move.size)

    def _solve(self, active: IntArray, pull: FloatArray, bend: FloatArray) -> FloatArray:
        """Solve the quadratic model over these gaps."""
        low, high = np.searchsorted(active, self.lower), np.searchsorted(active, self.upper)
        width = max(int((high - low).max(initial=0)), 1)
        if width > WIDEST_BAND:
            return self._conjugate_gradient(active, pull, bend)
        bands = np.zeros((width, active.size))
        for off in range(width):
            reaches = high - low > off
            bands[off] = _cover(low[reaches], high[reaches] - off, bend[reaches], active.size)
        bands[0] += 1e-9 * bands[0] + max(1e-10 * float(bands[0].mean()), 1e-12)
        return np.asarray(solveh_banded(bands, pull, lower=True, check_finite=False))

    def _conjugate_gradient(
        self, active: IntArray, pull: FloatArray, bend: FloatArray
    ) -> FloatArray:
        """Solve the quadratic model over these gaps without forming its matrix."""
        full = np.zeros(self.cost.size)
        diagonal = _cover(self.lower, self.upper, bend, self.cost.size)[active]
        diagonal += 1e-10 * float(diagonal.mean())

        def product(move: FloatArray) -> FloatArray:
            full[active] = move
            return np.asarray(self._bent(full, bend)[active] + 1e-9 * diagonal * move)

        size = active.size
        matrix = LinearOperator((size, size), matvec=product, dtype=np.float64)
        scaled = LinearOperator((size, size), matvec=lambda v: v / diagonal, dtype=np.float64)
        solved, _ = cg(matrix, pull, rtol=1e-8, maxiter=500, M=scaled)
        return np.asarray(solved)

    def _covered(self, eta: FloatArray) -> FloatArray:
        """Return the sum of the increments each failure covers."""
        total = np.concatenate([[0.0], np.cumsum(eta)])
        return np.asarray(total[self.upper] - total[self.lower], dtype=np.float64)


def _odds(covered: FloatArray) -> FloatArray:
    """Return 1 / (e^x - 1), the derivative of log(1 - e^-x)."""
    return 1.0 / np.expm1(np.clip(covered, 1e-12, 700.0))


def _cover(low: IntArray, high: IntArray, weight: FloatArray, n: int) -> FloatArray:
    """Return, for each gap, the weight of the lives whose stretch low..high - 1 holds it."""
    change = np.bincount(low, weight, n + 1) - np.bincount(high, weight, n + 1)
    return np.asarray(np.cumsum(change)[:-1], dtype=np.float64)
