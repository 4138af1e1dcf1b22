"""Failures that free play did not announce, by bushing type and mode.

A failure is *missed* by play when the last free play read at that bushing, not longer before the
failure was found than the planned distance between measurements, was under its limit. Readings of
the very visit at which the failure was found count: a bushing found split that read under its
limit is missed; one worn over its limit is not. The share missed is of those failures that have
such a reading at all; without one nobody can say what play would have told.

Limits of the share: Wilson's interval (Wilson, JASA 22 (1927) 209-212, from memory), lives taken as
independent.

Not here: rubber-bonded bushings have no play limit unless the settings give one; their failures are
counted, and no share is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from scipy.stats import binomtest

COLUMNS: Final = (
    *("bushing_type", "mode", "failures", "with_reading", "missed", "share_missed"),
    *("share_missed_lower", "share_missed_upper", "median_last_play_mm"),
    *("median_last_play_over_limit", "warning"),
)
NO_LIMIT: Final = "no play limit for this type: play announces none of its failures"
NO_READING: Final = "no failure has a reading within one measuring distance"


def missed_by_play(
    lives: pd.DataFrame,
    readings: pd.DataFrame,
    measure_miles: Mapping[str, float],
    *,
    level: float = 0.95,
) -> pd.DataFrame:
    """Count the failures that free play did not announce.

    Parameters
    ----------
    lives : DataFrame, one row per life
        ``life_id, bushing_type, duty, mode`` ("" = not failed) and ``first_evidence_miles``, the
        age at which the failure was found.
    readings : DataFrame, one row per reading
        ``life_id, age_miles, free_play_mm, limit_mm``; optional ``is_suspect`` (left out).
    measure_miles : mapping of duty to miles
        The planned distance between two measurements.
    level : float
        Of the interval.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; play in mm, shares between 0 and 1; NaN where nothing can be said.
    """
    failed = lives[(lives["mode"] != "") & np.isfinite(lives["first_evidence_miles"])]
    failed = failed[["life_id", "bushing_type", "duty", "mode", "first_evidence_miles"]]
    last = failed.merge(_last_play(failed, readings, measure_miles), on="life_id", how="left")
    rows = [
        {"bushing_type": kind, "mode": mode, **_row(group, level)}
        for (kind, mode), group in last.groupby(["bushing_type", "mode"], sort=True)
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _last_play(
    failed: pd.DataFrame, readings: pd.DataFrame, measure_miles: Mapping[str, float]
) -> pd.DataFrame:
    """Return the last play of each failed life in the window: the worst of its last day."""
    read = readings[np.isfinite(readings["free_play_mm"]) & np.isfinite(readings["age_miles"])]
    if "is_suspect" in read.columns:
        read = read[~read["is_suspect"].astype(bool)]
    own = read[["life_id", "age_miles", "free_play_mm", "limit_mm"]].merge(failed, on="life_id")
    before = own["first_evidence_miles"] - own["age_miles"]
    reach = own["duty"].map(lambda duty: measure_miles.get(str(duty), np.inf)).astype(float)
    own = own[(before >= 0.0) & (before <= reach)]
    own = own.assign(share=own["free_play_mm"] / own["limit_mm"])
    own = own.sort_values(["life_id", "age_miles", "share", "free_play_mm"], na_position="first")
    latest: pd.DataFrame = own.drop_duplicates("life_id", keep="last")
    return latest[["life_id", "free_play_mm", "limit_mm", "share"]]


def _row(group: pd.DataFrame, level: float) -> dict[str, object]:
    """Return the counts of one type and mode."""
    read = group[group["free_play_mm"].notna()]
    judged = read[read["limit_mm"].notna()]
    # Rounded as a reading is when it is held against its limit.
    under = judged["free_play_mm"].round(3) < judged["limit_mm"]
    missed, total = int(under.sum()), len(judged)
    row: dict[str, object] = {
        "failures": len(group),
        "with_reading": len(read),
        "median_last_play_mm": float(read["free_play_mm"].median()) if len(read) else np.nan,
        "warning": "",
    }
    if not total:
        return {**row, "warning": NO_LIMIT if len(read) else NO_READING}
    interval = binomtest(missed, total).proportion_ci(level, method="wilson")
    return {
        **row,
        "missed": missed,
        "share_missed": missed / total,
        "share_missed_lower": float(interval.low),
        "share_missed_upper": float(interval.high),
        "median_last_play_over_limit": float(judged["share"].median()),
    }
