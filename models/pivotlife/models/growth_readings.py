"""Readings of free play as arrays, grouped by bushing life and by kind of reading.

A *cell* is the readings of one life that share rounding width, load state and grease state: all
that the likelihood needs of them are sums. Rows without a reading keep their life in the table
(nothing is known of it but its type), rows at or below half the rounding width are kept apart,
because "zero" only says that the play was too small to be read.
Not here: judging of rows (units, doubtful zeros), which happens before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pivotlife.models.errors import LivesError

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
REQUIRED = ("pivot_id", "miles", "free_play_mm")
# Finer than any dial reads; keeps the likelihood bounded where readings follow the curve exactly.
FINEST_MM = 0.002


@dataclass(frozen=True)
class GrowthReadings:
    """Readings sorted by life and kind.

    Attributes
    ----------
    life_pivot : Index, shape (n_lives,)
        pivot_id of each life.
    current_life : ndarray of int, shape (n_pivots,)
        The life of each pivot's last row.
    pivots : Index, shape (n_pivots,)
    row, censored_row : ndarray of int
        Row of the caller's table behind each measured or too-small-to-read value.
    log_miles, play_mm, weight : ndarray, shape (n_measured,)
        log miles of age, mm, and the share with which a reading counts (1 = full).
    cell : ndarray of int, shape (n_measured,)
    cell_life, cell_width_mm, cell_loaded, cell_greased : ndarray, shape (n_cells,)
    censored_life, censored_log_miles, censored_bound_mm, censored_width_mm, censored_loaded,
    censored_greased : ndarray, shape (n_censored,)
    """

    life_pivot: pd.Index[str]
    pivots: pd.Index[str]
    current_life: Integers
    row: Integers
    log_miles: Floats
    play_mm: Floats
    weight: Floats
    cell: Integers
    cell_life: Integers
    cell_width_mm: Floats
    cell_loaded: Floats
    cell_greased: Floats
    censored_row: Integers
    censored_life: Integers
    censored_log_miles: Floats
    censored_bound_mm: Floats
    censored_width_mm: Floats
    censored_loaded: Floats
    censored_greased: Floats

    @property
    def n_lives(self) -> int:
        """Number of bushing lives, read or not."""
        return len(self.life_pivot)

    @property
    def life(self) -> Integers:
        """Life of each measured reading, shape (n_measured,)."""
        return self.cell_life[self.cell]


def growth_readings(readings: pd.DataFrame) -> GrowthReadings:
    """Check a table of readings and sort it into arrays.

    Parameters
    ----------
    readings : DataFrame
        ``pivot_id``, ``miles`` (age of the bushing, miles), ``free_play_mm`` (NaN: no reading) and
        optionally ``life_id``, ``load_state`` ("loaded"; else unloaded), ``after_grease`` or
        ``greased_before`` (True or "yes"), ``resolution_mm`` (rounding width; missing: 0.002).
        Rows of a pivot stand in the order of time: the last row's life is the current one.

    Raises
    ------
    LivesError
        A required column is missing, or ages are negative or missing.
    """
    missing = [name for name in REQUIRED if name not in readings.columns]
    if missing:
        raise LivesError(f"The readings lack the column {', '.join(missing)}; add it.")
    miles = readings["miles"].to_numpy(dtype=float)
    play = readings["free_play_mm"].to_numpy(dtype=float)
    _check_ages(readings, miles, play)
    pivot_code, pivots = pd.factorize(readings["pivot_id"])
    life, life_first = _lives(readings, pivot_code)
    current = np.zeros(len(pivots), dtype=np.int64)
    current[pivot_code] = life
    width = np.maximum(np.nan_to_num(_column(readings, "resolution_mm")), FINEST_MM)
    loaded = _is(readings, "load_state", "loaded")
    greased = _is(readings, "after_grease", "yes") | _is(readings, "greased_before", "yes")
    log_miles = np.log(np.maximum(np.nan_to_num(miles, nan=1.0), 1.0))
    small = play <= 0.5 * width
    measured = np.flatnonzero(np.isfinite(play) & ~small)
    kind, widths = _kinds(width[measured], loaded[measured], greased[measured])
    key = life[measured] * (4 * len(widths)) + kind
    if np.any(key[1:] < key[:-1]):
        order = np.argsort(key, kind="stable")
        measured, key = measured[order], key[order]
    first = np.flatnonzero(np.r_[True, key[1:] != key[:-1]][: len(key)])
    cell = np.repeat(np.arange(len(first)), np.diff(np.r_[first, len(key)]))
    cell_row = measured[first]
    low = np.flatnonzero(small)
    return GrowthReadings(
        life_pivot=pd.Index(pivots[pivot_code[life_first]]),
        pivots=pd.Index(pivots),
        current_life=current,
        row=measured,
        log_miles=log_miles[measured],
        play_mm=play[measured],
        weight=np.ones(len(measured)),
        cell=cell,
        cell_life=life[cell_row],
        cell_width_mm=width[cell_row],
        cell_loaded=loaded[cell_row].astype(float),
        cell_greased=greased[cell_row].astype(float),
        censored_row=low,
        censored_life=life[low],
        censored_log_miles=log_miles[low],
        censored_bound_mm=0.5 * width[low],
        censored_width_mm=width[low],
        censored_loaded=loaded[low].astype(float),
        censored_greased=greased[low].astype(float),
    )


def select_lives(data: GrowthReadings, lives: Integers) -> GrowthReadings:
    """Return the readings of some lives, renumbered in the order given (each life once)."""
    new = np.full(data.n_lives, -1, dtype=np.int64)
    new[lives] = np.arange(len(lives))
    keep_cell = new[data.cell_life] >= 0
    keep = keep_cell[data.cell]
    low = new[data.censored_life] >= 0
    renumbered = np.cumsum(keep_cell) - 1
    return replace(
        data,
        life_pivot=data.life_pivot[lives],
        current_life=new[data.current_life],
        row=data.row[keep],
        log_miles=data.log_miles[keep],
        play_mm=data.play_mm[keep],
        weight=data.weight[keep],
        cell=renumbered[data.cell[keep]],
        cell_life=new[data.cell_life[keep_cell]],
        cell_width_mm=data.cell_width_mm[keep_cell],
        cell_loaded=data.cell_loaded[keep_cell],
        cell_greased=data.cell_greased[keep_cell],
        censored_row=data.censored_row[low],
        censored_life=new[data.censored_life[low]],
        censored_log_miles=data.censored_log_miles[low],
        censored_bound_mm=data.censored_bound_mm[low],
        censored_width_mm=data.censored_width_mm[low],
        censored_loaded=data.censored_loaded[low],
        censored_greased=data.censored_greased[low],
    )


def _lives(readings: pd.DataFrame, pivot_code: Integers) -> tuple[Integers, Integers]:
    """Return the life of each row, numbered by first appearance, and each life's first row."""
    key = pivot_code.astype(np.int64)
    if "life_id" in readings.columns:
        code, names = pd.factorize(readings["life_id"])
        key = key * (len(names) + 1) + code + 1
    life, keys = pd.factorize(key)
    life = life.astype(np.int64)
    first = np.empty(len(keys), dtype=np.int64)
    first[life[::-1]] = np.arange(len(life))[::-1]
    return life, first


def _kinds(
    width: Floats, loaded: NDArray[np.bool_], greased: NDArray[np.bool_]
) -> tuple[Integers, Floats]:
    codes, widths = pd.factorize(width)
    return codes * 4 + loaded * 2 + greased, np.asarray(widths if len(widths) else [0.0])


def _column(readings: pd.DataFrame, name: str) -> Floats:
    if name not in readings.columns:
        return np.zeros(len(readings))
    return readings[name].to_numpy(dtype=float)


def _is(readings: pd.DataFrame, name: str, word: str) -> NDArray[np.bool_]:
    if name not in readings.columns:
        return np.zeros(len(readings), dtype=bool)
    column = readings[name]
    if column.dtype == bool:
        return column.to_numpy()
    return np.asarray((column == word) | (column == True), dtype=bool)  # noqa: E712 - object column of mixed words and flags


def _check_ages(readings: pd.DataFrame, miles: Floats, play: Floats) -> None:
    wrong = np.flatnonzero((miles < 0) | (np.isnan(miles) & np.isfinite(play)))
    if len(wrong):
        first = ", ".join(str(name) for name in readings["pivot_id"].iloc[wrong[:5]])
        raise LivesError(
            f"{len(wrong)} readings have an age (miles) that is missing or below zero, first at "
            f"{first}; leave these rows out or give the age of the bushing."
        )
