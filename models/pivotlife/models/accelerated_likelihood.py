r"""Log-likelihood of lives whose Weibull scale and shape depend on covariates, with derivatives.

Life i has the law S(m) = exp(-(m / e^{s_i})^{e^{a_i}}) with s_i = x_i b (log scale) and a_i = w_i c
(log shape). Each row of ``w`` usually only names a group, so that every group has a shape of its
own. What a life adds, and its derivatives in (a_i, s_i), are those of `weibull_likelihood`; here
they are kept by row and carried to (c, b) by the chain rule, which is exact because a_i and s_i
are linear:

    gradient = (w' g_a, x' g_s),    second derivatives = (w' h_aa w, w' h_as x; ., x' h_ss x).

(Accelerated failure time: Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data,
2002, chapter 3, from memory.)

Not here: where the maximum lies (`accelerated_maximum`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.lives import CheckedLives
from pivotlife.models.weibull_likelihood import HIGHEST_LOG_HAZARD, LifeTerms, interval_terms


class Slopes(NamedTuple):
    """Log-likelihood with gradient (p,) and second derivatives (p, p); p = shapes + scales."""

    value: float
    gradient: FloatArray
    hessian: FloatArray


class RowTerms(NamedTuple):
    """What each life adds and its derivatives in (log shape, log scale), arrays (n_lives,)."""

    value: FloatArray
    a: FloatArray
    s: FloatArray
    aa: FloatArray
    as_: FloatArray
    ss: FloatArray


@dataclass(frozen=True, eq=False)
class AcceleratedLikelihood:
    """Lives and covariates, ready to be summed under any weights.

    Attributes
    ----------
    terms : LifeTerms
        Log ages of the lives.
    shape_design : ndarray, shape (n_lives, n_shapes)
        Rows w_i of the log shape.
    scale_design : ndarray, shape (n_lives, n_scales)
        Rows x_i of the log scale, miles.
    """

    terms: LifeTerms
    shape_design: FloatArray
    scale_design: FloatArray

    @classmethod
    def of(
        cls, lives: CheckedLives, shape_design: FloatArray, scale_design: FloatArray
    ) -> AcceleratedLikelihood:
        """Take the logs of checked lives once."""
        return cls(LifeTerms.of(lives), shape_design, scale_design)

    @property
    def n_shapes(self) -> int:
        """How many of the parameters, which stand first, belong to the log shape."""
        return int(self.shape_design.shape[1])

    @property
    def n_parameters(self) -> int:
        """Parameters of shape and scale together."""
        return self.n_shapes + int(self.scale_design.shape[1])

    def at(self, theta: FloatArray, weight: FloatArray) -> Slopes:
        """Evaluate at the parameters ``theta``, life i counting ``weight[i]`` times."""
        rows = self.rows(theta)
        if rows is None:
            p = self.n_parameters
            return Slopes(-np.inf, np.zeros(p), np.zeros((p, p)))
        w, x = self.shape_design, self.scale_design
        gradient = np.concatenate([(weight * rows.a) @ w, (weight * rows.s) @ x])
        cross = w.T @ (x * (weight * rows.as_)[:, None])
        hessian = np.block(
            [
                [w.T @ (w * (weight * rows.aa)[:, None]), cross],
                [cross.T, x.T @ (x * (weight * rows.ss)[:, None])],
            ]
        )
        return Slopes(float(weight @ rows.value), gradient, hessian)

    def value(self, theta: FloatArray, weight: FloatArray) -> float:
        """Evaluate the log-likelihood alone."""
        rows = self.rows(theta)
        return -np.inf if rows is None else float(weight @ rows.value)

    def scores(self, theta: FloatArray) -> FloatArray:
        """Return the derivatives of each life of weight 1, shape (n_lives, n_parameters)."""
        rows = self.rows(theta)
        if rows is None:
            return np.zeros((self.scale_design.shape[0], self.n_parameters))
        return np.hstack([self.shape_design * rows.a[:, None], self.scale_design * rows.s[:, None]])

    def rows(self, theta: FloatArray) -> RowTerms | None:
        """Return what each life adds; None where one could not be alive."""
        shape, s = self._laws(theta)
        terms, n = self.terms, shape.size
        at, of = terms.hazard_row, shape[terms.hazard_row]
        z = of * (terms.hazard_log_age - s[at])
        if z.max(initial=0.0) > HIGHEST_LOG_HAZARD:
            return None
        hazard = terms.hazard_sign * np.exp(z)
        first = hazard * z
        h0, h1, h2 = (_by_row(at, term, n) for term in (hazard, first, first * z))
        value, a, s_ = h0, h1, -shape * h0
        aa, as_, ss = h1 + h2, -shape * (h0 + h1), shape * shape * h0
        at, of = terms.exact_row, shape[terms.exact_row]
        z = of * (terms.exact_log_age - s[at])
        value[at] += np.log(of) + z - terms.exact_log_age
        a[at] += 1.0 + z
        s_[at] -= of
        aa[at] += z
        as_[at] -= of
        rows = RowTerms(value, a, s_, aa, as_, ss)
        self._add_intervals(rows, shape, s)
        return rows

    def _add_intervals(self, rows: RowTerms, shape: FloatArray, s: FloatArray) -> None:
        """Add log(1 - e^-D) of the lives that failed between two visits, in place."""
        at = self.terms.interval_row
        of = shape[at]
        value, big_d, q, ratio, z, k, d = interval_terms(
            self.terms.interval_log_upper, self.terms.interval_log_ratio, of, s[at]
        )
        bend = q + big_d
        rows.value[at] += value
        rows.a[at] += q * ratio
        rows.s[at] -= of * q
        rows.aa[at] += q * (z * z + z + k * (2.0 * z - d + 1.0) - bend * ratio * ratio)
        rows.as_[at] -= of * q * (1.0 + ratio - bend * ratio)
        rows.ss[at] += of * of * q * (1.0 - bend)

    def _laws(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return each life's shape and log scale."""
        k = self.n_shapes
        return np.exp(self.shape_design @ theta[:k]), self.scale_design @ theta[k:]


def _by_row(row: IntArray, terms: FloatArray, n: int) -> FloatArray:
    """Return the sum of the terms of each row, shape (n,)."""
    return np.asarray(np.bincount(row, terms, n), dtype=np.float64)
