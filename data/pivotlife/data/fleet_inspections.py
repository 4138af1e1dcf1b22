"""What an inspector reads and writes at an invented pivot. All numbers are invented.

A reading is the true play, less where the joint is loaded or freshly greased, plus the gauge's
and the inspector's error, rounded to the unit the depot writes in; some inspectors judge by eye in
sixteenths of an inch.

Not here: typing errors, which `fleet_faults` adds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray, stream
from pivotlife.data.fleet_bushings import Bushings, refuses_grease
from pivotlife.data.fleet_draws import GAUGE_CHANNELS, Draws
from pivotlife.data.fleet_units import Trucks

INSPECTOR_STREAM = 3
SIXTEENTH_MM = sc.MM_PER_INCH / 16
MM_PER_PLAY_UNIT = np.array([sc.MM_PER_INCH, sc.MM_PER_INCH / 1000, 1.0])

FINDINGS = ("", "ok", "split", "extruded", "seized", "broken", "loose-fit")
NO_WORD, OK, SPLIT, EXTRUDED, SEIZED, BROKEN, LOOSE_FIT = range(len(FINDINGS))


@dataclass(frozen=True)
class Sheet:
    """Circumstances of a stop, all arrays of shape (units,)."""

    inspector: IntArray
    loaded: BoolArray
    unlabelled: BoolArray
    greased: BoolArray
    sixteenth: BoolArray


@dataclass(frozen=True)
class Measured:
    """Free play as written, shape (units, 6): the number in the depot's unit, and in mm."""

    written: FloatArray
    written_mm: FloatArray


def inspector_bias_mm(seed: int) -> FloatArray:
    """Constant error of each inspector, shape (depots, inspectors), millimetres."""
    shape = (len(sc.DEPOTS), sc.INSPECTORS_PER_DEPOT)
    return sc.INSPECTOR_SD_MM * stream(seed, INSPECTOR_STREAM).standard_normal(shape)


def sheet_at(draws: Draws, stop: int) -> Sheet:
    """Say who measured at a stop, and under what circumstances."""
    who = (draws.of_sheet("inspector", stop) * sc.INSPECTORS_PER_DEPOT).astype(np.int64)
    return Sheet(
        inspector=who,
        loaded=draws.of_sheet("loaded", stop) < sc.LOADED_SHARE,
        unlabelled=draws.of_sheet("unlabelled", stop) < sc.UNLABELLED_SHARE,
        greased=draws.of_sheet("greased", stop) < sc.GREASED_SHARE,
        sixteenth=draws.of_sheet("sixteenth", stop) < sc.SIXTEENTH_SHARE,
    )


def write_play(raw_mm: FloatArray, unit: IntArray, sixteenth: BoolArray) -> Measured:
    """Round a reading as its depot writes it.

    Parameters
    ----------
    raw_mm : ndarray of float, millimetres
        What the gauge shows; below zero counts as zero.
    unit : ndarray of int
        `scenario.INCHES` (to 0.001), `THOUSANDTHS` (whole) or `MILLIMETRES` (to 0.1).
    sixteenth : ndarray of bool
        Judged by eye in sixteenths of an inch.

    Returns
    -------
    Measured
        Of the broadcast shape of the arguments.
    """
    eye = np.round(raw_mm / SIXTEENTH_MM) * SIXTEENTH_MM
    shown = np.maximum(np.where(sixteenth, eye, raw_mm), 0.0)
    inches = shown / sc.MM_PER_INCH
    in_inches = np.where(sixteenth, np.round(inches, 4), np.round(inches, 3))
    in_thousandths = np.where(sixteenth, np.round(inches * 1000, 1), np.round(inches * 1000))
    written = np.choose(unit, [in_inches, in_thousandths, np.round(shown, 1)])
    return Measured(written=written, written_mm=written * MM_PER_PLAY_UNIT[unit])


def measure(
    play_mm: FloatArray,
    kind: IntArray,
    *,
    trucks: Trucks,
    sheet: Sheet,
    gauge: FloatArray,
    bias_mm: FloatArray,
) -> Measured:
    """Read free play at all pivots of a block at one stop.

    Parameters
    ----------
    play_mm : ndarray of float, shape (units, 6), millimetres
        True play.
    kind : ndarray of int, shape (units, 6)
        Bushing types; grease hides play only where there is grease.
    trucks : Trucks
    sheet : Sheet
    gauge : ndarray of float, shape (units, 6)
        Standard normal gauge errors.
    bias_mm : ndarray of float, shape (depots, inspectors)

    Returns
    -------
    Measured
    """
    loaded = np.where(sheet.loaded, sc.LOADED_FACTOR, 1.0)[:, None]
    hidden = sc.GREASE_OFFSET_MM * (sheet.greased[:, None] & (kind != sc.RUBBER))
    bias = bias_mm[trucks.depot, sheet.inspector][:, None]
    raw = loaded * play_mm - hidden + bias + sc.GAUGE_SD_MM * gauge
    return write_play(raw, sc.DEPOT_PLAY_UNIT[trucks.depot][:, None], sheet.sixteenth[:, None])


def gauge_errors(draws: Draws, stop: int, purpose: str) -> FloatArray:
    """Pick the standard normal gauge errors of a stop, shape (units, 6)."""
    return draws.gauge[:, stop, :, GAUGE_CHANNELS.index(purpose)]


def find(
    bushings: Bushings, age: FloatArray, over: BoolArray, word: FloatArray
) -> tuple[IntArray, BoolArray]:
    """Say what the inspector finds beside the play.

    Parameters
    ----------
    bushings : Bushings
    age : ndarray of float, miles
    over : ndarray of bool
        Metal bushings whose written play reaches the limit.
    word : ndarray of float
        Uniform numbers: whether a sound metal bushing is called ok or left without a word.

    Returns
    -------
    finding : ndarray of int
        Place in `FINDINGS`. Rubber always has a word.
    takes_grease : ndarray of bool
        False where the pin refuses it.
    """
    spent = age >= bushings.wear_age
    rubber = bushings.kind == sc.RUBBER
    finding = np.where(~over & (word < 0.5), OK, NO_WORD)
    finding = np.where(rubber, OK, finding)
    torn = np.where(bushings.extruded, EXTRUDED, SPLIT)
    finding = np.where(rubber & spent, torn, finding)
    finding = np.where(bushings.seized & spent, SEIZED, finding)
    return finding, ~refuses_grease(bushings, age)
