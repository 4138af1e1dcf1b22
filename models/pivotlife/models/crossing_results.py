"""Chances, bands and play of pivots as columns, from a life curve or from weighed ages.

Not here: which of the two speaks for a pivot.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.crossing_curves import Curve
from pivotlife.models.crossing_grid import (
    PlayPath,
    bin_nodes,
    bin_shares,
    chance_by,
    crossing_edges,
    crossing_quantile,
    log_likelihood,
    log_masses,
    posterior,
)
from pivotlife.models.crossing_readings import life_readings

FloatArray = npt.NDArray[np.float64]

#: A pivot is due when its chance of being over reaches this.
DUE_CHANCE: Final = 0.2


def by_play(
    part: pd.DataFrame, mine: pd.DataFrame, curve: Curve, path: PlayPath, bins: int
) -> pd.DataFrame:
    """Chances of pivots whose own readings sharpen the life curve.

    Parameters
    ----------
    part : DataFrame, one row per pivot
        age_miles, visit_age, next_age (miles), limit_mm.
    mine : DataFrame
        Their usable readings with `row`, the index of the pivot in `part`; each has at least one.
    curve : Curve
    path : PlayPath
    bins : int

    Returns
    -------
    DataFrame
        Result columns, index of `part`.
    """
    readings, _ = life_readings(mine, mine["row"])
    ages = part[["age_miles", "visit_age", "next_age"]].to_numpy(dtype=float)
    edges = crossing_edges([curve], float(np.nanmax(ages, initial=0.0)), bins)
    like = log_likelihood(path, readings, bin_nodes(edges))
    own = log_masses(edges, np.array([curve.shape]), np.array([curve.scale]))
    weights = posterior(own, like)
    out = _chances(part, lambda miles: chance_by(weights, edges, miles))
    drawn = np.exp(log_masses(edges, curve.shapes, curve.scales)).T
    # Scaled by the best bin; bins of no prior weight would overflow and weigh nothing anyway.
    kept = np.exp(np.minimum(like - (own + like).max(axis=1, keepdims=True), 500.0))
    by_next = kept * bin_shares(edges, np.nan_to_num(ages[:, 2]))
    band = (by_next @ drawn) / np.maximum(kept @ drawn, 1e-300)
    _add_band(out, band, ages[:, 2], is_bound=curve.is_bound)
    _add_play(out, part, weights, edges, path)
    due = crossing_quantile(weights, edges, DUE_CHANCE)
    out["miles_until_due"] = np.maximum(due - ages[:, 0], 0.0)
    out["readings_used"] = mine["row"].value_counts().reindex(part.index).to_numpy()
    out["method"] = f"life curve ({curve.name}) sharpened by own readings"
    return out


def by_curve(part: pd.DataFrame, curve: Curve) -> pd.DataFrame:
    """Chances from the life curve alone, given good at the last good finding.

    Parameters
    ----------
    part : DataFrame, one row per pivot
        age_miles, visit_age, next_age, last_good_miles (ages in miles; NaN = from new).
    curve : Curve

    Returns
    -------
    DataFrame
        Result columns, index of `part`; no play.
    """
    good = np.nan_to_num(part["last_good_miles"].to_numpy(dtype=float))
    base = curve.hazard_to(good)

    def chance(miles: FloatArray) -> FloatArray:
        return np.asarray(-np.expm1(-np.maximum(curve.hazard_to(miles) - base, 0.0)))

    out = _chances(part, chance)
    next_age = part["next_age"].to_numpy(dtype=float)
    hazard = curve.drawn_hazard_to(next_age) - curve.drawn_hazard_to(good)
    _add_band(out, -np.expm1(-np.maximum(hazard, 0.0)), next_age, is_bound=curve.is_bound)
    due = curve.scale * (base - np.log1p(-DUE_CHANCE)) ** (1 / curve.shape)
    out["miles_until_due"] = np.maximum(due - part["age_miles"].to_numpy(dtype=float), 0.0)
    out["readings_used"] = 0
    out["method"] = [
        f"life curve ({curve.name}) alone, " + (f"good at {g:,.0f} mi" if g > 0 else "from new")
        for g in good
    ]
    return out


def _chances(part: pd.DataFrame, chance: Callable[[FloatArray], FloatArray]) -> pd.DataFrame:
    columns = {
        "chance_over_now": "age_miles",
        "chance_over_at_visit": "visit_age",
        "chance_over_by_next_visit": "next_age",
    }
    return pd.DataFrame(
        {name: chance(part[age].to_numpy(dtype=float)) for name, age in columns.items()},
        index=part.index,
    )


def _add_band(out: pd.DataFrame, band: FloatArray, next_age: FloatArray, *, is_bound: bool) -> None:
    """Put the 10 % and 90 % end of the chance; of an upper bound the lower end is 0."""
    lower, upper = np.quantile(band, [0.1, 0.9], axis=1)
    middle = out["chance_over_by_next_visit"].to_numpy()
    known = np.isfinite(next_age)
    out["chance_lower"] = np.where(known, 0.0 if is_bound else np.minimum(lower, middle), np.nan)
    out["chance_upper"] = np.where(known, np.maximum(upper, middle), np.nan)


def _add_play(
    out: pd.DataFrame, part: pd.DataFrame, weights: FloatArray, edges: FloatArray, path: PlayPath
) -> None:
    """Median play, and the 10 % to 90 % range of the true play, at the visits."""
    limit = part["limit_mm"].to_numpy(dtype=float)
    visit = part["visit_age"].to_numpy(dtype=float)
    median = crossing_quantile(weights, edges, 0.5)
    out["play_at_visit_mm"] = limit * path.play(visit / median)
    # Play falls with the crossing age: the early crossers have the large play.
    early, late = (crossing_quantile(weights, edges, p) for p in (0.1, 0.9))
    out["play_at_visit_lower_mm"] = limit * path.play(visit / late)
    out["play_at_visit_upper_mm"] = limit * path.play(visit / early)
    out["play_at_next_visit_mm"] = limit * path.play(part["next_age"].to_numpy() / median)
