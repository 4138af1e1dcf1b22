"""Units that are drawn together: visits to come, groups of pivots, random numbers.

Visits follow the unit's service interval, each gap up to a fifth shorter or longer. Every unit
draws from streams of its own, named by its id and by what they are for: a price, or another unit's
reading, moves nothing here (common random numbers).

Not here: what is done at a visit (`demand_rounds`).
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.demand_lives import Prospects

#: Gaps between visits are this much shorter or longer, evenly.
GAP_SPREAD: Final = 0.2
#: Visits of one unit that are looked at, at most.
MOST_VISITS: Final = 60
#: What the streams of random numbers of a unit are for.
_GAPS, _LIVES, _FIRST_VISIT = range(3)


@dataclass(frozen=True, eq=False)
class Units:
    """Some units with n pivots, drawn S times.

    Attributes
    ----------
    known : Prospects
    listed : ndarray of int, shape (n,)
        Visit at which the shortlist renews a pivot, -1 none.
    announces : ndarray of bool, shape (n, 1)
        Play tells the end in time.
    duty : ndarray of str, shape (units,)
    unit, slot : ndarray of int, shape (n,)
        Unit of a pivot, and its number within that unit.
    now, pace, sale : ndarray, shape (n, 1)
        Miles today, miles a day, miles of the planned sale.
    days : ndarray, shape (units, visits, S), days from today
    groups : tuple of (group, number within the unit), each of shape (n,)
        For shackle, side and axle.
    names, seed, slots, draws
        Of the random numbers.
    """

    known: Prospects
    listed: IntArray
    announces: np.ndarray
    duty: np.ndarray
    unit: IntArray
    slot: IntArray
    now: FloatArray
    pace: FloatArray
    sale: FloatArray
    days: FloatArray
    groups: tuple[tuple[IntArray, IntArray], ...]
    names: tuple[str, ...]
    seed: int
    slots: int
    draws: int


@dataclass(frozen=True, eq=False)
class Chances:
    """Uniform random numbers of one visit.

    Attributes
    ----------
    life, sudden : ndarray, shape (n, S)
        For bushings fitted.
    look : ndarray, shape (n, S)
        One number for all pivots of a unit.
    joins : tuple of ndarray, shape (n, S)
        For shackle, side and axle; one number for all pivots of a group.
    """

    life: FloatArray
    sudden: FloatArray
    look: FloatArray
    joins: tuple[FloatArray, ...]


def units_of(
    pivots: pd.DataFrame, known: Prospects, *, horizon_days: float, draws: int, seed: int
) -> Units:
    """Set up units; `pivots` as `demand_rounds.draw_renewals` takes them."""
    unit, names = pd.factorize(pivots["unit_id"].astype(str))
    slot = pivots.groupby(unit, sort=False).cumcount().to_numpy()
    first = pivots.iloc[np.flatnonzero(slot == 0)]

    def column(name: str) -> FloatArray:
        return pivots[name].to_numpy(dtype=float)[:, None]

    return Units(
        known=known,
        listed=pivots["listed"].to_numpy(dtype=np.int64),
        announces=pivots["announces"].to_numpy(dtype=bool)[:, None],
        duty=first["duty"].to_numpy(dtype=object),
        unit=np.asarray(unit, dtype=np.int64),
        slot=np.asarray(slot, dtype=np.int64),
        now=column("miles_now"),
        pace=column("miles_per_day"),
        sale=column("sale_miles"),
        days=_days(first, list(names), horizon_days, draws, seed),
        groups=_groups(pivots),
        names=tuple(names),
        seed=seed,
        slots=int(slot.max(initial=0)) + 1,
        draws=draws,
    )


def first_uniforms(units: Units) -> tuple[FloatArray, FloatArray]:
    """Uniform numbers of the bushings in service: for wear and for sudden ends, shape (n, S)."""
    shape = (2, units.slots, units.draws)
    drawn = np.stack([stream(units.seed, name, _LIVES).random(shape) for name in units.names])
    return drawn[units.unit, 0, units.slot], drawn[units.unit, 1, units.slot]


def visit_uniforms(units: Units, visit: int) -> Chances:
    """Uniform numbers of one visit."""
    shape = (1 + 5 * units.slots, units.draws)
    purpose = _FIRST_VISIT + visit
    drawn = np.stack([stream(units.seed, name, purpose).random(shape) for name in units.names])

    def part(number: int, within: IntArray) -> FloatArray:
        return np.asarray(drawn[units.unit, 1 + number * units.slots + within])

    return Chances(
        life=part(0, units.slot),
        sudden=part(1, units.slot),
        look=drawn[units.unit, 0],
        joins=tuple(part(2 + place, inner) for place, (_, inner) in enumerate(units.groups)),
    )


def stream(seed: int, unit: str, purpose: int) -> np.random.Generator:
    """Random numbers of one unit for one purpose."""
    return np.random.default_rng([seed, zlib.crc32(unit.encode()), purpose])


def _days(
    first: pd.DataFrame, names: list[str], horizon_days: float, draws: int, seed: int
) -> FloatArray:
    """Days of each unit's visits, two of them beyond the horizon."""
    gap = (first["gap_miles"] / first["miles_per_day"]).to_numpy(dtype=float)
    shortest = max(float(np.nanmin(gap, initial=np.inf)) * (1.0 - GAP_SPREAD), 1.0)
    visits = int(np.clip(np.ceil(horizon_days / shortest) + 3, 3, MOST_VISITS))
    # Number by number of visit, so that a longer horizon leaves the nearer visits where they are.
    shape = (visits, draws)
    spread = np.stack([stream(seed, name, _GAPS).random(shape) for name in names])
    steps = gap[:, None, None] * (1.0 + GAP_SPREAD * (2.0 * spread - 1.0))
    begin = first["first_day"].to_numpy(dtype=float)[:, None]
    second = first["second_day"].to_numpy(dtype=float)[:, None] - begin
    # A unit whose next visit nobody knows comes at any time within its interval.
    steps[:, 0] = np.where(np.isnan(begin), gap[:, None] * spread[:, 0], begin)
    steps[:, 1] = np.where(np.isnan(second), steps[:, 1], second)
    return np.cumsum(steps, axis=1)


def _groups(pivots: pd.DataFrame) -> tuple[tuple[IntArray, IntArray], ...]:
    is_shackle = pivots["node"].astype(str).str.startswith("shackle")
    axle = pivots["unit_id"].astype(str) + "." + pivots["axle"].astype(str)
    side = axle + "." + pivots["side"].astype(str)
    shackle = side.where(is_shackle, pivots["pivot_id"].astype(str))
    found = []
    for name in (shackle, side, axle):
        group = pd.Series(pd.factorize(name)[0], pivots.index)
        starts = group.groupby(pivots["unit_id"]).transform("min")
        found.append((group.to_numpy(dtype=np.int64), (group - starts).to_numpy(dtype=np.int64)))
    return tuple(found)
