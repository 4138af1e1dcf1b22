"""The invented retrofit campaign: which trucks get rollers, and at which stop.

The campaign runs from month 24 to month 54 of six years, vocational trucks first, then regional,
then line-haul, and within a duty worst first by the free play last written down when the duty's
turn begins. So the new type goes to trucks in bad condition, in hard duty, in later years: the
comparison of types is tied to all three. Trucks are ranked within their block of 180 units, which
keeps large fleets streaming. All numbers are invented.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import FloatArray, IntArray
from pivotlife.data.fleet_units import Trucks


def campaign_turns(last_day: int) -> dict[int, tuple[float, float]]:
    """First and last day of each duty's turn, in proportion to the trucks it converts."""
    wanted = sc.RETROFITTED_SHARE * sc.FLEET_MIX.sum(axis=0)
    order = list(sc.CAMPAIGN_ORDER)
    ends = np.cumsum(wanted[order]) / wanted.sum()
    start, length = sc.CAMPAIGN_FROM, sc.CAMPAIGN_TO - sc.CAMPAIGN_FROM
    days = last_day * (start + length * np.concatenate([[0.0], ends]))
    return {duty: (float(days[i]), float(days[i + 1])) for i, duty in enumerate(order)}


def worst_play_mm(readings: pd.DataFrame, units: int, before_day: float) -> FloatArray:
    """Largest free play of each unit on its last sheet before a day.

    Parameters
    ----------
    readings : DataFrame
        unit, day, stop, written_mm, as the shop kept them without any campaign.
    units : int
    before_day : float

    Returns
    -------
    ndarray of float, shape (units,), millimetres
        -1 where nothing was measured yet.
    """
    known = readings.loc[(readings["day"] < before_day) & ~readings["after_repair"]]
    last = known.groupby("unit")["stop"].transform("max")
    worst = known.loc[known["stop"] == last].groupby("unit")["written_mm"].max()
    return worst.reindex(range(units), fill_value=-1.0).to_numpy(dtype=float)


def conversion_stops(trucks: Trucks, readings: pd.DataFrame) -> IntArray:
    """Choose the stop at which each truck is converted.

    Parameters
    ----------
    trucks : Trucks
    readings : DataFrame
        Readings of the same trucks in a world without the campaign; they agree with the real ones
        until a truck's own conversion.

    Returns
    -------
    ndarray of int, shape (units,)
        Stop of conversion; -1 for trucks that keep their type.
    """
    units = len(trucks.number)
    convert_at = np.full(units, -1)
    recorded = trucks.recorded
    for duty, (first, last) in campaign_turns(trucks.last_day).items():
        members = np.flatnonzero(trucks.duty == duty)
        wanted = round(float(sc.RETROFITTED_SHARE[duty]) * len(members))
        worst = worst_play_mm(readings, units, first)[members]
        done = 0
        for unit in members[np.argsort(-worst, kind="stable")]:
            if done == wanted:
                break
            day = first + (done + 0.5) / wanted * (last - first)
            stops = np.flatnonzero(recorded[unit] & (trucks.day[unit] >= day))
            if len(stops):
                convert_at[unit] = stops[0]
                done += 1
    return convert_at
