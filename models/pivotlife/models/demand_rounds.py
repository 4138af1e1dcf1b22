"""Renewals through the visits to come, drawn many times with the same random numbers.

At each unit's next visit the shortlist is done. From then on, visit after visit:

- what broke on the road since the last visit was renewed there;
- where the list is followed, a bushing whose play announces its end is renewed at the last visit
  before it would pass its limit; any other at the first visit that looks and finds it over;
- neighbours go with it as often as this shop's jobs took them along: the other pivot of the
  shackle, the rest of the side, the other side, each as a whole.

What was renewed begins a new life and may come again. Visits end with the horizon and with a
planned sale. A truck that comes in place of a sold one is not counted.

Not here: when bushings pass their limit (`demand_lives`), money (`budget`), kits (`kit_demand`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.demand_lives import (
    Prospects,
    crossing_miles,
    law_factors,
    new_life_miles,
)
from pivotlife.models.demand_units import (
    Chances,
    Units,
    first_uniforms,
    units_of,
    visit_uniforms,
)

#: What a renewal came from, by its number in `Renewals.cause`.
CAUSES: Final = ("shortlist", "in time", "found over", "joined", "on the road")
SHORTLIST, IN_TIME, FOUND_OVER, JOINED, ON_ROAD = range(len(CAUSES))
_NOT: Final = -1
_UNITS_AT_ONCE: Final = 200


@dataclass(frozen=True)
class Habits:
    """How a shop works, as shares of the occasions.

    Attributes
    ----------
    look : mapping of duty to share
        Of visits that look at a pivot and act on what they find.
    joins : (float, float, float)
        Of jobs that take along the other pivot of the shackle, the rest of the side, the other
        side.
    follows_list : bool
        Whether the shortlist is done as it stands, and bushings that announce their end are
        renewed before they pass the limit from then on.
    """

    look: Mapping[str, float]
    joins: tuple[float, float, float]
    follows_list: bool


@dataclass(frozen=True, eq=False)
class Renewals:
    """Renewals drawn; one entry each, arrays of shape (m,), with `draws` draws in all.

    Attributes
    ----------
    pivot : ndarray of int
        Place in the table of pivots.
    draw : ndarray of int
        Draw number modulo `laws` is the law of a draw.
    day : ndarray of float, days from the day of the run
    visit : ndarray of int
        Number of the unit's visit from 0; -1, -2, ... for renewals on the road before visit 0,
        1, ...
    cause : ndarray of int
        Place in `CAUSES`.
    miles_over : ndarray of float, miles
        Driven over the limit before it was found.
    """

    pivot: IntArray
    draw: IntArray
    day: FloatArray
    visit: IntArray
    cause: IntArray
    miles_over: FloatArray
    draws: int
    laws: int


_COLUMNS: Final = ("pivot", "draw", "day", "visit", "cause", "miles_over")


def draw_renewals(
    pivots: pd.DataFrame,
    known: Prospects,
    habits: Habits,
    *,
    horizon_days: float,
    draws: int = 400,
    laws: int = 20,
    seed: int = 0,
) -> Renewals:
    """Draw what is renewed at the visits to come.

    Parameters
    ----------
    pivots : DataFrame, one row per pivot, the pivots of a unit together
        pivot_id, unit_id, axle, side, node, duty, announces (bool: play tells its end in time),
        listed (visit at which the shortlist renews it: 0 next, 1 the one after, -1 not),
        miles_now, miles_per_day, first_day, second_day (days from today; NaN: at any time within
        the interval), gap_miles (service interval), sale_miles (infinity: none planned).
    known : Prospects
        Of the same rows.
    habits : Habits
    horizon_days : float, days
    draws, laws, seed : int

    Returns
    -------
    Renewals
    """
    law = np.arange(draws) % laws
    factor = law_factors(known, laws, seed)
    unit = pd.factorize(pivots["unit_id"])[0]
    pieces: list[dict[str, np.ndarray]] = []
    for begin in range(0, int(unit.max(initial=-1)) + 1, _UNITS_AT_ONCE):
        rows = np.flatnonzero((unit >= begin) & (unit < begin + _UNITS_AT_ONCE))
        own = Prospects(*(getattr(known, part.name)[rows] for part in fields(known)))
        units = units_of(pivots.iloc[rows], own, horizon_days=horizon_days, draws=draws, seed=seed)
        drawn = _through_visits(units, habits, horizon_days, factor[rows], law)
        pieces += [{**piece, "pivot": rows[piece["pivot"]]} for piece in drawn]
    columns = {
        name: np.concatenate([piece[name] for piece in pieces]) if pieces else np.zeros(0, int)
        for name in _COLUMNS
    }
    return Renewals(**columns, draws=draws, laws=laws)


def _through_visits(
    units: Units, habits: Habits, horizon_days: float, factor: FloatArray, law: IntArray
) -> list[dict[str, np.ndarray]]:
    """Take all draws of some units through their visits."""
    known = units.known
    wear, sudden = first_uniforms(units)
    crossing = crossing_miles(known, factor, law, wear)
    broken = units.now + _sudden_miles(known, sudden)
    end = np.minimum(units.sale, units.now + units.pace * horizon_days)
    pieces = []
    for visit in range(units.days.shape[1] - 1):
        day = units.days[units.unit, visit]
        miles = units.now + units.pace * day
        ahead = units.now + units.pace * units.days[units.unit, visit + 1]
        chances = visit_uniforms(units, visit)
        on_road = broken <= np.minimum(miles, end)
        if on_road.any():
            on_day = (broken - units.now) / units.pace
            pieces.append(_kept(on_road, on_day, -1 - visit, ON_ROAD, 0.0))
            fresh = broken + new_life_miles(known, law, chances.life)
            crossing = np.where(on_road, fresh, crossing)
            broken = np.where(on_road, broken + _sudden_miles(known, chances.sudden), broken)
        cause = _causes(units, habits, visit, (crossing, miles, ahead), chances)
        # What is listed is done at its visit, also where that is expected about the planned sale.
        renewed = (cause != _NOT) & ((miles <= end) | (cause == SHORTLIST))
        over = np.where(cause == FOUND_OVER, miles - crossing, 0.0)
        pieces.append(_kept(renewed, day, visit, cause, over))
        # The other end of the same numbers: independent of what broke on the way here.
        fresh = miles + new_life_miles(known, law, 1.0 - chances.life)
        crossing = np.where(renewed, fresh, crossing)
        broken = np.where(renewed, miles + _sudden_miles(known, 1.0 - chances.sudden), broken)
    return pieces


def _sudden_miles(known: Prospects, uniform: FloatArray) -> FloatArray:
    """Miles until a bushing breaks without warning; infinity where none ever did."""
    with np.errstate(divide="ignore", invalid="ignore"):
        miles = -np.log1p(-uniform) / known.sudden_per_mile[:, None]
    return np.asarray(np.nan_to_num(miles, nan=np.inf, posinf=np.inf))


def _kept(
    here: BoolArray, day: FloatArray, visit: int, cause: IntArray | int, over: FloatArray | float
) -> dict[str, np.ndarray]:
    pivot, draw = np.nonzero(here)
    whole = np.broadcast_to(np.asarray(cause), here.shape), np.broadcast_to(over, here.shape)
    return {
        "pivot": pivot,
        "draw": draw,
        "day": day[pivot, draw],
        "visit": np.full(len(pivot), visit),
        "cause": whole[0][pivot, draw],
        "miles_over": whole[1][pivot, draw],
    }


def _causes(
    units: Units,
    habits: Habits,
    visit: int,
    miles: tuple[FloatArray, FloatArray, FloatArray],
    chances: Chances,
) -> IntArray:
    """Why each pivot is renewed at a visit, `_NOT` where it is not; shape (n, S)."""
    crossing, here, ahead = miles
    share = np.array([habits.look.get(str(duty), 1.0) for duty in units.duty])
    looked = chances.look < share[units.unit, None]
    cause = np.where((crossing <= here) & looked, FOUND_OVER, _NOT)
    if habits.follows_list and visit > 0:
        last = (crossing > here) & (crossing <= np.minimum(ahead, units.sale))
        cause = np.where(units.announces & last, IN_TIME, cause)
    cause = np.where((units.listed == visit)[:, None], SHORTLIST, cause)
    if habits.follows_list and visit == 0:
        # The list has weighed what joins its jobs; nothing else is taken along.
        return cause
    return _with_neighbours(units, habits, cause, chances)


def _with_neighbours(units: Units, habits: Habits, cause: IntArray, chances: Chances) -> IntArray:
    for share, (group, _), uniform in zip(habits.joins, units.groups, chances.joins, strict=True):
        opened = np.zeros((int(group.max(initial=0)) + 1, units.draws), dtype=bool)
        pivot, draw = np.nonzero(cause != _NOT)
        opened[group[pivot], draw] = True
        joins = (cause == _NOT) & opened[group] & (uniform < share)
        cause = np.where(joins, JOINED, cause)
    return cause
