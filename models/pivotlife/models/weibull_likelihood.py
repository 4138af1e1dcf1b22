r"""Log-likelihood of bushing lives under a Weibull law, with exact first and second derivatives.

The law: S(m) = exp(-H(m)), H(m) = (m / scale)^shape. With a = log shape, s = log scale,
x = log m and z = e^a (x - s): H = e^z, dz/da = z, dz/ds = -e^a. A life of weight w adds

- exact failure at m:       w [ a + z(m) - x - H(m) + H(entry) ]
- failure in (l, u]:        w [ log(exp(-H(l)) - exp(-H(u))) + H(entry) ]
- not failed by l:          w [ -H(l) + H(entry) ]

(Meeker & Escobar, Statistical Methods for Reliability Data, 1998, chapters 7 and 11, from memory.)

Three sums carry it all, so that a life costs one exponential or two:

1. every H stands alone with a signed weight (+ at entries, - at lower ages and exact failures);
2. the exact failures enter further only by their number and the sum of their log ages;
3. an interval adds log(1 - exp(-D)), D = H(u) - H(l) = H(u) (1 - exp(-d)), d = e^a log(u / l).
   Its derivatives are taken relative to D (A = D_a / D = z_u + k, k = d / (e^d - 1);
   q = D / (e^D - 1)), which stays exact for narrow gaps, for gaps over orders of magnitude and for
   ages where H underflows.

Only log ages appear: the unit of the ages shifts s and nothing else.

Not here: where the maximum lies (`weibull_maximum`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import NamedTuple

import numpy as np

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.lives import CheckedLives

#: Rows worked on at a time: temporary arrays stay in the cache, products on one thread.
BLOCK = 8_192
#: log H beyond which no life could be alive: the likelihood counts as zero there.
HIGHEST_LOG_HAZARD = 100.0
#: e^-750 is 0 in double precision: the lower end of a left-censored life lies this far away.
FAR = 750.0


class Point(NamedTuple):
    """Log-likelihood and its derivatives in (a, s) = (log shape, log scale) at one point."""

    value: float
    a: float
    s: float
    aa: float
    as_: float
    ss: float


#: What a point has where no life could be alive.
IMPOSSIBLE = Point(-np.inf, 0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Likelihood:
    """The three sums of one set of weighted lives.

    Attributes
    ----------
    hazard_log_age, hazard_weight : ndarray, shape (n_terms,)
        Log of the ages at which H is needed; weight with sign.
    exact_weight, exact_log_age : float
        Sum of the weights of exact failures; sum of weight x log age.
    interval_log_upper, interval_log_ratio, interval_weight : ndarray, shape (n_intervals,)
        log u, log(u / l) (`FAR` for l = 0), weight.
    total_weight : float
        Sum of all weights.
    """

    hazard_log_age: FloatArray
    hazard_weight: FloatArray
    exact_weight: float
    exact_log_age: float
    interval_log_upper: FloatArray
    interval_log_ratio: FloatArray
    interval_weight: FloatArray
    total_weight: float

    def at(self, a: float, s: float) -> Point:
        """Evaluate at log shape ``a`` and log scale ``s``."""
        shape = exp(a)
        h0, h1, h2 = self._hazard_sums(shape, s)
        if not np.isfinite(h0):
            return IMPOSSIBLE
        value, one, first, square, cross, second = self._interval_sums(shape, s)
        exact = self.exact_weight
        z = shape * (self.exact_log_age - exact * s)
        return Point(
            value=h0 + value + exact * a + z - self.exact_log_age,
            a=h1 + first + exact + z,
            s=-shape * (h0 + one + exact),
            aa=h1 + h2 + second + z,
            as_=-shape * (h0 + h1 + cross + exact),
            ss=shape * shape * (h0 + square),
        )

    def _hazard_sums(self, shape: float, s: float) -> tuple[float, float, float]:
        """Return the sums of c H, c H z and c H z^2; not finite where a life is impossible."""
        sums = [0.0, 0.0, 0.0]
        for start in range(0, self.hazard_log_age.size, BLOCK):
            z = self.hazard_log_age[start : start + BLOCK] - s
            z *= shape
            if z.max() > HIGHEST_LOG_HAZARD:
                return np.inf, 0.0, 0.0
            term = np.exp(z)
            term *= self.hazard_weight[start : start + BLOCK]
            sums[0] += float(term.sum())
            term *= z
            sums[1] += float(term.sum())
            sums[2] += float(term @ z)
        return sums[0], sums[1], sums[2]

    def _interval_sums(self, shape: float, s: float) -> tuple[float, ...]:
        """Return the sums over intervals of the value and its five derivatives."""
        total = np.zeros(6)
        for start in range(0, self.interval_weight.size, BLOCK):
            block = slice(start, start + BLOCK)
            weight = self.interval_weight[block]
            value, big_d, q, ratio, z, k, d = interval_terms(
                self.interval_log_upper[block], self.interval_log_ratio[block], shape, s
            )
            q_weight = q * weight
            total[0] += float(value @ weight)
            total[1] += float(q_weight.sum())
            total[2] += float(q_weight @ ratio)
            q += big_d
            total[3] += float(q_weight @ (1.0 - q))
            q *= ratio
            total[4] += float(q_weight @ (1.0 + ratio - q))
            q *= ratio
            total[5] += float(q_weight @ (z * z + z + k * (2.0 * z - d + 1.0) - q))
        return tuple(total.tolist())


def interval_terms(
    log_upper: FloatArray,
    log_ratio: FloatArray,
    shape: float | FloatArray,
    s: float | FloatArray,
) -> tuple[FloatArray, ...]:
    """Return log(1 - e^-D), D, q = D / (e^D - 1), D_a / D, z_u, k and d of each interval.

    Shape and log scale are one for all intervals or one for each.
    """
    z = log_upper - s
    z *= shape
    d = log_ratio * shape
    np.minimum(d, FAR, out=d)
    gap = -np.expm1(-d)
    k = d * (1.0 - gap) / gap
    big_d = np.exp(np.minimum(z, HIGHEST_LOG_HAZARD)) * gap
    np.maximum(big_d, 1e-300, out=big_d)
    failed = -np.expm1(-big_d)
    value = np.log(failed)
    if big_d.min(initial=1.0) <= 1e-290:
        value = np.where(big_d <= 1e-290, z + np.log(gap), value)
    q = big_d * ((1.0 - failed) / failed)
    return value, big_d, q, z + k, z, k, d


@dataclass(frozen=True, eq=False)
class LifeTerms:
    """Log ages of lives, ready to be summed under any weights (as a bootstrap needs).

    Attributes
    ----------
    hazard_log_age, hazard_sign, hazard_row : ndarray, shape (n_terms,)
        Log age of a hazard term, +1 for entries and -1 otherwise, the row of its life.
    exact_log_age, exact_row : ndarray, shape (n_exact,)
    interval_log_upper, interval_log_ratio, interval_row : ndarray, shape (n_intervals,)
    """

    hazard_log_age: FloatArray
    hazard_sign: FloatArray
    hazard_row: IntArray
    exact_log_age: FloatArray
    exact_row: IntArray
    interval_log_upper: FloatArray
    interval_log_ratio: FloatArray
    interval_row: IntArray

    @classmethod
    def of(cls, lives: CheckedLives) -> LifeTerms:
        """Take the logs of checked lives once."""
        late = np.flatnonzero(lives.entry > 0.0)
        alive = np.flatnonzero(lives.lower > 0.0)
        exact = np.flatnonzero(lives.is_exact)
        interval = np.flatnonzero(lives.is_failure & ~lives.is_exact)
        log_upper = np.log(lives.upper[interval])
        lower = lives.lower[interval]
        log_lower = np.log(lower, out=np.full(lower.size, -np.inf), where=lower > 0.0)
        return cls(
            np.log(np.concatenate([lives.entry[late], lives.lower[alive]])),
            np.concatenate([np.ones(late.size), -np.ones(alive.size)]),
            np.concatenate([late, alive]),
            np.log(lives.lower[exact]),
            exact,
            log_upper,
            # Shapes stay above 1e-3, so a ratio of FAR x 1e3 acts as infinity does.
            np.minimum(log_upper - log_lower, FAR * 1e3),
            interval,
        )

    def weighted(self, weight: FloatArray) -> Likelihood:
        """Return the likelihood when life i counts ``weight[i]`` times."""
        exact_weight = weight[self.exact_row]
        return Likelihood(
            self.hazard_log_age,
            self.hazard_sign * weight[self.hazard_row],
            float(exact_weight.sum()),
            float(exact_weight @ self.exact_log_age),
            self.interval_log_upper,
            self.interval_log_ratio,
            weight[self.interval_row],
            float(weight.sum()),
        )

    def scores(self, a: float, s: float, n_lives: int) -> FloatArray:
        """Return the derivatives in (a, s) of each life of weight 1, shape (n_lives, 2)."""
        shape = exp(a)
        result = np.zeros((n_lives, 2))
        z = shape * (self.hazard_log_age - s)
        hazard = self.hazard_sign * np.exp(z)
        np.add.at(result, self.hazard_row, np.column_stack([hazard * z, -shape * hazard]))
        z = shape * (self.exact_log_age - s)
        result[self.exact_row] += np.column_stack([1.0 + z, np.full(z.size, -shape)])
        terms = interval_terms(self.interval_log_upper, self.interval_log_ratio, shape, s)
        q, ratio = terms[2], terms[3]
        result[self.interval_row] += np.column_stack([q * ratio, -shape * q])
        return result
