"""Marginal log-likelihood of a growth law and its gradient.

Each life contributes log of the integral over its own growth rate (and starting play); the
gradient is the posterior mean of the complete-data gradient (R. A. Fisher's identity), so it costs
no further integrals.
Not here: the search for the maximum (growth_fit).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pivotlife.models.growth_censored import (
    JointNodes,
    joint_nodes,
    joint_rules,
    low_gradient,
    low_groups,
)
from pivotlife.models.growth_law import GrowthLaw, law_scores
from pivotlife.models.growth_quadrature import (
    RateNodes,
    gauss_hermite,
    is_lopsided,
    nodes_on,
    rate_map,
    wide_nodes,
)
from pivotlife.models.growth_readings import GrowthReadings, Integers
from pivotlife.models.growth_sums import (
    LifeMoments,
    LifeTerms,
    cell_sums,
    life_terms,
    readings_gradient,
    start_moments,
    take_terms,
)

Floats = NDArray[np.float64]
NODES = 11
_LIVES_AT_ONCE = 4_096


@dataclass(frozen=True)
class Likelihood:
    """Log-likelihood of each life, shape (n_lives,), and gradient of their sum, shape (8,)."""

    by_life: Floats
    gradient: Floats

    @property
    def total(self) -> float:
        """Log-likelihood of all lives."""
        return float(self.by_life.sum())


@dataclass
class _Tally:
    """What the integrals leave behind for each life; filled group by group."""

    log_integral: Floats
    a: Floats
    r: Floats
    aa: Floats
    ar: Floats
    rr: Floats
    law_gradient: Floats = field(default_factory=lambda: np.zeros(8))

    def put(self, lives: Integers, log_integral: Floats, moments: LifeMoments) -> None:
        self.log_integral[lives] = log_integral
        self.a[lives], self.r[lives] = moments.a, moments.r
        self.aa[lives], self.ar[lives], self.rr[lives] = moments.aa, moments.ar, moments.rr


def log_likelihood(
    law: GrowthLaw, data: GrowthReadings, n_nodes: int = NODES, *, fine: bool = True
) -> Likelihood:
    """Return the marginal log-likelihood of readings under a law, with its gradient.

    Parameters
    ----------
    law : GrowthLaw
    data : GrowthReadings
    n_nodes : int
        Gauss-Hermite nodes of each life, 7 to 11.
    fine : bool
        Give lopsided lives their many nodes; without, a rough search is faster.

    Returns
    -------
    Likelihood
        Densities are per mm of reading; the gradient is by `growth_law.PARAMETERS`.
    """
    sums = cell_sums(data, law)
    terms = life_terms(data, sums, law)
    blank = np.zeros((6, data.n_lives))
    tally = _Tally(*blank)
    has_low = np.bincount(data.censored_life, minlength=data.n_lives) > 0
    plain = np.flatnonzero(~has_low)
    for begin in range(0, len(plain), _LIVES_AT_ONCE):
        _measured(law, terms, plain[begin : begin + _LIVES_AT_ONCE], n_nodes, fine, tally)
    if has_low.any():
        _too_small(law, data, terms, fine, tally)
    moments = LifeMoments(tally.a, tally.r, tally.aa, tally.ar, tally.rr)
    gradient = tally.law_gradient + readings_gradient(data, sums, law, moments)
    return Likelihood(terms.constant + tally.log_integral, gradient)


def _measured(
    law: GrowthLaw, terms: LifeTerms, lives: Integers, n_nodes: int, fine: bool, tally: _Tally
) -> None:
    """Integrate lives whose readings are all measured values."""
    own = take_terms(terms, lives)
    rates = rate_map(own, law)
    nodes = nodes_on(own, rates, gauss_hermite(n_nodes))
    odd = is_lopsided(rates)
    if not (fine and odd.any()):
        _put_nodes(law, own, lives, nodes, tally)
        return
    even_at, odd_at = np.flatnonzero(~odd), np.flatnonzero(odd)
    _put_nodes(law, take_terms(own, even_at), lives[even_at], nodes.take(even_at), tally)
    own_odd = take_terms(own, odd_at)
    wide = wide_nodes(own_odd, rates.take(odd_at), nodes.take(odd_at))
    _put_nodes(law, own_odd, lives[odd_at], wide, tally)


def _put_nodes(
    law: GrowthLaw, own: LifeTerms, lives: Integers, nodes: RateNodes, tally: _Tally
) -> None:
    weighted = nodes.weight * nodes.rate
    r, rr = weighted.sum(axis=1), (weighted * nodes.rate).sum(axis=1)
    tally.put(lives, nodes.log_integral, start_moments(own, r, rr))
    tally.law_gradient += _law_part(law, nodes.weight, nodes.rise)


def _law_part(law: GrowthLaw, weight: Floats, rise: Floats) -> Floats:
    centre, log_spread = law_scores(rise, law.density, law.log_rate_spread)
    part = np.zeros(8)
    part[4], part[5] = np.sum(weight * centre), np.sum(weight * log_spread)
    return part


def _too_small(
    law: GrowthLaw, data: GrowthReadings, terms: LifeTerms, fine: bool, tally: _Tally
) -> None:
    """Integrate lives with readings too small to be read."""
    along, across = joint_rules(law, fine=fine)
    for low in low_groups(data, law, terms):
        own = take_terms(terms, low.lives)
        nodes = joint_nodes(own, rate_map(own, law), low, along, across)
        tally.put(low.lives, nodes.log_integral, _joint_moments(own, nodes))
        tally.law_gradient += low_gradient(own, low, nodes, law)
        tally.law_gradient += _law_part(law, nodes.weight.sum(axis=2), nodes.rise)


def _joint_moments(own: LifeTerms, nodes: JointNodes) -> LifeMoments:
    spread = np.sqrt(own.variance)[:, None]
    given = own.base[:, None] + own.tilt[:, None] * nodes.rate
    share = nodes.weight.sum(axis=2)
    first = (nodes.weight * nodes.start).sum(axis=2)
    second = (nodes.weight * nodes.start**2).sum(axis=2)
    a = given * share + spread * first
    aa = given**2 * share + 2.0 * given * spread * first + spread**2 * second
    return LifeMoments(
        a=a.sum(axis=1),
        r=(share * nodes.rate).sum(axis=1),
        aa=aa.sum(axis=1),
        ar=(a * nodes.rate).sum(axis=1),
        rr=(share * nodes.rate**2).sum(axis=1),
    )
