"""Drawing when bushings in service, and those fitted later, will pass their limit.

A bushing in service is known by its chance of being over at the coming visits. Written as a
cumulative hazard H = -log(1 - chance) these chances are points of a curve over the unit's miles; it
is straight between the points, and beyond the last of them goes on as the life curve of the type
does from that age. One exponential draw E then gives the miles where H reaches E (inverse
transform). A draw below H today is over its limit already. A bushing fitted later follows the life
curve from new.

How far the law itself may be off enters by whole laws: each law multiplies the hazard of a type in
a duty by one factor, as wide as the band of the chances says, and takes one of the curves that the
records allow.

Not here: visits and what is done there (`demand_rounds`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import pandas as pd
from scipy.special import ndtri

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.life_curves import Curve

#: A 10 to 90 % band spans this many standard deviations of a normal law.
_BAND: Final = 2.0 * 1.2815515655446004
#: The factor's spread is held below this: a band from 0 says nothing about it.
_WIDEST: Final = 1.0
_SURE: Final = 1.0 - 1e-9


class LooksUpCurves(Protocol):
    """What is needed of a book of life curves."""

    def curve(self, bushing_type: str, duty: str) -> Curve | None:
        """Return the curve that speaks for a type in a duty, or None."""


@dataclass(frozen=True, eq=False)
class Prospects:
    """What is known of the coming failures of n pivots; the order is that of the table given.

    Attributes
    ----------
    miles : ndarray, shape (n, J), miles
        True miles of the unit: today, at its next visit, the one after, and on.
    hazard : ndarray, shape (n, J)
        Cumulative hazard of being over by then, never falling.
    age_miles : ndarray, shape (n,), miles
        Age today; NaN where nobody knows.
    spread : ndarray, shape (n,)
        Standard deviation of the log of the law's factor.
    cell : ndarray of int, shape (n,)
        Type and duty; pivots of one cell share a law's factor.
    shape, scale : ndarray, shape (n, laws)
        Life curve of what is fitted, under each law; NaN without one.
    sudden_per_mile : ndarray, shape (n,)
        Rate of breaking without warning.
    has_estimate : ndarray of bool, shape (n,)
    """

    miles: FloatArray
    hazard: FloatArray
    age_miles: FloatArray
    spread: FloatArray
    cell: IntArray
    shape: FloatArray
    scale: FloatArray
    sudden_per_mile: FloatArray
    has_estimate: BoolArray


def prospects(
    pivots: pd.DataFrame, curves: LooksUpCurves, sudden: dict[str, float], laws: int
) -> Prospects:
    """Collect what is known of the coming failures of pivots.

    Parameters
    ----------
    pivots : DataFrame, one row per pivot
        bushing_type, duty, miles_now, visit_miles, next_visit_miles, age_miles (miles), the
        chances chance_over_now, chance_over_at_visit, chance_over_by_next_visit,
        chance_ahead_1 and on, chance_lower, chance_upper.
    curves : CurveBook
    sudden : dict of bushing type to rate per mile
    laws : int
        Laws to draw from what the records allow.

    Returns
    -------
    Prospects
    """
    ahead = [name for name in pivots.columns if name.startswith("chance_ahead_")]
    ahead = sorted(ahead, key=lambda name: int(name.rsplit("_", 1)[1]))
    names = ["chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit", *ahead]
    chance = pivots[names].to_numpy(dtype=float)
    known = np.isfinite(chance).all(axis=1)
    hazard = -np.log1p(-np.clip(np.nan_to_num(chance), 0.0, _SURE))
    first, second = (
        pivots[name].to_numpy(dtype=float) for name in ("visit_miles", "next_visit_miles")
    )
    later = second[:, None] + (second - first)[:, None] * np.arange(1, len(ahead) + 1)
    now = pivots["miles_now"].to_numpy(dtype=float)
    keys = pivots["bushing_type"].astype(str) + "/" + pivots["duty"].astype(str)
    cell, cells = pd.factorize(keys)
    shapes, scales = _curves(list(cells), curves, laws)
    return Prospects(
        miles=np.column_stack([now, first, second, later]),
        hazard=np.maximum.accumulate(hazard, axis=1),
        age_miles=pivots["age_miles"].to_numpy(dtype=float),
        spread=_spread(pivots),
        cell=np.asarray(cell, dtype=np.int64),
        shape=shapes[cell],
        scale=scales[cell],
        sudden_per_mile=np.asarray(pivots["bushing_type"].map(sudden).fillna(0.0), dtype=float),
        has_estimate=known & np.isfinite(now) & np.isfinite(second),
    )


def _curves(cells: list[str], curves: LooksUpCurves, laws: int) -> tuple[FloatArray, FloatArray]:
    """Curves of each cell under each law; the first law is the fit itself."""
    shapes, scales = np.full((2, len(cells), laws), np.nan)
    for place, name in enumerate(cells):
        kind, duty = name.split("/", 1)
        curve = curves.curve(kind, duty)
        if curve is not None:
            turn = np.arange(laws - 1) % len(curve.shapes)
            shapes[place] = np.append(curve.shape, curve.shapes[turn])
            scales[place] = np.append(curve.scale, curve.scales[turn])
    return shapes, scales


def _spread(pivots: pd.DataFrame) -> FloatArray:
    """Take the spread of the log hazard by the visit after next from the chance's band."""
    ends = [
        -np.log1p(-np.clip(pivots[name].to_numpy(dtype=float), 0.0, _SURE))
        for name in ("chance_lower", "chance_upper")
    ]
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.log(ends[1] / ends[0]) / _BAND
    return np.asarray(np.clip(np.nan_to_num(spread, posinf=_WIDEST), 0.0, _WIDEST))


def law_factors(known: Prospects, laws: int, seed: int) -> FloatArray:
    """Factor of the hazard of each pivot under each law, shape (n, laws).

    The factors of a cell are evenly spread quantiles of its normal law in a shuffled order, so
    that few laws already have the right spread.
    """
    random = np.random.default_rng(seed)
    scores = ndtri((np.arange(laws) + 0.5) / laws)
    cells = int(known.cell.max(initial=-1)) + 1
    by_cell = np.array([random.permutation(scores) for _ in range(cells)]).reshape(cells, laws)
    return np.asarray(np.exp(by_cell[known.cell] * known.spread[:, None]))


def crossing_miles(
    known: Prospects, factor: FloatArray, law: IntArray, uniform: FloatArray
) -> FloatArray:
    """Draw the unit's miles at which each bushing in service passes its limit.

    Parameters
    ----------
    known : Prospects
    factor : ndarray, shape (n, laws)
        From `law_factors`.
    law : ndarray of int, shape (S,)
        Law of each draw.
    uniform : ndarray, shape (n, S), in [0, 1)

    Returns
    -------
    ndarray, shape (n, S), miles
        Today's miles where it is over already; infinity where nothing is known.
    """
    reached = -np.log1p(-uniform) / factor[:, law]
    last = known.hazard.shape[1] - 1
    out = np.where(reached <= known.hazard[:, :1], known.miles[:, :1], np.inf)
    for j in range(last):
        low, high = known.hazard[:, j, None], known.hazard[:, j + 1, None]
        here = (reached > low) & (reached <= high)
        part = (reached - low) / np.where(high > low, high - low, 1.0)
        begin, end = known.miles[:, j, None], known.miles[:, j + 1, None]
        out = np.where(here, begin + part * (end - begin), out)
    beyond = reached > known.hazard[:, last, None]
    left = reached - known.hazard[:, last, None]
    out = np.where(beyond, _beyond(known, law, np.maximum(left, 0.0)), out)
    return np.where(known.has_estimate[:, None], out, np.inf)


def _beyond(known: Prospects, law: IntArray, left: FloatArray) -> FloatArray:
    """Miles at which the rest of the hazard is used up, by the life curve from the last point on.

    Without an age or a curve the last stretch goes on as it was.
    """
    end = known.miles[:, -1]
    age = known.age_miles + (end - known.miles[:, 0])
    shape, scale = known.shape[:, law], known.scale[:, law]
    with np.errstate(divide="ignore", invalid="ignore"):
        used = (age[:, None] / scale) ** shape
        further = scale * (used + left) ** (1.0 / shape) - age[:, None]
        pace = (known.hazard[:, -1] - known.hazard[:, -2]) / (end - known.miles[:, -2])
        even = left / pace[:, None]
    further = np.where(np.isfinite(further), further, np.nan_to_num(even, nan=np.inf))
    return np.asarray(end[:, None] + further)


def new_life_miles(known: Prospects, law: IntArray, uniform: FloatArray) -> FloatArray:
    """Draw the lives of bushings fitted later, shape (n, S), miles; infinity without a curve."""
    with np.errstate(invalid="ignore"):
        life = known.scale[:, law] * (-np.log1p(-uniform)) ** (1.0 / known.shape[:, law])
    return np.asarray(np.nan_to_num(life, nan=np.inf))
