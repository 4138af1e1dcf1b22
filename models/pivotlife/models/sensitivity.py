"""B10 of each type under other ways of reading the same records.

- **last good on record** (the default): good until the last good evidence that was written down. If
  bad findings are written down more faithfully than good ones, lives read too short.
- **good until the last visit**: a stop in the shop without a bad finding counts as good, though
  nobody may have looked. Lives read too long if bushings are not looked at.
- **each pivot counts once**: a pivot that fails often gives many short lives; here each of its
  lives counts by one over their number.
- **early failures not counted**: a failure found within the first 60,000 miles is taken as a bad
  fitting that ended the watch when the bushing was last good, so that a few such do not bend the
  curve of the sound ones. Lives read too long if these were wear.

The truth of the first two lies between them when recording is the only doubt.

Not here: removals before failure, which the table by type counts both ways.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.early_failures import FIRST_MILES
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import check_lives
from pivotlife.models.mode_lives import is_yes, lives_for_mode
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.type_cell import draws_units
from pivotlife.models.weibull import fit_weibull

COLUMNS: Final = ("bushing_type", "assumption", "b10", "b10_lower", "b10_upper", "note")
LAST_GOOD: Final = "last good on record"
LAST_VISIT: Final = "good until the last visit"
ONCE: Final = "each pivot counts once"
NOT_EARLY: Final = "early failures not counted"


def sensitivity_table(
    lives: pd.DataFrame, stops: pd.DataFrame, *, draws: int = 200, seed: int = 0
) -> pd.DataFrame:
    """Tabulate B10 by type and assumption.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.
    stops : DataFrame
        ``unit_id``, ``true_miles`` of every stop in the shop so far.
    draws, seed : int
        Of the unit bootstrap.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; miles. NaN where the lives determine no curve; the note says why.
    """
    usual = lives_for_mode(lives, "any")
    early = usual["upper_miles"] <= FIRST_MILES
    readings = {
        LAST_GOOD: usual,
        LAST_VISIT: lives_for_mode(good_until_last_visit(lives, stops), "any"),
        ONCE: usual.assign(weight=1.0 / usual.groupby("pivot_id")["life_id"].transform("size")),
        NOT_EARLY: usual.assign(upper_miles=usual["upper_miles"].mask(early, np.inf)),
    }
    rows = [
        {"bushing_type": kind, "assumption": assumption, **_b10(chosen, draws, seed)}
        for kind in sorted(usual["bushing_type"].unique())
        for assumption, table in readings.items()
        for chosen in [table[table["bushing_type"] == kind]]
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def good_until_last_visit(lives: pd.DataFrame, stops: pd.DataFrame) -> pd.DataFrame:
    """Count every stop in the shop without a bad finding as good evidence.

    Parameters
    ----------
    lives : DataFrame, one row per life
    stops : DataFrame
        ``unit_id``, ``true_miles``.

    Returns
    -------
    DataFrame
        The same lives; ``lower_miles`` raised to the last stop before the first bad evidence, or
        the last stop of the life; lives that only now were watched after entry join the fit.
        Exact failures, lives of unknown age and those bad when first seen stay as they are.
    """
    result = lives.copy()
    ages = {
        name: pd.to_numeric(lives[name]).to_numpy(dtype=np.float64)
        for name in (
            *("entry_miles", "lower_miles", "upper_miles", "first_evidence_miles"),
            *("last_visit_miles", "fitted_odometer_miles"),
        )
    }
    found = np.where(
        np.isfinite(ages["first_evidence_miles"]), ages["first_evidence_miles"], np.inf
    )
    before = _last_stop_before(lives["unit_id"], ages["fitted_odometer_miles"] + found, stops)
    last = np.where(
        np.isfinite(ages["upper_miles"]),
        before - ages["fitted_odometer_miles"],
        ages["last_visit_miles"],
    )
    stays = lives["evidence"].isin(["unknown-age", "prevalent"]).to_numpy()
    stays |= ages["lower_miles"] == ages["upper_miles"]
    raised = np.fmin(np.fmax(ages["lower_miles"], last), ages["upper_miles"])
    result["lower_miles"] = np.where(stays, ages["lower_miles"], raised)
    joins = (lives["evidence"] == "none-after-entry").to_numpy() & (raised > ages["entry_miles"])
    result["in_fit"] = is_yes(lives["in_fit"]) | joins
    return result


def _last_stop_before(
    unit_id: pd.Series[str], miles: FloatArray, stops: pd.DataFrame
) -> FloatArray:
    """Return the last stop of each unit strictly before some true miles; NaN when none."""
    by_unit = {
        str(unit): np.sort(rows.to_numpy(dtype=np.float64))
        for unit, rows in stops.dropna(subset=["true_miles"]).groupby("unit_id")["true_miles"]
    }
    result = np.full(len(unit_id), np.nan)
    for row, (unit, limit) in enumerate(zip(unit_id, miles, strict=True)):
        known = by_unit.get(str(unit))
        if known is None or not np.isfinite(limit):
            continue
        place = int(np.searchsorted(known, limit - 0.5, side="left"))
        if place:
            result[row] = known[place - 1]
    return result


def _b10(lives: pd.DataFrame, draws: int, seed: int) -> dict[str, object]:
    """Return B10 of some lives with its interval and what to know about it."""
    checked = check_lives(lives)
    sample = f"{checked.n_failures} failures of {checked.n_lives} lives"
    nothing = {"b10": np.nan, "b10_lower": np.nan, "b10_upper": np.nan}
    if checked.n_failures < FEW_FAILURES:
        return {**nothing, "note": f"{sample}: too few failures"}
    try:
        fit = fit_weibull(checked)
    except NoMaximumError as error:
        return {**nothing, "note": str(error)}
    method: Literal["bootstrap", "profile"] = "bootstrap" if draws_units(fit) else "profile"
    limits = fit.interval(("quantile", 0.1), method=method, draws=draws, seed=seed)
    return {
        "b10": float(fit.quantile(0.1)),
        "b10_lower": limits.lower,
        "b10_upper": limits.upper,
        "note": f"{sample}; shape {fit.shape:.2f}; interval by {method}",
    }
