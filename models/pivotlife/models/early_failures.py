"""Failures of the first miles, apart, beside the number that the fitted curves expect.

A bushing that was fitted badly fails young, and a Weibull curve has no room for a few such among
many sound ones. So the failures of the first 60,000 miles are counted by mode and by shop and set
beside what the curves expect: for each life the growth of the mode's cumulative hazard while it was
watched there (observed and expected counts are equal on average if the curve is right; Therneau &
Grambsch, Modeling Survival Data, 2000, chapter 4, from memory). A failure found in a gap happened
somewhere in it: it counts by the fitted chance that it lies in the first miles, and its watching
ends where the fitted curve puts it on average.

Expected counts come from the joint fit of the modes (`modes`) in the life's own duty, where that
has enough failures, else in the whole type; where no joint fit is defined, all inspected modes
count as one. A warning is raised when a difference as large, either way, has a chance below 1 %, by
Poisson's law and also by the spread of observed less expected between units: bushings of one truck
fail together, and one bad truck is not a bad batch.

No warning does not mean no bad fittings. Where few bushings have grown old, a curve bends to its
early failures (its shape falls to 1 or below) and then expects them; what they do to B10 stands in
`sensitivity`.

Not here: curves without the early failures (`sensitivity`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from scipy.stats import norm, poisson

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.findings import SUDDEN_MODES
from pivotlife.models.mode_cell import joint_fit
from pivotlife.models.mode_incidence import sudden_curve
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.modes import ModesFit, competing_lives, fit_modes
from pivotlife.models.modes_likelihood import log_integrals, stretches
from pivotlife.models.weibull_likelihood import FAR

COLUMNS: Final = (
    *("bushing_type", "cut", "value", "first_miles", "lives", "observed", "expected"),
    *("chance", "warning"),
)
FIRST_MILES: Final = 60_000.0
MORE: Final = "the fitted curve misses early failures"
FEWER: Final = "the fitted curve expects more early failures than there were"
#: Stands for all inspected modes where these cannot be fitted apart.
INSPECTED: Final = "any inspected"
#: Chance below which the curves are said to miss the early failures.
BEYOND_CHANCE: Final = 0.01


def early_failures(
    lives: pd.DataFrame,
    *,
    depot_of: Mapping[str, str] | None = None,
    first_miles: float = FIRST_MILES,
) -> pd.DataFrame:
    """Set the failures of the first miles beside what the fitted curves expect.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.
    depot_of : mapping of unit_id to depot, optional
        The shop that serves each unit.
    first_miles : float, miles

    Returns
    -------
    DataFrame
        Columns `COLUMNS`: each type as a whole (cut "all"), by mode and by depot. ``lives`` were
        watched in the first miles; ``chance`` of a difference as large if the curves are right.
        Types without a fitted curve are absent.
    """
    depots = dict(depot_of or {})
    rows: list[dict[str, object]] = []
    for kind, of_type in lives.groupby("bushing_type", sort=True):
        counted = _counted(of_type, first_miles)
        if counted is None:
            continue
        counted["depot"] = [depots.get(unit, "") for unit in counted["unit_id"]]
        cuts = [("all", "all", counted)]
        cuts += [("mode", str(mode), part) for mode, part in counted.groupby("mode", sort=True)]
        cuts += [
            ("depot", str(depot), part)
            for depot, part in counted.groupby("depot", sort=True)
            if depot
        ]
        for cut, value, part in cuts:
            row = {"bushing_type": kind, "cut": cut, "value": value, "first_miles": first_miles}
            rows.append({**row, **_summed(part)})
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _summed(part: pd.DataFrame) -> dict[str, object]:
    """Add up the counts of one row and say whether chance allows them."""
    observed, expected = float(part["observed"].sum()), float(part["expected"].sum())
    chance = 1.0
    if expected > 0.0:
        by_unit = (part["observed"] - part["expected"]).groupby(part["unit_id"]).sum()
        spread = max(float(np.sqrt((by_unit**2).sum())), 1e-300)
        more = float(poisson.sf(np.ceil(observed - 1e-6) - 1.0, expected))
        less = float(poisson.cdf(np.floor(observed + 1e-6), expected))
        by_spread = float(norm.sf((abs(observed - expected) - 0.5) / spread))
        chance = min(1.0, 2.0 * max(min(more, less), by_spread))
    warning = ""
    if chance < BEYOND_CHANCE:
        warning = MORE if observed > expected else FEWER
    return {
        "lives": int(part.loc[part["watched"], "life_id"].nunique()),
        "observed": observed,
        "expected": expected,
        "chance": chance,
        "warning": warning,
    }


def _counted(lives: pd.DataFrame, first_miles: float) -> pd.DataFrame | None:
    """Return one row per life and mode: observed and expected; None without a fit."""
    whole = joint_fit(lives)
    together = whole is None
    if whole is None:
        whole = _as_one_mode(lives)
    if whole is None:
        return None
    parts = []
    for _, of_duty in lives.groupby("duty", sort=True):
        own = competing_lives(of_duty)
        if together:
            own["mode"] = own["mode"].mask(own["mode"] != "", INSPECTED)
        fit = (_as_one_mode(of_duty) if together else joint_fit(of_duty)) or whole
        parts.append(_per_mode(own, fit.modes, (fit.shape, fit.scale), first_miles))
    for mode in SUDDEN_MODES:
        curve = sudden_curve(lives, mode)
        if curve is None:
            continue
        own = lives_for_mode(lives, mode).assign(mode=mode)
        own["mode"] = own["mode"].where(np.isfinite(own["upper_miles"]), "")
        shape, scale = np.array([curve.shape]), np.array([curve.scale])
        parts.append(_per_mode(own, (mode,), (shape, scale), first_miles))
    return pd.concat(parts, ignore_index=True)


def _as_one_mode(lives: pd.DataFrame) -> ModesFit | None:
    """Fit all inspected modes as one; None where the lives determine no curve."""
    own = competing_lives(lives)
    try:
        return fit_modes(own.assign(mode=own["mode"].mask(own["mode"] != "", INSPECTED)))
    except NoMaximumError:
        return None


def _per_mode(
    lives: pd.DataFrame,
    modes: tuple[str, ...],
    curves: tuple[FloatArray, FloatArray],
    first_miles: float,
) -> pd.DataFrame:
    """Return one row per life and mode with what was observed and expected in the first miles."""
    entry, lower, upper = (
        lives[name].to_numpy(dtype=np.float64)
        for name in ("entry_miles", "lower_miles", "upper_miles")
    )
    lower = np.maximum(lower, entry)
    place = {mode: number for number, mode in enumerate(modes)}
    cause = np.array([place.get(mode, -1) for mode in lives["mode"]], dtype=np.int64)
    shape, scale = curves
    start = _hazard(np.minimum(entry, first_miles), shape, scale)
    reached = _hazard(np.minimum(lower, first_miles), shape, scale)
    share = np.where((cause >= 0) & (upper <= first_miles), 1.0, 0.0)
    gap = np.flatnonzero((cause >= 0) & (lower < upper) & (lower < first_miles))
    if gap.size:
        ages = (cause[gap], lower[gap], upper[gap])
        reached[gap], share[gap] = _within_gaps(ages, curves, first_miles)
    observed = share[:, None] * (cause[:, None] == np.arange(len(modes)))
    watched = (entry < first_miles) & ((lower > entry) | (cause >= 0))
    expected = np.where(watched[:, None], reached - start, 0.0)
    return pd.DataFrame(
        {
            "life_id": np.repeat(lives["life_id"].to_numpy(), len(modes)),
            "unit_id": np.repeat(lives["unit_id"].to_numpy(), len(modes)),
            "mode": np.tile(np.array(modes, dtype=object), len(lives)),
            "watched": np.repeat(watched, len(modes)),
            "observed": (observed * watched[:, None]).ravel(),
            "expected": expected.ravel(),
        }
    )


def _hazard(ages: FloatArray, shape: FloatArray, scale: FloatArray) -> FloatArray:
    """Return H of each age and mode, shape (n, K)."""
    return np.asarray((ages[:, None] / scale) ** shape, dtype=np.float64)


def _within_gaps(
    ages: tuple[IntArray, FloatArray, FloatArray],
    curves: tuple[FloatArray, FloatArray],
    first_miles: float,
) -> tuple[FloatArray, FloatArray]:
    """Return, of failures in gaps, H on average where they happened, at most at the first miles.

    Second: the chance that they happened within the first miles.
    """
    cause, lower, upper = ages
    shape, scale = curves
    log_shape, log_scale = np.log(shape), np.log(scale)
    log_lower = np.full(lower.size, -FAR)
    np.log(lower, out=log_lower, where=lower > 0.0)
    log_upper = np.log(upper)
    average = np.empty((lower.size, shape.size))
    for rows, found in stretches(log_shape, log_scale, cause, log_lower, log_upper):
        weight = np.exp(found.log_share - found.log_integral[:, None])
        capped = np.minimum(np.exp(found.log_age), first_miles)
        hazard = (capped[:, :, None] / scale) ** shape
        average[rows] = np.einsum("in,ink->ik", weight, hazard)
    share = np.ones(lower.size)
    cut = upper > first_miles
    if cut.any():
        gap = (cause[cut], log_lower[cut])
        until = np.full(int(cut.sum()), np.log(first_miles))
        part = log_integrals(log_shape, log_scale, *gap, until)
        share[cut] = np.exp(part - log_integrals(log_shape, log_scale, *gap, log_upper[cut]))
    return average, share
