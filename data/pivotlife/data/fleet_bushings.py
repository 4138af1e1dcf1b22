"""How long an invented bushing lasts and how its free play grows. All numbers are invented.

The age T at which a bushing is worn out follows a Weibull law by type and duty. Salt and a worn
bore shorten it, a truck's own nature (frailty) stretches or shortens all its bushings alike, and
each missed lube service raises the hazard of a greasable type. Free play at age m is

    g0 + (limit - g0) (m / T)^p

so that it reaches the limit at T: a random-effects path model in the manner of Lu and Meeker,
"Using degradation measures to estimate a time-to-failure distribution", Technometrics 35 (1993),
cited from memory. Some rubber lets go at once instead, a seized pin reads near zero, and a few
bushings break on the road before T.

Not here: who measures, who replaces and what gets written down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class BushingDraws:
    """Uniform random numbers that settle the fate of new bushings; arrays of one shape.

    Attributes
    ----------
    life : ndarray of float
        Settles T; a number near 0 gives a long life.
    badly_fitted, peculiar, breaks, break_place, extruded : ndarray of float
        Settle a bad roller installation; seizure (threaded) or sudden failure (rubber); a break
        on the road; how far through T it happens; and whether rubber extrudes or splits.
    """

    life: FloatArray
    badly_fitted: FloatArray
    peculiar: FloatArray
    breaks: FloatArray
    break_place: FloatArray
    extruded: FloatArray


@dataclass(frozen=True)
class Bushings:
    """What fate holds for bushings; arrays of one shape, changed in place as they are renewed.

    Attributes
    ----------
    kind : ndarray of int
        Place in `scenario.BUSHING_TYPES`.
    wear_age : ndarray of float, miles
        T, the age at which play reaches the limit, rubber splits or a seized pin is found out.
    break_age : ndarray of float, miles
        Age at which it breaks on the road; infinite for nearly all.
    seized, sudden, bad_install, extruded : ndarray of bool
        Peculiarities of the bushing.
    """

    kind: IntArray
    wear_age: FloatArray
    break_age: FloatArray
    seized: BoolArray
    sudden: BoolArray
    bad_install: BoolArray
    extruded: BoolArray


def life_scale(
    kind: IntArray, duty: IntArray, salt: BoolArray, care: FloatArray, frailty: FloatArray
) -> FloatArray:
    """Scale of T for bushings as fitted on given trucks.

    Parameters
    ----------
    kind, duty : ndarray of int
        Bushing type and duty.
    salt : ndarray of bool
        Road salt at the truck's depot.
    care : ndarray of float, 0 to 1
        Share of due lube services that the truck gets. A missed one raises the hazard: the
        hazard is multiplied by exp(k (1 - care)), the scale therefore by exp(-k (1 - care)/shape).
    frailty : ndarray of float
        The truck's own factor on all its lives.

    Returns
    -------
    ndarray of float, miles
        Age by which 63.2 % of such bushings are worn out.
    """
    salted = np.where(salt, sc.SALT_FACTOR[kind], 1.0)
    greased = np.exp(-sc.LUBE_HAZARD[kind] * (1.0 - care) / sc.LIFE_SHAPE[kind])
    return np.asarray(sc.LIFE_SCALE[kind, duty] * salted * greased * frailty, dtype=float)


def new_bushings(kind: IntArray, scale: FloatArray, draws: BushingDraws) -> Bushings:
    """Settle the fate of bushings that are fitted now.

    Parameters
    ----------
    kind : ndarray of int
        Bushing types.
    scale : ndarray of float, miles
        From `life_scale`, with a worn bore's factor where there is one.
    draws : BushingDraws
        Uniform random numbers of the same shape.

    Returns
    -------
    Bushings
    """
    bad = (kind == sc.ROLLER) & (draws.badly_fitted < sc.BAD_INSTALL_SHARE)
    shape = np.where(bad, sc.BAD_INSTALL_SHAPE, sc.LIFE_SHAPE[kind])
    wear_age = np.where(bad, sc.BAD_INSTALL_SCALE, scale) * (-np.log(draws.life)) ** (1.0 / shape)
    wear_age = np.maximum(wear_age, 1.0)
    place = sc.BREAKS_FROM + (1.0 - sc.BREAKS_FROM) * draws.break_place
    return Bushings(
        kind=kind,
        wear_age=wear_age,
        break_age=np.where(draws.breaks < sc.BROKEN_SHARE, wear_age * place, np.inf),
        seized=(kind == sc.THREADED) & (draws.peculiar < sc.SEIZED_SHARE),
        sudden=(kind == sc.RUBBER) & (draws.peculiar < sc.SUDDEN_RUBBER_SHARE),
        bad_install=bad,
        extruded=draws.extruded < sc.EXTRUDED_SHARE,
    )


def free_play_mm(bushings: Bushings, age: FloatArray) -> FloatArray:
    """Work out the true free play at an age.

    Parameters
    ----------
    bushings : Bushings
        The bushings.
    age : ndarray of float, miles
        Miles since fitting, of the bushings' shape.

    Returns
    -------
    ndarray of float, millimetres
        Play grows to the limit at T and on to at most `scenario.LARGEST_PLAY_MM`. Sudden rubber
        stays tight until T; a seized pin hardly moves at all.
    """
    start = sc.START_PLAY_MM[bushings.kind]
    used = np.maximum(age, 0.0) / bushings.wear_age
    path = start + (sc.LIMIT_MM - start) * used ** sc.PLAY_EXPONENT[bushings.kind]
    tight = np.where(used < 1.0, 0.15 * sc.LIMIT_MM * used, 1.25 * path)
    path = np.where(bushings.sudden, tight, path)
    path = np.minimum(path, sc.LARGEST_PLAY_MM)
    return np.where(bushings.seized, sc.SEIZED_PLAY_MM, path)


def refuses_grease(bushings: Bushings, age: FloatArray) -> BoolArray:
    """Say which pins let no grease through: those seizing up, from 60 % of T on."""
    return bushings.seized & (age >= sc.REFUSES_GREASE_FROM * bushings.wear_age)
