"""Axles driven from visit to visit: what wears out, what is renewed, what it takes.

At every visit each bushing that is over its limit is found and renewed; so is one whose sign of
wear reaches the policy's mark; while the axle is open, those above a second mark join. The sign is
the reading as a share of the limit where play announces the end,

    reading / limit = b + (1 - b) (age / life)^p + gauge noise,

b being the play of a new bushing, and the age as a share of the type's scale elsewhere. Between
visits a bushing may break at a constant rate. Nothing is renewed early where less than one gap
remains until the truck is sold.

Lives of one truck share a part of their luck, its hardship, also those fitted later (`truck_luck`).

Common random numbers: a step draws once for all options, so that two types are compared on the
same luck. Options, axles and the six places of an axle are three array dimensions.

Not here: years, prices (`cost_lines`), the choice of marks (`cost_policy`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.cost_lines import COUNTS
from pivotlife.models.truck_luck import shared

#: The places of an axle: fixed eye, lower and upper shackle of the left, then of the right side.
PLACES: Final = tuple(
    (side, node)
    for side in ("left", "right")
    for node in ("fixed-eye", "shackle-lower", "shackle-upper")
)
_KITS, _SIDES, _SHACKLE, _EYE, _CONVERSIONS, _LUBE, _PLANNED, _LATE, _FINDS, _OVER, _BREAKS = range(
    len(COUNTS)
)


@dataclass(frozen=True, eq=False)
class Fitted:
    """What is fitted from the start on; arrays that stretch to (options, axles, 6).

    Attributes
    ----------
    shape, scale : ndarray
        Weibull life of each bushing fitted: shape, and miles by which 63.2 % have failed.
    usual_scale : ndarray, miles
        Scale against which age is a sign of wear where play is not read.
    by_play : ndarray of bool
        True where free play announces the end.
    new_play, exponent, noise : ndarray
        Play of a new bushing and gauge error as shares of the limit; exponent of growth.
    renew_at, join_at : ndarray
        Marks of the policy, as shares of the limit or of the scale; infinity = never.
    breaks_per_mile : ndarray
    likeness : ndarray, 0 to below 1
        How alike lives of one truck are.
    """

    shape: FloatArray
    scale: FloatArray
    usual_scale: FloatArray
    by_play: BoolArray
    new_play: FloatArray
    exponent: FloatArray
    noise: FloatArray
    renew_at: FloatArray
    join_at: FloatArray
    breaks_per_mile: FloatArray
    likeness: FloatArray


@dataclass(frozen=True, eq=False)
class Axles:
    """The axles that are driven, one row each.

    Attributes
    ----------
    horizon : ndarray, shape (axles,), miles
        Distance until the truck is sold.
    first_visit : ndarray, shape (axles,), miles
        Distance to the first visit.
    present : ndarray of bool, shape (axles, 6)
        False where the axle has no such pivot.
    age, life : ndarray, shape (options, axles, 6), miles
        Age at the start, and the age at which the bushing that is fitted now will be over.
    refit : ndarray of bool, shape (options, 1)
        True where the first visit renews every bushing.
    converted : ndarray of bool, shape (options, axles, 6)
        True where that renewal is the first of another type in its pivot.
    hardship : ndarray, shape (axles,)
        Of the truck: what its bushings have in common.
    """

    horizon: FloatArray
    first_visit: FloatArray
    present: BoolArray
    age: FloatArray
    life: FloatArray
    refit: BoolArray
    converted: BoolArray
    hardship: FloatArray


@dataclass(frozen=True, eq=False)
class Step:
    """One gap driven and the visit at its end.

    Attributes
    ----------
    miles : ndarray, shape (axles,)
        Distance from the start at the visit, or at the sale where that comes first.
    driven : ndarray, shape (axles,), miles
    counts : ndarray, shape (n_counts, options, axles)
        In the order of `COUNTS`; lube visits are left at zero.
    kits : ndarray, shape (options, axles, 6)
        Kits by place.
    """

    miles: FloatArray
    driven: FloatArray
    counts: FloatArray
    kits: FloatArray


def drawn_lives(uniform: FloatArray, shape: FloatArray, scale: FloatArray) -> FloatArray:
    """Turn even draws in (0, 1) into Weibull lives, miles; a small draw is a long life."""
    return np.asarray(scale * (-np.log(uniform)) ** (1.0 / shape))


def survival(age: FloatArray, shape: FloatArray, scale: FloatArray) -> FloatArray:
    """Chance of a Weibull life beyond an age (miles); the draw that gives that life."""
    return np.asarray(np.exp(-((np.maximum(age, 0.0) / scale) ** shape)))


def drive(
    axles: Axles, fitted: Fitted, gap: float, early_miles: float, seed: int
) -> Iterator[Step]:
    """Drive the axles to their sale, visit by visit.

    Parameters
    ----------
    axles : Axles
    fitted : Fitted
    gap : float, miles
        Between visits.
    early_miles : float, miles
        Below this age nothing is renewed on its age alone.
    seed : int

    Yields
    ------
    Step
        Every gap, the last one ending at the sale.
    """
    random = np.random.default_rng(seed)
    age, life = axles.age.copy(), axles.life.copy()
    at = np.zeros(len(axles.horizon))
    number = 0
    while np.any(at < axles.horizon):
        planned = axles.first_visit + number * gap
        here = np.minimum(planned, axles.horizon)
        driven = np.maximum(here - at, 0.0)
        stops = (planned < axles.horizon) & (driven > 0)
        counts = np.zeros((len(COUNTS), *age.shape[:2]))
        kits = np.zeros(age.shape)
        draws = random.random((3, *age.shape[1:]))
        noise = random.standard_normal(age.shape[1:])
        _break(age, life, kits, counts, axles, fitted, driven, draws)
        over = (age >= life) & axles.present
        counts[_OVER] = _total(np.where(over & (driven > 0)[:, None], age - life, 0.0))
        renewed = _renewals(age, life, over, stops, axles, fitted, noise, early_miles, here, gap)
        if number == 0:
            forced = axles.refit[:, :, None] & axles.present & stops[:, None]
            renewed |= forced
            counts[_CONVERSIONS] = _total(renewed & axles.converted)
        _count_jobs(counts, renewed, over)
        kits += renewed
        counts[_KITS] = _total(kits)
        _refit(age, life, renewed, fitted, axles.hardship, draws[1])
        yield Step(here, driven, counts, kits)
        at = here
        number += 1


def _total(places: FloatArray | BoolArray) -> FloatArray:
    """Sum over the six places; slice by slice, which is faster than along so short an axis."""
    total = places[..., 0].astype(float)
    for place in range(1, len(PLACES)):
        total += places[..., place]
    return total


def _renewals(
    age: FloatArray,
    life: FloatArray,
    over: BoolArray,
    stops: BoolArray,
    axles: Axles,
    fitted: Fitted,
    noise: FloatArray,
    early_miles: float,
    here: FloatArray,
    gap: float,
) -> BoolArray:
    """Say which bushings a visit renews: over the limit, at the mark, or in company."""
    against = np.where(fitted.by_play, life, fitted.usual_scale)
    sign = fitted.new_play + (1.0 - fitted.new_play) * (age / against) ** fitted.exponent
    sign += fitted.noise * noise
    worth = (axles.horizon - here >= gap)[:, None] & axles.present
    worth = worth & (fitted.by_play | (age >= early_miles))
    must = over | ((sign >= fitted.renew_at) & worth)
    joins = (sign >= fitted.join_at) & worth & (_total(must) > 0)[..., None]
    return np.asarray((must | joins) & stops[:, None])


def _break(
    age: FloatArray,
    life: FloatArray,
    kits: FloatArray,
    counts: FloatArray,
    axles: Axles,
    fitted: Fitted,
    driven: FloatArray,
    draws: FloatArray,
) -> None:
    """Drive the gap, renewing on the road what breaks in it; in place."""
    chance = -np.expm1(-fitted.breaks_per_mile * driven[:, None])
    broke = (draws[0] < chance) & axles.present
    age += driven[:, None]
    if not broke.any():
        return
    since = (draws[2] * driven[:, None]) * np.ones_like(age)
    age[broke] = since[broke]
    fresh = np.clip(draws[0] / np.maximum(chance, 1e-300), 1e-12, 1.0)
    life[broke] = _new_lives(broke, fitted, axles.hardship, fresh)
    number = _total(broke)
    for count in (_BREAKS, _SIDES, _PLANNED):
        counts[count] += number
    kits += broke


def _count_jobs(counts: FloatArray, renewed: BoolArray, over: BoolArray) -> None:
    """Count sides opened, what shares a set-up, jobs and late finds; in place."""
    for side in (renewed[..., :3], renewed[..., 3:]):
        eye, shackles = side[..., 0], side[..., 1].astype(int) + side[..., 2]
        counts[_SIDES] += eye | (shackles > 0)
        counts[_SHACKLE] += shackles == 2
        counts[_EYE] += eye & (shackles > 0)
    late = _total(renewed & over)
    counts[_FINDS] = late
    counts[_LATE] += late > 0
    counts[_PLANNED] += (_total(renewed) > 0) & (late == 0)


def _refit(
    age: FloatArray,
    life: FloatArray,
    renewed: BoolArray,
    fitted: Fitted,
    hardship: FloatArray,
    uniform: FloatArray,
) -> None:
    """Put new bushings where some were renewed; in place."""
    if not renewed.any():
        return
    age[renewed] = 0.0
    life[renewed] = _new_lives(renewed, fitted, hardship, np.clip(uniform, 1e-12, 1.0))


def _new_lives(
    where: BoolArray, fitted: Fitted, hardship: FloatArray, uniform: FloatArray
) -> FloatArray:
    """Lives of new bushings in some places, one after the other."""
    shape, scale, likeness, harder, even = (
        np.broadcast_to(values, where.shape)[where]
        for values in (fitted.shape, fitted.scale, fitted.likeness, hardship[:, None], uniform)
    )
    return drawn_lives(shared(even, harder, likeness), shape, scale)
