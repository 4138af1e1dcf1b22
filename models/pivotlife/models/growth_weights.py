"""Weights of wild readings, fixed before the integrals.

A reading is held against what the bushing's other readings and its type say of it. Up to 3
standard deviations off it counts in full; from 5 on it has the weight of a Student error of 4
degrees of freedom, (4 + 1) / (4 + z^2), with a smooth passage between, so that the ordinary
readings, and with them the gauge error, stay as they are. Zeros have a share of their own that
nobody measured (growth_zeros) and are not weighed here.
Student weights after K. L. Lange, R. J. A. Little and J. M. G. Taylor, "Robust statistical
modeling using the t distribution", JASA 84 (1989) 881-896 (cited from memory); the passage from 3
to 5 is our own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_quadrature import rate_map
from pivotlife.models.growth_readings import (
    GrowthReadings,
    Integers,
    select_lives,
)
from pivotlife.models.growth_sums import (
    cell_sums,
    error_variance,
    life_terms,
    load_factors,
)

Floats = NDArray[np.float64]
FULL_UNTIL, STUDENT_FROM = 3.0, 5.0
DEGREES_OF_FREEDOM = 4.0
_ROUNDS = 6


@dataclass(frozen=True)
class _Rough:
    """Normal approximation of each life's posterior at its mode, arrays (n_lives,)."""

    a: Floats
    r: Floats
    variance_a: Floats
    tilt: Floats
    variance_r: Floats


def student_weight(deviation: Floats) -> Floats:
    """Return the weight of a reading this many standard deviations off, any shape."""
    size = np.abs(deviation)
    part = np.clip((size - FULL_UNTIL) / (STUDENT_FROM - FULL_UNTIL), 0.0, 1.0)
    part = part * part * (3.0 - 2.0 * part)
    student = (DEGREES_OF_FREEDOM + 1.0) / (DEGREES_OF_FREEDOM + size * size)
    return 1.0 - part * (1.0 - student)


def weigh_readings(data: GrowthReadings, law: GrowthLaw) -> GrowthReadings:
    """Return the readings with weights under a law.

    Parameters
    ----------
    data : GrowthReadings
        Weights it carries are forgotten.
    law : GrowthLaw

    Returns
    -------
    GrowthReadings
    """
    plain = replace(data, weight=np.ones(len(data.play_mm)))
    rough = _rough(plain, law)
    deviation = reading_deviations(plain, law, rough)
    doubted = np.unique(plain.life[np.abs(deviation) > FULL_UNTIL])
    weight = plain.weight
    if len(doubted):
        weight = weight.copy()
        weight[_of_lives(plain, doubted)] = _settle(select_lives(plain, doubted), law)
        plain = replace(plain, weight=weight)
    return plain


def reading_deviations(data: GrowthReadings, law: GrowthLaw, rough: _Rough | None = None) -> Floats:
    """How many standard deviations each reading lies off what the life's others say of it."""
    off, sd = left_out_residuals(data, law, rough)
    return np.asarray(off / sd)


def left_out_residuals(
    data: GrowthReadings, law: GrowthLaw, rough: _Rough | None = None
) -> tuple[Floats, Floats]:
    """How far each measured reading lies off what the life's others say of it, and its deviation.

    Returns
    -------
    ndarray, ndarray, shape (n_measured,), mm
        Reading less prediction, and the standard deviation of that difference. The prediction
        leaves the reading itself out (closed form for the normal approximation).
    """
    about = rough or _rough(data, law)
    variance = error_variance(law, data.cell_width_mm)[data.cell]
    load = load_factors(law, data.cell_loaded)[data.cell]
    greased = data.cell_greased[data.cell]
    expected, spread = _expected(law, about, data.life, data.log_miles, load, greased)
    leverage = np.minimum(spread * data.weight / variance, 1.0 - 1e-9)
    alone = 1.0 / (1.0 - leverage)
    return (data.play_mm - expected) * alone, np.sqrt(variance + spread * alone)


def expected_play(
    data: GrowthReadings, law: GrowthLaw, life: Integers, log_miles: Floats
) -> tuple[Floats, Floats]:
    """Return the play to expect at some ages, without load or grease, and its variance.

    Parameters
    ----------
    data : GrowthReadings
        What is known of the lives.
    law : GrowthLaw
    life : ndarray of int, shape (n,)
    log_miles : ndarray, shape (n,), log miles of age

    Returns
    -------
    ndarray, ndarray, shape (n,), mm and mm^2
    """
    bare = np.zeros(len(life))
    return _expected(law, _rough(data, law), life, log_miles, np.ones(len(life)), bare)


def _settle(data: GrowthReadings, law: GrowthLaw) -> Floats:
    """Weights of the readings of lives that hold a wild one, by repeated reweighting."""
    for _ in range(_ROUNDS):
        weight = student_weight(reading_deviations(data, law))
        data = replace(data, weight=weight)
    return data.weight


def _of_lives(data: GrowthReadings, lives: Integers) -> NDArray[np.bool_]:
    chosen = np.zeros(data.n_lives, dtype=bool)
    chosen[lives] = True
    return chosen[data.life]


def _rough(data: GrowthReadings, law: GrowthLaw) -> _Rough:
    terms = life_terms(data, cell_sums(data, law, slopes=False), law)
    rates = rate_map(terms, law)
    # At the mode over the score; prior and readings each add their expected information on r.
    r = rates.information / (rates.stretch * np.sqrt(terms.quadratic))
    variance_r = (rates.stretch * r) ** 2 / (1.0 + rates.information**2)
    return _Rough(terms.base + terms.tilt * r, r, terms.variance, terms.tilt, variance_r)


def _expected(
    law: GrowthLaw,
    rough: _Rough,
    life: Integers,
    log_miles: Floats,
    load: Floats,
    greased: Floats,
) -> tuple[Floats, Floats]:
    """Return the expected reading and posterior variance of what it shows, mm and mm^2."""
    x = np.exp(law.exponent * (log_miles - np.log(law.miles_scale)))
    play = rough.a[life] + rough.r[life] * x
    spread = rough.variance_a[life] + (rough.tilt[life] + x) ** 2 * rough.variance_r[life]
    return load * play + law.grease_offset_mm * greased, load**2 * spread
