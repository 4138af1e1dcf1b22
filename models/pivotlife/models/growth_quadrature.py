"""Integrals over one bushing's growth rate, each around that bushing's own mode.

The integrand is ``exp(linear r - quadratic r^2 / 2) f(log r)``. Where readings decide it is normal
in r, where they say little it is normal in the score of log r. So it is integrated over z with

    log softplus(z) = stretch * score + shift,

which runs like r above and like log r below: in z the integrand is near normal everywhere, and
Gauss-Hermite nodes put at its mode and scaled by its curvature need 7-11 points. Bushings of a
Weibull law about which the readings say little have a lopsided posterior and get more, equally
spaced points. Adaptive quadrature after Q. Liu and D. A. Pierce, "A note on Gauss-Hermite
quadrature", Biometrika 81 (1994) 624-629 (cited from memory); the map to z is our own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, log_expit

from pivotlife.models.growth_law import Density, GrowthLaw, rise_of, rise_only, score_of
from pivotlife.models.growth_readings import Integers
from pivotlife.models.growth_sums import LifeTerms

Floats = NDArray[np.float64]
_HALF_LOG_2PI = 0.5 * float(np.log(2.0 * np.pi))
_LINEAR_ABOVE = 30.0  # softplus(z) = z to machine precision
_MODE_STEPS = 40
_SMALL_STEP = 1e-6
_Z_STEPS = 2
# Relative information (signal over prior spread) under which a Weibull posterior is lopsided.
LITTLE_INFORMATION = 6.0
WIDE_NODES, WIDE_REACH = 45, 6.6
# Share of a peak's first width that its second width is at least.
_NARROWEST = 0.05


@dataclass(frozen=True)
class Rule:
    """Nodes t and log weights so that the integral of f is the sum of exp(log_weight) f(t)."""

    nodes: Floats
    log_weights: Floats


@lru_cache(maxsize=16)
def gauss_hermite(n_nodes: int) -> Rule:
    """Gauss-Hermite rule for functions near exp(-t^2 / 2)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(n_nodes)
    return Rule(nodes, np.log(weights) + 0.5 * nodes**2)


@lru_cache(maxsize=16)
def equal_steps(n_nodes: int, reach: float) -> Rule:
    """Trapezoidal rule from -reach to reach; exponentially accurate for smooth peaks within."""
    nodes = np.linspace(-reach, reach, n_nodes)
    return Rule(nodes, np.full(n_nodes, np.log(nodes[1] - nodes[0])))


@dataclass(frozen=True)
class RateMap:
    """How z turns into the rate of each life; all arrays shape (n_lives,)."""

    density: Density
    log_centre: float
    spread: float
    stretch: Floats
    shift: Floats
    centre: Floats
    width: Floats
    information: Floats

    def take(self, lives: Integers) -> RateMap:
        """Return the map of some lives."""
        names = ("stretch", "shift", "centre", "width", "information")
        return replace(self, **{name: getattr(self, name)[lives] for name in names})

    def score(self, z: Floats) -> tuple[Floats, Floats]:
        """Return the normal score and log |d score / d z| at z, shape (n_lives, k)."""
        soft = np.logaddexp(0.0, z)
        stretch = self.stretch[:, None]
        score = (np.log(soft) - self.shift[:, None]) / stretch
        return score, log_expit(z) - np.log(soft * stretch)

    def rate(self, score: Floats) -> tuple[Floats, Floats]:
        """Return r and the standardised log r at a score, any shape."""
        rise = rise_only(score, self.density)
        return np.exp(self.log_centre + self.spread * rise), rise

    def z_of_log_rate(self, log_rate: Floats) -> Floats:
        """Return z at which log r has this value, shape (n_lives, k)."""
        score = score_of((log_rate - self.log_centre) / self.spread, self.density)
        return _inverse_softplus(self.stretch[:, None] * score + self.shift[:, None])


@dataclass(frozen=True)
class ZSlopes:
    """First two derivatives of the log integrand over z, with r and d log r / d z there."""

    gradient: Floats
    curvature: Floats
    rate: Floats
    log_rate_slope: Floats


@dataclass(frozen=True)
class RateNodes:
    """Posterior of r on nodes: `z`, `rate`, `rise`, `weight` (n_lives, k), and log integral."""

    z: Floats
    rate: Floats
    rise: Floats
    weight: Floats
    log_integral: Floats

    def take(self, lives: Integers) -> RateNodes:
        """Return the nodes of some lives."""
        return RateNodes(
            self.z[lives],
            self.rate[lives],
            self.rise[lives],
            self.weight[lives],
            self.log_integral[lives],
        )


def rate_map(terms: LifeTerms, law: GrowthLaw) -> RateMap:
    """Find each life's mode and curvature and set up its map."""
    score = _score_mode(terms, law)
    rise, slope, _ = rise_of(score, law.density)
    rate = np.exp(law.log_rate_centre + law.log_rate_spread * rise)
    stretch = law.log_rate_spread * slope
    information = stretch * np.sqrt(terms.quadratic) * rate
    shift = np.log(information) - stretch * score
    rates = RateMap(
        density=law.density,
        log_centre=law.log_rate_centre,
        spread=law.log_rate_spread,
        stretch=stretch,
        shift=shift,
        centre=_inverse_softplus(np.log(information)),
        width=np.ones_like(score),
        information=information,
    )
    z = rates.centre
    for _ in range(_Z_STEPS):
        slopes = z_slopes(terms, rates, z)
        z = z + np.clip(slopes.gradient / slopes.curvature, -1.5, 1.5)
    return replace(rates, centre=z, width=1.0 / np.sqrt(z_slopes(terms, rates, z).curvature))


def is_lopsided(rates: RateMap) -> NDArray[np.bool_]:
    """Lives that need the wide rule: Weibull law and little information."""
    if rates.density == "normal":
        return np.zeros(len(rates.centre), dtype=bool)
    return rates.information < LITTLE_INFORMATION


def nodes_on(terms: LifeTerms, rates: RateMap, rule: Rule) -> RateNodes:
    """Lay a rule over each life's peak (centre and width of the map)."""
    z = rates.centre[:, None] + rates.width[:, None] * rule.nodes
    score, log_jacobian = rates.score(z)
    rate, rise = rates.rate(score)
    log_value = (
        (terms.linear[:, None] - 0.5 * terms.quadratic[:, None] * rate) * rate
        - 0.5 * score * score
        + log_jacobian
        + rule.log_weights
        + (np.log(rates.width) - _HALF_LOG_2PI)[:, None]
    )
    top = log_value.max(axis=1, keepdims=True)
    weight = np.exp(log_value - top)
    total = weight.sum(axis=1, keepdims=True)
    weight /= total
    return RateNodes(z, rate, rise, weight, (top + np.log(total))[:, 0])


def recentre(rates: RateMap, nodes: RateNodes) -> RateMap:
    """Move the peak of the map to the mean and standard deviation found on nodes."""
    mean = (nodes.weight * nodes.z).sum(axis=1)
    spread = np.sqrt((nodes.weight * (nodes.z - mean[:, None]) ** 2).sum(axis=1))
    # A peak between two nodes shows no spread on them; the rule must still have a width.
    return replace(rates, centre=mean, width=np.maximum(spread, _NARROWEST * rates.width))


def wide_nodes(terms: LifeTerms, rates: RateMap, first: RateNodes) -> RateNodes:
    """Return the wide rule's nodes for lopsided lives, centred by a first pass."""
    return nodes_on(terms, recentre(rates, first), equal_steps(WIDE_NODES, WIDE_REACH))


def _score_mode(terms: LifeTerms, law: GrowthLaw) -> Floats:
    """Mode over the score, by guarded Newton steps from the best of three starts."""
    lowest = law.log_rate_centre - 30.0 * law.log_rate_spread
    estimate = np.maximum(terms.linear / terms.quadratic, 1e-300)
    log_estimate = np.maximum(np.log(estimate), lowest)
    rise = (log_estimate - law.log_rate_centre) / law.log_rate_spread
    likely = np.clip(score_of(rise, law.density), -8.0, 8.0)
    starts = np.stack([likely, 0.8 * likely, 0.0 * likely])
    heights = np.exp(law.log_rate_centre + law.log_rate_spread * rise_only(starts, law.density))
    value = (terms.linear - 0.5 * terms.quadratic * heights) * heights - 0.5 * starts**2
    score: Floats = np.take_along_axis(starts, value.argmax(axis=0)[None], axis=0)[0]
    active = np.arange(len(score))
    for _ in range(_MODE_STEPS):
        here = score[active]
        lin, quad = terms.linear[active], terms.quadratic[active]
        rise, slope, bend = rise_of(here, law.density)
        rate = np.exp(law.log_rate_centre + law.log_rate_spread * rise)
        down, stretch = quad * rate * rate, law.log_rate_spread * slope
        pull = lin * rate - down
        expected = down * stretch**2 + 1.0
        curvature = (down - pull) * stretch**2 - pull * law.log_rate_spread * bend + 1.0
        safe = np.where(curvature > 0.3 * expected, curvature, expected)
        step = np.clip((pull * stretch - here) / safe, -1.0, 1.0)
        score[active] = here + step
        active = active[np.abs(step) > _SMALL_STEP]
        if not len(active):
            break
    return score


def z_slopes(terms: LifeTerms, rates: RateMap, z: Floats) -> ZSlopes:
    """Return gradient and guarded curvature of the log integrand over z, shape (n_lives,)."""
    up, soft = expit(z), np.logaddexp(0.0, z)
    score = (np.log(soft) - rates.shift) / rates.stretch
    rise, slope, bend = rise_of(score, rates.density)
    rate = np.exp(rates.log_centre + rates.spread * rise)
    down, stretch = terms.quadratic * rate * rate, rates.spread * slope
    pull = terms.linear * rate - down
    first = pull * stretch - score
    second = (pull - down) * stretch**2 + pull * rates.spread * bend - 1.0
    ratio = up / soft
    turn = (1.0 - up) - ratio
    lean = ratio / rates.stretch
    curvature = up * (1.0 - up) + ratio * turn - (second * lean + first * turn) * lean
    expected = (down * stretch**2 + 1.0) * lean**2
    return ZSlopes(
        gradient=first * lean + turn,
        curvature=np.where(curvature > 0.3 * expected, curvature, expected),
        rate=rate,
        log_rate_slope=stretch * lean,
    )


def _inverse_softplus(log_soft: Floats) -> Floats:
    """Return z with softplus(z) = exp(log_soft)."""
    soft = np.exp(np.clip(log_soft, -600.0, 300.0))
    small = np.log(-np.expm1(-np.minimum(soft, _LINEAR_ABOVE)))
    # log(e^s - 1) = s + log(1 - e^-s); for tiny s the second term alone is log s.
    return np.asarray(soft + np.where(soft < 1e-10, np.minimum(log_soft, 0.0), small))
