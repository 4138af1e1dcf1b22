"""The invented trucks: depot, duty, miles, dates, care, and when each one stops in the shop.

Every unit draws its numbers from a stream of its own, so unit MD-017 runs the same roads whether
the fleet has 20 units or 100,000. What must be shared out over a fleet (who is sold, who has a
meter replaced) is drawn once for each block of 180 units. All numbers are invented.

Not here: the bushings on the trucks.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray, TextArray, stream
from pivotlife.data.fleet_draws import CHANNELS, GAUGE_CHANNELS, SHEET_CHANNELS, Draws

UNIT_STREAM = 1
BLOCK_STREAM = 2


@dataclass(frozen=True)
class Trucks:
    """A block of trucks; n units, v stops; days count from the first day of the window.

    Attributes
    ----------
    number : ndarray of int, shape (n,)
        Place in the whole fleet, from 0.
    depot, duty, first_kind : ndarray of int, shape (n,)
        Depot, duty and the bushing type the truck was delivered with.
    salt : ndarray of bool, shape (n,)
    care : ndarray of float, shape (n,)
        Share of due lube services done, before any campaign.
    frailty, miles_per_day : ndarray of float, shape (n,)
    day, odometer : ndarray, shape (n, v)
        Day and true miles of each stop; stop 0 is delivery. They run past the end of the window
        (the planned visits).
    due : ndarray of bool, shape (n, v)
        Stops at which free play is to be measured.
    begin_day, left_day : ndarray of int, shape (n,)
        First recorded day, and the day the truck left the fleet (beyond the end if it did not).
    wrecked : ndarray of bool, shape (n,)
    meter_rank, engine_rank : ndarray of int, shape (n,)
        Order in which units of the block meet a replaced dash meter or a wrong engine computer.
    last_day : int
        Last day of the window.
    """

    number: IntArray
    depot: IntArray
    duty: IntArray
    first_kind: IntArray
    salt: BoolArray
    care: FloatArray
    frailty: FloatArray
    miles_per_day: FloatArray
    day: IntArray
    odometer: FloatArray
    due: BoolArray
    begin_day: IntArray
    left_day: IntArray
    wrecked: BoolArray
    meter_rank: IntArray
    engine_rank: IntArray
    last_day: int

    @property
    def until_day(self) -> IntArray:
        """Last day on which each truck is in the fleet and recorded."""
        return np.minimum(self.left_day, self.last_day)

    @property
    def in_fleet(self) -> BoolArray:
        """Trucks still in the fleet on the last day."""
        return self.left_day > self.last_day

    @property
    def visited(self) -> BoolArray:
        """Stops that happened, shape (n, v)."""
        stops = self.day <= self.until_day[:, None]
        stops[:, 0] = False
        return stops

    @property
    def recorded(self) -> BoolArray:
        """Stops that happened after the unit's records begin, shape (n, v)."""
        return self.visited & (self.day >= self.begin_day[:, None])

    def miles_on(self, unit: IntArray, day: FloatArray | IntArray) -> FloatArray:
        """Work out true miles of trucks (places in this block) on days, both of shape (k,)."""
        miles = np.empty(len(unit))
        for u in np.unique(unit):
            rows = unit == u
            miles[rows] = np.interp(day[rows], self.day[u], self.odometer[u])
        return miles


def unit_ids(numbers: IntArray) -> TextArray:
    """Name units by their place in the fleet: MD-001, MD-002 and so on."""
    return np.array([f"MD-{n + 1:03d}" for n in numbers], dtype=object)


@cache
def fleet_slots() -> tuple[tuple[int, int], ...]:
    """Depot and duty of the 180 places of a fleet, shuffled evenly so that any start fits the mix.

    Returns
    -------
    tuple of (depot, duty)
    """
    places = [
        ((i + 0.5) / count, depot, duty)
        for depot, row in enumerate(sc.FLEET_MIX.tolist())
        for duty, count in enumerate(row)
        for i in range(count)
    ]
    return tuple((depot, duty) for _, depot, duty in sorted(places))


@dataclass(frozen=True)
class _OneTruck:
    first_kind: int
    care: float
    frailty: float
    miles_per_day: float
    day: IntArray
    odometer: FloatArray
    due_first: int
    departs: float
    pivot: FloatArray
    sheet: FloatArray
    gauge: FloatArray


def _one_truck(number: int, duty: int, seed: int, last_day: int) -> _OneTruck:
    """Draw one truck from its own stream; always in the same order."""
    rng = stream(seed, UNIT_STREAM, number)
    older, age, kind, due, departs = rng.random(5)
    normal = rng.standard_normal(2)
    mean = float(sc.LUBE_COMPLIANCE[duty])
    care = rng.beta(sc.COMPLIANCE_WEIGHT * mean, sc.COMPLIANCE_WEIGHT * (1.0 - mean))
    rate = float(sc.MILES_PER_YEAR[duty] * np.exp(sc.MILES_SD * normal[0])) / sc.DAYS_PER_YEAR
    if older < sc.OLDER_SHARE:
        delivered = -int((0.2 + age * (sc.OLDEST_YEARS[duty] - 0.2)) * sc.DAYS_PER_YEAR)
    else:
        delivered = int(age * sc.NEWER_UNTIL * last_day)
    gap = float(sc.PM_MILES[duty])
    stops = int((last_day - delivered) * rate / (0.85 * gap) * 1.15) + 8
    miles = np.round(gap * rng.uniform(0.85, 1.15, stops))
    days = np.maximum(1, np.round(miles / rate * np.exp(0.08 * rng.standard_normal(stops))))
    first_miles = np.round(20 + 400 * rng.random())
    return _OneTruck(
        first_kind=sc.RUBBER if kind < sc.RUBBER_SHARE[duty] else sc.THREADED,
        care=float(care),
        frailty=float(np.exp(sc.FRAILTY_SD * normal[1])),
        miles_per_day=rate,
        day=np.concatenate([[delivered], delivered + np.cumsum(days)]).astype(np.int64),
        odometer=first_miles + np.concatenate([[0.0], np.cumsum(miles)]),
        due_first=int(due < 0.5),
        departs=float(departs),
        pivot=1.0 - rng.random((stops + 1, 6, len(CHANNELS))),
        sheet=rng.random((stops + 1, len(SHEET_CHANNELS))),
        gauge=rng.standard_normal((stops + 1, 6, len(GAUGE_CHANNELS))),
    )


def _stack(arrays: list[FloatArray], stops: int) -> FloatArray:
    """Stack arrays of different numbers of stops; what is missing is 0.5, never used."""
    out = np.full((len(arrays), stops, *arrays[0].shape[1:]), 0.5)
    for row, array in zip(out, arrays, strict=True):
        row[: len(array)] = array
    return out


def _steps(arrays: list[IntArray] | list[FloatArray], stops: int) -> FloatArray:
    """Stack growing sequences; past its end a sequence goes on in steps of its last one."""
    out = np.empty((len(arrays), stops))
    for row, array in zip(out, arrays, strict=True):
        row[: len(array)] = array
        extra = np.arange(1, stops - len(array) + 1)
        row[len(array) :] = array[-1] + extra * (array[-1] - array[-2])
    return out


def _left_days(
    trucks: list[_OneTruck], rank: IntArray, last_day: int
) -> tuple[IntArray, BoolArray]:
    """Share out sales and wrecks by a unit's rank in its block of 180."""
    leaves = rank < sc.SOLD_PER_FLEET + sc.WRECKED_PER_FLEET
    started = np.array([max(0, int(t.day[0])) for t in trucks])
    earliest = np.minimum(started + 200, last_day - 30)
    place = np.array([t.departs for t in trucks])
    left = (earliest + place * (last_day - 15 - earliest)).astype(np.int64)
    wrecked = leaves & (rank >= sc.SOLD_PER_FLEET)
    return np.where(leaves, left, last_day + 36_500), wrecked


def build_trucks(first: int, count: int, seed: int, last_day: int) -> tuple[Trucks, Draws]:
    """Build a block of at most 180 trucks with their stops and random numbers.

    Parameters
    ----------
    first : int
        Place of the block's first unit in the fleet; a multiple of 180.
    count : int
        Units in the block, 1 to 180.
    seed : int
        Seed of the whole run.
    last_day : int
        Days in the window.

    Returns
    -------
    trucks : Trucks
    draws : Draws
    """
    slots = np.array(fleet_slots()[:count])
    depot, duty = slots[:, 0], slots[:, 1]
    made = [_one_truck(first + i, int(duty[i]), seed, last_day) for i in range(count)]
    block = stream(seed, BLOCK_STREAM, first // sc.FLEET_UNITS)
    leaving, meters, engines = (block.permutation(sc.FLEET_UNITS)[:count] for _ in range(3))
    left, wrecked = _left_days(made, leaving, last_day)
    stops = max(len(t.day) for t in made)
    day = _steps([t.day for t in made], stops).astype(np.int64)
    due_first = np.array([t.due_first for t in made])
    trucks = Trucks(
        number=np.arange(first, first + count),
        depot=depot,
        duty=duty,
        first_kind=np.array([t.first_kind for t in made]),
        salt=sc.DEPOT_SALT[depot],
        care=np.array([t.care for t in made]),
        frailty=np.array([t.frailty for t in made]),
        miles_per_day=np.array([t.miles_per_day for t in made]),
        day=day,
        odometer=_steps([t.odometer for t in made], stops),
        due=(np.arange(stops)[None, :] + due_first[:, None]) % 2 == 0,
        begin_day=np.maximum(0, day[:, 0]),
        left_day=left,
        wrecked=wrecked,
        meter_rank=meters,
        engine_rank=engines,
        last_day=last_day,
    )
    draws = Draws(
        pivot=_stack([t.pivot for t in made], stops),
        sheet=_stack([t.sheet for t in made], stops),
        gauge=_stack([t.gauge for t in made], stops),
    )
    return trucks, draws
