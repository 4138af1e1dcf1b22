"""A block of invented trucks with all that happened to it, and the words its rows share.

Not here: the tables themselves. All numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import (
    BoolArray,
    FloatArray,
    IntArray,
    TextArray,
    iso_dates,
    words,
)
from pivotlife.data.fleet_draws import CHANNELS, SHEET_CHANNELS, Draws
from pivotlife.data.fleet_meters import Meters
from pivotlife.data.fleet_shop import History
from pivotlife.data.fleet_units import Trucks, unit_ids

#: Side-bar centres, spring width, bushing outside diameter, pin diameter, in inches: two builds.
BUILDS_IN = np.array([[4.0, 4.0, 1.75, 1.25], [4.0, 3.0, 1.5, 1.125]])
KIT_LETTER = ("R", "T", "N")
NODE_LETTERS = ("FE", "SL", "SU")
PARTS_COST = np.array([45.0, 60.0, 220.0])
CURRENCY = "USD"


@dataclass(frozen=True)
class Block:
    """A block of trucks with everything that happened to it."""

    trucks: Trucks
    draws: Draws
    meters: Meters
    history: History
    first_day: date

    def dates(self, days: IntArray) -> TextArray:
        """ISO dates of days, shape (k,)."""
        return iso_dates(days, self.first_day)

    def drawn(self, events: pd.DataFrame, channel: str) -> FloatArray:
        """Uniform numbers of events (unit, stop, pivot) in a channel, shape (events,)."""
        at = (events["unit"], events["stop"], events["pivot"], CHANNELS.index(channel))
        return self.draws.pivot[at]

    def drawn_sheet(self, events: pd.DataFrame, channel: str) -> FloatArray:
        """Uniform numbers of events (unit, stop) in a sheet channel, shape (events,)."""
        return self.draws.sheet[events["unit"], events["stop"], SHEET_CHANNELS.index(channel)]

    def ids(self, unit: IntArray) -> TextArray:
        """Name the units at places in the block, shape (k,)."""
        return unit_ids(self.trucks.number[unit])


def build_of(trucks: Trucks) -> IntArray:
    """Build of each truck, a place in `BUILDS_IN`: every third one has narrow springs."""
    return np.where(trucks.number % 3 == 2, 1, 0)


def lengths(build: IntArray, unit: TextArray) -> list[TextArray]:
    """Sizes of builds as a depot writes them, one array a size."""
    in_mm = unit == "mm"
    sizes = BUILDS_IN[build].T
    text = np.vectorize(lambda inches, mm: f"{inches * sc.MM_PER_INCH:.1f}" if mm else f"{inches}")
    return [np.asarray(text(size, in_mm), dtype=object) for size in sizes]


def play_text(written: FloatArray, unit: IntArray, blank: BoolArray) -> TextArray:
    """Free play as typed: 0.125 in, 125 thou, 3.2 mm; empty where `blank`.

    Parameters
    ----------
    written : ndarray of float, shape (k,)
        Numbers in the depot's unit.
    unit : ndarray of int, shape (k,)
        `scenario.INCHES`, `THOUSANDTHS` or `MILLIMETRES`.
    blank : ndarray of bool, shape (k,)

    Returns
    -------
    ndarray of object (str), shape (k,)
    """
    rows = zip(written.tolist(), unit.tolist(), blank.tolist(), strict=True)
    return np.array(["" if empty else _one_play(number, u) for number, u, empty in rows], object)


def _one_play(number: float, unit: int) -> str:
    """Type one reading with the digits its unit is read to."""
    if unit == sc.INCHES:
        return f"{number:.3f}" if round(number, 3) == number else f"{number:.4f}"
    return f"{number:.1f}" if unit == sc.MILLIMETRES else f"{number:g}"


def position(events: pd.DataFrame) -> dict[str, object]:
    """Axle, side and node columns."""
    pivot = events["pivot"].to_numpy()
    return {
        "axle": "1",
        "side": words(sc.PIVOT_SIDE[pivot], sc.SIDES),
        "node": words(sc.PIVOT_NODE[pivot], sc.NODES),
    }


def recorded(block: Block, events: pd.DataFrame) -> pd.DataFrame:
    """Events of the recorded years, by date, unit and position."""
    kept = events.loc[events["day"] >= block.trucks.begin_day[events["unit"]]]
    order = ["day", "unit", "pivot"] + (["after_repair"] if "after_repair" in kept else [])
    return kept.sort_values(order, kind="stable").reset_index(drop=True)


def kit_ids(kind: IntArray, node: IntArray, build: IntArray) -> TextArray:
    """Name kits by type, node and build, shape (k,)."""
    parts = (words(kind, KIT_LETTER), words(node, NODE_LETTERS), words(build, ("-4", "-3")))
    return np.array(["KIT-" + "".join(part) for part in zip(*parts, strict=True)], dtype=object)
