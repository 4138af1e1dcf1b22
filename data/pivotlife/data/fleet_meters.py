"""What the odometers of the invented trucks show: replaced dash meters, wrong engine computers.

Both belong to a truck, not to a row: after a replaced meter every later value counts from the new
start, and an engine computer that is 2 % off stays so. All numbers are invented.

Not here: typing errors, rollbacks and kilometres in single rows (`fleet_faults`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray
from pivotlife.data.fleet_units import Trucks
from pivotlife.data.scenario import FaultShares


@dataclass(frozen=True)
class Meters:
    """Meters of a block of trucks; arrays of shape (units,).

    Attributes
    ----------
    change_day : ndarray of int
        Day of the meter's replacement; beyond every day for the others.
    change_miles : ndarray of float
        True miles on that day.
    new_reading : ndarray of float, miles
        What the new meter showed.
    told : ndarray of bool
        Whether the replacement was written into the meters table.
    engine_factor : ndarray of float
        Engine-computer miles per true mile.
    """

    change_day: IntArray
    change_miles: FloatArray
    new_reading: FloatArray
    told: BoolArray
    engine_factor: FloatArray

    def dash(self, unit: IntArray, day: IntArray, true_miles: FloatArray) -> IntArray:
        """Dash odometer of trucks on days, whole miles, shape (k,)."""
        later = day >= self.change_day[unit]
        shift = np.where(later, self.change_miles[unit] - self.new_reading[unit], 0.0)
        return np.floor(true_miles - shift).astype(np.int64)

    def engine(self, unit: IntArray, true_miles: FloatArray) -> IntArray:
        """Engine-computer miles of trucks, whole miles, shape (k,)."""
        return np.floor(true_miles * self.engine_factor[unit]).astype(np.int64)


def build_meters(trucks: Trucks, shares: FaultShares, rng: np.random.Generator) -> Meters:
    """Choose replaced meters and wrong engine computers of a block.

    Parameters
    ----------
    trucks : Trucks
    shares : FaultShares
        How many units of each 180 meet them.
    rng : numpy.random.Generator

    Returns
    -------
    Meters
    """
    units = len(trucks.number)
    change_day = np.full(units, np.iinfo(np.int64).max)
    change_miles, new_reading = np.zeros(units), np.zeros(units)
    place = rng.uniform(0.3, 0.7, units)
    start = np.where(rng.random(units) < 0.5, 0, rng.integers(10, 900, units))
    off = rng.uniform(0.3, 1.0, units) * rng.choice([-1.0, 1.0], units) * shares.engine_offset
    for u in np.flatnonzero(trucks.meter_rank < shares.meter_swaps):
        stops = np.flatnonzero(trucks.recorded[u])
        if len(stops) < 4:
            continue
        stop = stops[int(place[u] * len(stops))]
        day = (trucks.day[u, stop - 1] + trucks.day[u, stop]) // 2
        change_day[u] = max(day, trucks.begin_day[u] + 1)
        change_miles[u] = np.floor(np.interp(change_day[u], trucks.day[u], trucks.odometer[u]))
        new_reading[u] = start[u]
    wrong = trucks.engine_rank < shares.engine_offset_units
    return Meters(
        change_day=change_day,
        change_miles=change_miles,
        new_reading=new_reading,
        told=trucks.meter_rank < shares.told_meter_swaps,
        engine_factor=np.where(wrong, 1.0 + off, 1.0),
    )
