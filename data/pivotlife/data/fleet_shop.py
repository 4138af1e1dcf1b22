"""The invented shop's books: bushings as they stand, lives opened and closed, rows kept.

Not here: what the shop decides (`fleet_service`). All numbers are invented.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray
from pivotlife.data.fleet_bushings import Bushings, life_scale, new_bushings
from pivotlife.data.fleet_draws import Draws
from pivotlife.data.fleet_units import Trucks

REASONS = ("", "wear", "split", "seized", "broken", "preventive", "partner", "campaign")
NONE, WEAR, SPLIT, SEIZED, BROKEN, PREVENTIVE, PARTNER, CAMPAIGN = range(len(REASONS))
FAILURES = (WEAR, SPLIT, SEIZED, BROKEN)

Recording = Literal["independent", "bad-always"]


@dataclass(frozen=True)
class ShopRules:
    """How the shop works: what it writes down, and whether it renews before the limit.

    Attributes
    ----------
    recording : "independent" or "bad-always"
        "independent": of the measurements due, 70 % are made and written down, good or bad alike.
        "bad-always": all are made; bad ones are always written down, good ones in 70 %.
    renew_at : float or None
        Share of the limit at which a metal bushing is renewed as a precaution; None never.
    """

    recording: Recording = "independent"
    renew_at: float | None = None


@dataclass(frozen=True)
class History:
    """All that happened to a block, recorded or not; one row an event.

    Attributes
    ----------
    lives : DataFrame
        unit, pivot (places), kind, order, fitted_day, fitted_miles, the bushing's fate, care,
        bore_worn, end_day, end_miles, end_reason (0 = still in, or gone with its truck).
    readings : DataFrame
        life, unit, pivot, stop, day, miles, age, play, written, written_mm, finding,
        takes_grease, after_repair.
    repairs : DataFrame
        life, unit, pivot, stop, day, miles, age, reason, kind, play, seen_mm, spent, bore_told,
        roadside, regreased.
    """

    lives: pd.DataFrame
    readings: pd.DataFrame
    repairs: pd.DataFrame


@dataclass
class Shop:
    """The block as it stands; arrays of shape (units, 6) unless said otherwise."""

    trucks: Trucks
    draws: Draws
    rules: ShopRules
    bias_mm: FloatArray
    convert_at: IntArray
    bushings: Bushings
    fitted: FloatArray
    life: IntArray
    order: IntArray
    pending: IntArray
    bore: BoolArray
    converted: BoolArray
    until_miles: FloatArray
    lives_so_far: int = 0
    pieces: dict[str, list[dict[str, np.ndarray]]] = field(
        default_factory=lambda: defaultdict(list)
    )


def open_shop(
    trucks: Trucks, draws: Draws, rules: ShopRules, bias_mm: FloatArray, convert_at: IntArray
) -> Shop:
    """Deliver the trucks with their first bushings, fitted at odometer 0."""
    shape = (len(trucks.number), 6)
    units = np.arange(shape[0])
    nothing = np.zeros(shape)
    flags = np.zeros(shape, dtype=bool)
    kind = np.repeat(trucks.first_kind[:, None], 6, axis=1)
    shop = Shop(
        trucks, draws, rules, bias_mm, convert_at,
        bushings=Bushings(kind, nothing.copy(), nothing.copy(), *(flags.copy() for _ in range(4))),
        fitted=nothing.copy(),
        life=np.full(shape, -1),
        order=np.full(shape, 0),
        pending=np.full(shape, NONE),
        bore=flags.copy(),
        converted=np.zeros(shape[0], dtype=bool),
        until_miles=trucks.miles_on(units, trucks.until_day),
    )  # fmt: skip
    day = np.repeat(trucks.day[:, :1], 6, axis=1)
    here = np.ones(shape, dtype=bool)
    fit(shop, here, 0, day=day, miles=nothing, kind=kind, mirrored=False)
    return shop


def fit(
    shop: Shop,
    here: BoolArray,
    stop: int,
    *,
    day: IntArray,
    miles: FloatArray,
    kind: IntArray,
    mirrored: bool,
) -> None:
    """Fit new bushings where `here`, and open their lives.

    Parameters
    ----------
    shop : Shop
        Changed in place.
    here : ndarray of bool, shape (units, 6)
    stop : int
        Stop whose random numbers settle their fate.
    day : ndarray of int, shape (units, 6)
    miles : ndarray of float, shape (units, 6)
        True odometer miles.
    kind : ndarray of int, shape (units, 6)
        Types fitted.
    mirrored : bool
        True at the roadside: the same numbers counted from the other end, so that the stop that
        follows has its own.
    """
    trucks = shop.trucks
    care = np.minimum(1.0, trucks.care + sc.ATTENTION_EFFECT * shop.converted)[:, None]
    per_unit = (trucks.duty[:, None], trucks.salt[:, None], care, trucks.frailty[:, None])
    scale = life_scale(kind, *per_unit) * np.where(shop.bore, sc.WORN_BORE_FACTOR, 1.0)
    fresh = new_bushings(kind, scale, shop.draws.bushing(stop, mirrored))
    for part in fields(Bushings):
        getattr(shop.bushings, part.name)[here] = getattr(fresh, part.name)[here]
    unit, pivot = np.nonzero(here)
    ids = shop.lives_so_far + np.arange(len(unit))
    shop.lives_so_far += len(unit)
    shop.life[here] = ids
    shop.order[here] += 1
    shop.fitted[here] = miles[here]
    shop.pending[here] = NONE
    rows = {part.name: getattr(shop.bushings, part.name)[here] for part in fields(Bushings)}
    rows |= {"unit": unit, "pivot": pivot, "order": shop.order[here], "fitted_day": day[here]}
    rows |= {"fitted_miles": miles[here], "care": care[unit, 0], "bore_worn": shop.bore[here]}
    shop.pieces["lives"].append(rows)


def write_readings(
    shop: Shop, here: BoolArray, stop: int, columns: dict[str, np.ndarray], after_repair: bool
) -> None:
    """Keep the readings where `here`, shape (units, 6); `columns` are arrays of that shape."""
    unit, pivot = np.nonzero(here)
    rows = {"unit": unit, "pivot": pivot, "stop": np.full(len(unit), stop)}
    rows |= {name: array[here] for name, array in columns.items()}
    rows |= {"kind": shop.bushings.kind[here], "after_repair": np.full(len(unit), after_repair)}
    shop.pieces["readings"].append(rows)


def _frame(pieces: list[dict[str, np.ndarray]]) -> pd.DataFrame:
    """Join pieces of columns into one frame."""
    return pd.DataFrame({c: np.concatenate([p[c] for p in pieces]) for c in pieces[0]})


def close_books(shop: Shop) -> History:
    """Close the books: each life ends with its repair, its truck or the window."""
    lives = _frame(shop.pieces["lives"])
    readings = _frame(shop.pieces["readings"])
    repairs = _frame(shop.pieces["repairs"]) if shop.pieces["repairs"] else _no_repairs()
    unit = lives["unit"].to_numpy()
    end_day = shop.trucks.until_day[unit].copy()
    end_miles = np.floor(shop.until_miles[unit])
    end_reason = np.full(len(lives), NONE)
    ended = repairs.loc[~repairs["regreased"].to_numpy(dtype=bool)]
    life = ended["life"].to_numpy(dtype=np.int64)
    end_day[life] = ended["day"].to_numpy()
    end_miles[life] = ended["miles"].to_numpy()
    end_reason[life] = ended["reason"].to_numpy()
    lives = lives.assign(end_day=end_day, end_miles=end_miles, end_reason=end_reason)
    return History(lives, readings, repairs)


def _no_repairs() -> pd.DataFrame:
    """Columns of repairs, for a block in which nothing was replaced."""
    whole = ("unit", "pivot", "stop", "life", "day", "reason", "kind")
    flags = ("spent", "bore_told", "roadside", "regreased")
    numbers = ("miles", "age", "play", "seen_mm")
    frame = {name: np.array([], dtype=np.int64) for name in whole}
    empty = frame | {name: np.array([], dtype=bool) for name in flags}
    return pd.DataFrame(empty | {name: np.array([], dtype=float) for name in numbers})
