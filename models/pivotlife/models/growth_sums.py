"""What the likelihood needs of each life: sums over its readings, and nothing else.

Given a life's growth rate r the readings are normal, so a life enters through six weighted sums
per cell (n, Sy, Syy, Sx, Sxx, Sxy with x = age^p). With the starting play integrated out,

    log p(y | r) = constant + linear * r - quadratic * r^2 / 2,
    a | y, r  ~  N(base + tilt * r, variance).

Not here: the integral over r (growth_quadrature) and readings too small to be read
(growth_censored).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_readings import GrowthReadings, Integers

Floats = NDArray[np.float64]
_LOG_2PI = float(np.log(2.0 * np.pi))
# Below this the readings say nothing of the rate; keeps logarithms finite.
_NO_INFORMATION = 1e-12


@dataclass(frozen=True)
class CellSums:
    """Weighted sums of each cell, shape (n_cells,); x = (miles / scale)^p, xl = x log(miles/scale).

    `count` is the number of readings, `weight` the sum of their weights, `log_weight` the sum of
    the logs; the others are weighted sums of the named products.
    """

    count: Floats
    weight: Floats
    log_weight: Floats
    y: Floats
    yy: Floats
    x: Floats
    xx: Floats
    xy: Floats
    xl: Floats
    xlx: Floats
    xly: Floats


@dataclass(frozen=True)
class LifeTerms:
    """Coefficients of each life, shape (n_lives,), as in the module's formulas (mm units)."""

    constant: Floats
    linear: Floats
    quadratic: Floats
    base: Floats
    tilt: Floats
    variance: Floats


@dataclass(frozen=True)
class LifeMoments:
    """Posterior expectations of each life, shape (n_lives,): of a, r, a^2, a r and r^2."""

    a: Floats
    r: Floats
    aa: Floats
    ar: Floats
    rr: Floats


def cell_sums(data: GrowthReadings, law: GrowthLaw, *, slopes: bool = True) -> CellSums:
    """Add the readings up by cell; without `slopes` the sums needed for derivatives are zero."""
    n_cells = len(data.cell_life)
    log_age = data.log_miles - np.log(law.miles_scale)
    x = np.exp(law.exponent * log_age)
    plain = bool(np.all(data.weight == 1.0))

    def add(values: Floats) -> Floats:
        return np.asarray(np.bincount(data.cell, values, n_cells), dtype=float)

    w = data.weight
    y = data.play_mm if plain else w * data.play_mm
    wx = x if plain else w * x
    xl = wx * log_age
    nothing = np.zeros(n_cells)
    return CellSums(
        count=np.bincount(data.cell, minlength=n_cells).astype(float),
        weight=add(w),
        log_weight=nothing if plain else add(np.log(w)),
        y=add(y),
        yy=add(y * data.play_mm),
        x=add(wx),
        xx=add(wx * x),
        xy=add(wx * data.play_mm),
        xl=add(xl) if slopes else nothing,
        xlx=add(xl * x) if slopes else nothing,
        xly=add(xl * data.play_mm) if slopes else nothing,
    )


def error_variance(law: GrowthLaw, width_mm: Floats) -> Floats:
    """Gauge error and rounding together, mm^2: sigma_e^2 + width^2 / 12."""
    return law.sigma_e_mm**2 + width_mm**2 / 12.0


def load_factors(law: GrowthLaw, loaded: Floats) -> Floats:
    """Share of the play that shows: `load_factor` where loaded, else 1."""
    return np.where(loaded > 0, law.load_factor, 1.0)


def life_terms(data: GrowthReadings, sums: CellSums, law: GrowthLaw) -> LifeTerms:
    """Return the coefficients of each life under a law."""
    n_lives = data.n_lives
    variance = error_variance(law, data.cell_width_mm)
    load = load_factors(law, data.cell_loaded)
    shift = law.grease_offset_mm * data.cell_greased + load * law.alpha_mm

    def add(values: Floats) -> Floats:
        return np.asarray(np.bincount(data.cell_life, values, n_lives), dtype=float)

    s0 = add(load**2 * sums.weight / variance)
    s1 = add(load**2 * sums.x / variance)
    s2 = add(load**2 * sums.xx / variance)
    v1 = add(load * (sums.y - shift * sums.weight) / variance)
    vx = add(load * (sums.xy - shift * sums.x) / variance)
    vv = add((sums.yy - 2.0 * shift * sums.y + shift**2 * sums.weight) / variance)
    scale = add(sums.count * (_LOG_2PI + np.log(variance)) - sums.log_weight)
    start = law.sigma_a_mm**2
    k = start / (1.0 + start * s0)
    return LifeTerms(
        constant=-0.5 * (scale + np.log1p(start * s0) + vv - k * v1**2),
        linear=vx - k * v1 * s1,
        quadratic=np.maximum(s2 - k * s1**2, _NO_INFORMATION),
        base=law.alpha_mm + k * v1,
        tilt=-k * s1,
        variance=k,
    )


def take_terms(terms: LifeTerms, lives: Integers | slice) -> LifeTerms:
    """Return the coefficients of some lives."""
    return LifeTerms(
        terms.constant[lives],
        terms.linear[lives],
        terms.quadratic[lives],
        terms.base[lives],
        terms.tilt[lives],
        terms.variance[lives],
    )


def start_moments(terms: LifeTerms, r: Floats, rr: Floats) -> LifeMoments:
    """Fill in the moments of the starting play from those of r (a normal given r)."""
    return LifeMoments(
        a=terms.base + terms.tilt * r,
        r=r,
        aa=terms.variance + terms.base**2 + 2.0 * terms.base * terms.tilt * r + terms.tilt**2 * rr,
        ar=terms.base * r + terms.tilt * rr,
        rr=rr,
    )


def readings_gradient(
    data: GrowthReadings, sums: CellSums, law: GrowthLaw, moments: LifeMoments
) -> Floats:
    """Return the part of the gradient that comes from readings and starting play, shape (8,).

    Fisher's identity: the gradient of the log-likelihood is the posterior mean of the gradient of
    log p(readings, a, r). Order of `PARAMETERS`; the two entries of the density of r stay zero.
    """
    variance = error_variance(law, data.cell_width_mm)
    load = load_factors(law, data.cell_loaded)
    offset = law.grease_offset_mm * data.cell_greased
    a, r, aa, ar, rr = (
        m[data.cell_life] for m in (moments.a, moments.r, moments.aa, moments.ar, moments.rr)
    )
    y = sums.y - offset * sums.weight
    xy = sums.xy - offset * sums.x
    yy = sums.yy - 2.0 * offset * sums.y + offset**2 * sums.weight
    mean_by_y = a * y + r * xy
    mean_square = aa * sums.weight + 2.0 * ar * sums.x + rr * sums.xx
    residual = y - load * (a * sums.weight + r * sums.x)
    square = yy - 2.0 * load * mean_by_y + load**2 * mean_square
    steeper = r * (sums.xly - offset * sums.xl) - load * (ar * sums.xl + rr * sums.xlx)
    start = law.sigma_a_mm**2
    off_centre = moments.aa - 2.0 * law.alpha_mm * moments.a + law.alpha_mm**2
    gradient = np.zeros(8)
    gradient[0] = np.sum(moments.a - law.alpha_mm) / start
    gradient[1] = np.sum(off_centre) / start - data.n_lives
    gradient[2] = law.sigma_e_mm**2 * np.sum((square / variance - sums.count) / variance)
    gradient[3] = law.exponent * np.sum(load * steeper / variance)
    gradient[6] = np.sum(data.cell_loaded * (load * mean_by_y - load**2 * mean_square) / variance)
    gradient[7] = np.sum(data.cell_greased * residual / variance)
    return gradient
