"""Lives as one failure mode sees them, and what removals in good time would say if counted.

`lives_for_mode` turns the table of all lives (one row a life, default columns for mode "any") into
lower, upper and entry ages for one mode by itself. A failure of the mode stays what it is. For the
rest it depends on how the mode is found:

**Found by inspection** (wear, split, rough, seized, loose-fit). What nobody inspected is not known.

- A failure of another mode found at a visit, somewhere in (l, u], ended the exposure to this mode
  at an unknown age. It is taken in the middle while the gap is under one fifth of this mode's
  median life (give ``median_miles``), otherwise at l, the last age known good.
- A break on the road at a known age says nothing about what an inspection would have found then:
  censored at the last good evidence.
- Everything else keeps its default ages (last good evidence).

**Sudden** (broken). A break shows itself, so every mile in service counts.

- Entry is the age when the unit's records begin, or 0: nothing needs to have been found good.
- Whatever did not break is censored at the age it was last seen in service; this includes lives
  that were worn when the records began or were never measured.
- A break found at a visit lies between the last good evidence and that visit.

Lives fitted at an unknown age are in no fit.

`removals_as_failures` is the other naive reading of renewals in good time and of removals for
unknown reasons: each counted as a failure at its removal.

Not here: the joint likelihood of modes under inspections; removals weighted by what the readings
say about them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.errors import LivesError
from pivotlife.models.findings import SUDDEN_MODES

#: A gap up to this share of the mode's median may be replaced by its middle.
GAP_SHARE = 0.2
#: Columns that name a life and say what it was; kept in every result.
DESCRIPTION = ("life_id", "unit_id", "pivot_id", "bushing_type", "duty", "node", "life_order")
COLUMNS = (*DESCRIPTION, "entry_miles", "lower_miles", "upper_miles", "weight", "informative")


def lives_for_mode(lives: pd.DataFrame, mode: str, *, median_miles: float = np.inf) -> pd.DataFrame:
    """Return the lives that say something about one failure mode.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The columns of the table of lives; ages in miles since fitting.
    mode : str
        "any" for the first failure of any mode, or one mode by itself.
    median_miles : float, miles
        The mode's median life as far as known; gaps of other modes' failures of a fifth of it or
        more are not replaced by their middle.

    Returns
    -------
    DataFrame
        life_id, unit_id, pivot_id, bushing_type, duty, node, life_order, entry_miles, lower_miles,
        upper_miles, weight (1), informative; one row for each life in the fit.

    Raises
    ------
    LivesError
        A column is missing.
    """
    _demand(lives)
    if mode in SUDDEN_MODES:
        chosen = _sudden(lives, mode)
    else:
        chosen = lives.loc[is_yes(lives["in_fit"])].copy()
        if mode != "any":
            _censor_others(chosen, mode, median_miles)
    chosen["weight"] = 1.0
    return chosen.loc[:, list(COLUMNS)].reset_index(drop=True)


def other_mode_gaps(
    lives: pd.DataFrame, mode: str, *, median_miles: float = np.inf
) -> tuple[int, int]:
    """Return how many failures of other modes were taken mid-gap, and how many at last good."""
    if mode == "any" or mode in SUDDEN_MODES:
        return 0, 0
    in_fit = lives.loc[is_yes(lives["in_fit"])]
    is_gap, is_narrow = _other_gaps(in_fit, mode, median_miles)
    return int(np.count_nonzero(is_narrow)), int(np.count_nonzero(is_gap & ~is_narrow))


def removals_as_failures(lives: pd.DataFrame) -> tuple[pd.DataFrame, int, int]:
    """Count informative removals and removals for unknown reasons as wear at removal.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The columns of the table of lives.

    Returns
    -------
    DataFrame
        The same lives; each such removal is a failure of mode wear between its last good evidence
        and its removal, exact when it was good at the removal itself.
    int, int
        How many informative removals and how many of unknown reason were counted.
    """
    _demand(lives)
    result = lives.copy()
    removed = _ages(lives, "removed_odometer_miles") - _ages(lives, "fitted_odometer_miles")
    removed = np.where(np.isnan(removed), _ages(lives, "last_seen_miles"), removed)
    entry, lower = _ages(lives, "entry_miles"), _ages(lives, "lower_miles")
    lower = np.where(np.isnan(lower), entry, np.maximum(lower, entry))
    evidence = lives["evidence"].astype(str)
    usable = (
        ~evidence.isin(["unknown-age", "prevalent", "in-service"]).to_numpy()
        & ~(_ages(lives, "upper_miles") < np.inf)
        & (removed > entry)
    )
    informative = is_yes(lives["informative"]) & usable
    unknown = (lives["removed_reason"].astype(str) == "unknown").to_numpy() & usable & ~informative
    counted = informative | unknown
    result["lower_miles"] = np.where(counted, np.minimum(lower, removed), lives["lower_miles"])
    result["upper_miles"] = np.where(counted, removed, lives["upper_miles"])
    result["mode"] = np.where(counted, "wear", lives["mode"])
    result["in_fit"] = is_yes(lives["in_fit"]) | counted
    return result, int(np.count_nonzero(informative)), int(np.count_nonzero(unknown))


def is_yes(column: pd.Series[Any]) -> BoolArray:
    """Return True where a column says true, whether as a truth value or as a word."""
    if column.dtype == bool:
        return column.to_numpy(dtype=bool)
    return column.astype(str).str.lower().isin(["true", "yes", "1"]).to_numpy(dtype=bool)


def _censor_others(chosen: pd.DataFrame, mode: str, median_miles: float) -> None:
    """Turn failures of other modes into right-censored lives, in place."""
    lower, upper = _ages(chosen, "lower_miles"), _ages(chosen, "upper_miles")
    is_other = np.isfinite(upper) & (chosen["mode"] != mode).to_numpy()
    _, is_narrow = _other_gaps(chosen, mode, median_miles)
    last_good = np.fmax(_ages(chosen, "last_good_miles"), _ages(chosen, "entry_miles"))
    broke = is_other & (lower == upper)
    lower = np.where(broke, np.minimum(last_good, upper), lower)
    lower = np.where(is_narrow, 0.5 * (lower + upper), lower)
    chosen["lower_miles"] = lower
    chosen["upper_miles"] = np.where(is_other, np.inf, upper)


def _other_gaps(
    chosen: pd.DataFrame, mode: str, median_miles: float
) -> tuple[BoolArray, BoolArray]:
    """Return which rows are gaps of other modes' failures, and which of them are narrow."""
    lower, upper = _ages(chosen, "lower_miles"), _ages(chosen, "upper_miles")
    is_other = np.isfinite(upper) & (chosen["mode"] != mode).to_numpy()
    is_gap: BoolArray = is_other & (lower < upper)
    gap = np.where(is_gap, upper, 0.0) - np.where(is_gap, lower, 0.0)
    is_narrow: BoolArray = is_gap & (gap < GAP_SHARE * median_miles)
    return is_gap, is_narrow


def _sudden(lives: pd.DataFrame, mode: str) -> pd.DataFrame:
    """Return lives watched from the start of records until last seen in service."""
    known = lives.loc[(lives["evidence"].astype(str) != "unknown-age").to_numpy()].copy()
    entry = np.fmax(_ages(known, "records_begin_miles"), 0.0)
    default_lower, default_upper = _ages(known, "lower_miles"), _ages(known, "upper_miles")
    first_bad = _ages(known, "first_evidence_miles")
    failed = (known["mode"] == mode).to_numpy()
    exact = failed & (default_lower == default_upper)
    failed_by = np.where(np.isfinite(default_upper), default_upper, first_bad)
    seen = np.fmax(np.fmax(_ages(known, "last_seen_miles"), _ages(known, "last_good_miles")), entry)
    good = np.fmax(np.fmax(_ages(known, "last_good_miles"), entry), 0.0)
    lower = np.where(failed, np.where(exact, failed_by, np.fmin(good, failed_by)), seen)
    upper = np.where(failed, failed_by, np.inf)
    known["entry_miles"], known["lower_miles"], known["upper_miles"] = entry, lower, upper
    usable = (upper > entry) & np.where(failed, np.isfinite(failed_by), lower > entry)
    return known.loc[usable].copy()


def _ages(lives: pd.DataFrame, column: str) -> FloatArray:
    """Return a column of ages as floats."""
    ages: npt.NDArray[np.float64] = pd.to_numeric(lives[column]).to_numpy(dtype=np.float64)
    return ages


def _demand(lives: pd.DataFrame) -> None:
    """Raise when columns that the rules read are absent."""
    needed = [
        *DESCRIPTION,
        *("in_fit", "evidence", "mode", "informative", "removed_reason"),
        *("entry_miles", "lower_miles", "upper_miles", "last_good_miles", "first_evidence_miles"),
        *("last_seen_miles", "records_begin_miles"),
        *("fitted_odometer_miles", "removed_odometer_miles"),
    ]
    missing = [name for name in needed if name not in lives.columns]
    if missing:
        raise LivesError(f"the table of lives lacks the columns {', '.join(missing)}")
