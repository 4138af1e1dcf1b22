"""Entry, lower and upper age of each life, and what it counts as.

A failure is known between the last good evidence and the first bad one; an event on the road is
known exactly. Anything else is known to have lasted to its last good evidence. A bushing that was
already in place when records began enters at its first good evidence after that: it had been
selected for not having been removed, not for being good. If its first evidence is bad it says
nothing about lasting (prevalent); without any good evidence after its entry it says nothing at
all.

Not here: collecting the evidence, and the same lives for one failure mode alone.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.life_readings import MODE_ORDER

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

#: A bushing fitted within so many miles before records begin was new then: a truck is driven
#: to its first owner before anybody writes anything down.
NEW_MILES: Final = 1_000.0

#: Removal reasons whose lives may end because the play was already high.
INFORMATIVE: Final = ("preventive", "campaign")
_SILENT: Final = ("unknown-age", "prevalent", "none-after-entry")
_OWN_WORD: Final = ("preventive", "campaign", "partner")


def bound_lives(
    spans: pd.DataFrame, seen: pd.DataFrame, removals: pd.DataFrame, planned_stop: Mask
) -> pd.DataFrame:
    """Bound every life and say what it counts as.

    Parameters
    ----------
    spans : DataFrame
        `fitted_miles, removed_miles, removed_reason, end_index, records_begin_miles` (true miles
        of the unit).
    seen : DataFrame
        From `first_and_last`.
    removals : DataFrame
        From `judge_removals`.
    planned_stop : ndarray of bool, shape (n_spans,)
        The unit was measured, lubricated or planned to stop on the day the span ended.

    Returns
    -------
    DataFrame, one row per span
        `entry_miles, lower_miles, upper_miles, last_good_miles, first_evidence_miles` (ages),
        `in_fit, evidence, mode, informative, removed_reason`.
    """
    fitted = spans["fitted_miles"].to_numpy()
    failure = _failures(spans, seen, removals, planned_stop)
    failed, age = failure.failed, failure.age
    torn_good = removals["good_at_end"] & seen["bad_day"].isna()
    good = _age(np.where(torn_good, spans["removed_miles"], seen["good_miles"]), fitted)
    entry, first_good, before = _entry(spans, seen, np.where(torn_good & ~failed, good, np.nan))
    lower = np.fmax(entry, np.where(failed, np.minimum(good, age), good))
    lower = np.where(failure.exact, age, lower)
    upper = np.where(np.isnan(fitted), np.nan, np.where(failed, age, np.inf))
    silent = [
        np.isnan(fitted),
        failed & before & np.isnan(first_good),
        ~failed & ~(lower > entry),
    ]
    reason = removals["reason"]
    return pd.DataFrame(
        {
            "entry_miles": entry,
            "lower_miles": lower,
            "upper_miles": upper,
            "last_good_miles": good,
            "first_evidence_miles": age,
            # A failure at its very entry has no length that a curve could use.
            "in_fit": ~np.any(silent, axis=0) & (upper > entry),
            "evidence": np.select(silent, _SILENT, _evidence(removals, seen, spans, failure)),
            "mode": np.append(MODE_ORDER, "")[np.where(failed, failure.rank, len(MODE_ORDER))],
            "informative": reason.isin(INFORMATIVE).to_numpy() & ~failed,
            "removed_reason": reason,
        }
    )


class _Failures(NamedTuple):
    """Which lives failed, known exactly or not, seen by a reading or at removal, how, when."""

    failed: Mask
    exact: Mask
    by_reading: Mask
    rank: npt.NDArray[np.int64]
    age: Floats


def _failures(
    spans: pd.DataFrame, seen: pd.DataFrame, removals: pd.DataFrame, planned_stop: Mask
) -> _Failures:
    by_reading = seen["bad_day"].notna().to_numpy()
    failed = by_reading | removals["failed"].to_numpy()
    miles = np.where(by_reading, seen["bad_miles"], spans["removed_miles"])
    age = np.where(failed, _age(miles, spans["fitted_miles"].to_numpy()), np.nan)
    rank = _mode_rank(seen, removals)
    exact = _exact(removals, by_reading, rank, planned_stop)
    return _Failures(failed, exact, by_reading, rank, age)


def _entry(
    spans: pd.DataFrame, seen: pd.DataFrame, torn_good: Floats
) -> tuple[Floats, Floats, Mask]:
    """Entry age, age at the first good evidence on record, and who was in place before."""
    fitted = spans["fitted_miles"].to_numpy()
    began = np.maximum(spans["records_begin_miles"].to_numpy() - fitted, 0.0)
    before = began > NEW_MILES
    first_good = _age(seen["entry_miles"].to_numpy(), fitted)
    # A tear-down within the limit is good evidence too, and may be the only one.
    first_good = np.where(np.isnan(first_good), torn_good, first_good)
    entry = np.where(before, np.where(np.isnan(first_good), began, first_good), 0.0)
    return np.where(np.isnan(fitted), np.nan, entry), first_good, before


def _age(miles: npt.ArrayLike, fitted: Floats) -> Floats:
    return np.asarray(np.maximum(np.asarray(miles, dtype=float) - fitted, 0.0), dtype=float)


def _mode_rank(seen: pd.DataFrame, removals: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Mode of the first bad evidence; a tear-down on the same day may name a graver one."""
    by_reading, by_removal = seen["bad_rank"].to_numpy(), removals["failed_rank"].to_numpy()
    same_day = seen["bad_day"].eq(removals["end_day"]).to_numpy()
    both = np.where(same_day, np.minimum(by_reading, by_removal), by_reading)
    return np.where(seen["bad_day"].notna(), both, by_removal)


def _exact(
    removals: pd.DataFrame, by_reading: Mask, rank: npt.NDArray[np.int64], planned_stop: Mask
) -> Mask:
    """Failures whose moment is known: on the road, or broken on a day without a planned stop."""
    broke = (rank == MODE_ORDER.index("broken")) & ~planned_stop
    failed = removals["failed"].to_numpy() & ~by_reading
    return np.asarray(failed & (removals["roadside"].to_numpy() | broke), dtype=bool)


def _evidence(
    removals: pd.DataFrame, seen: pd.DataFrame, spans: pd.DataFrame, failure: _Failures
) -> npt.NDArray[np.str_]:
    """Word for what each life rests on, before age and entry have their say."""
    failed = failure.failed
    over = np.where(failure.by_reading, seen["bad_is_over"], removals["failed_over"]).astype(bool)
    reason = removals["reason"].to_numpy(dtype=str)
    ended = spans["removed_miles"].notna().to_numpy() | (reason != "")
    words = np.where(np.isin(reason, _OWN_WORD), reason, "other-removal")
    return np.select(
        [failure.exact, failed & over, failed, ended],
        ["broke", "bad-reading", "finding", words],
        "in-service",
    ).astype("U20")
