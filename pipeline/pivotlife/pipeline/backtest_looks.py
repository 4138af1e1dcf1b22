"""What was found at pivots after the past lists, from what is known today.

Not here: which look decides (`models.backtest_pairs`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.backtest_pairs import FAILURE, READING, TEAR_DOWN
from pivotlife.pipeline.life_readings import FAR_OVER
from pivotlife.pipeline.life_spans import FAILURE_REASONS
from pivotlife.pipeline.work import Records

LOOK_COLUMNS = (
    *("pivot_id", "date", "true_miles", "kind", "play_mm", "finding", "worn", "sound"),
    *("after_repair", "source_row"),
)


def looks(records: Records) -> pd.DataFrame:
    """List every reading, tear-down and failure of a pivot.

    Parameters
    ----------
    records : Records
        Of today.

    Returns
    -------
    DataFrame
        `LOOK_COLUMNS`. Suspect zeros, readings without a verdict, and plays far over the limit
        beside the word `ok` tell nothing and are left out; a tear-down counts for the pivot that
        its line names, or for the only one that the line can mean.
    """
    parts = [_readings(records.histories.readings), *_repairs(records)]
    return pd.concat([part[list(LOOK_COLUMNS)] for part in parts], ignore_index=True)


def renewals(records: Records) -> pd.DataFrame:
    """List which pivots were renewed when: pivot_id, date."""
    return records.histories.renewals[["pivot_id", "date"]].drop_duplicates(ignore_index=True)


def _readings(rows: pd.DataFrame) -> pd.DataFrame:
    # A play far over the limit beside the word "ok" contradicts itself: often a mistaken unit.
    play = rows["free_play_mm"].astype(float)
    torn_apart = (rows["finding"] == "ok") & play.ge(FAR_OVER * rows["limit_mm"])
    doubtful = rows["is_suspect"] | torn_apart
    telling = rows[(rows["is_bad"] | rows["is_good"]) & ~doubtful]
    # Several directions or repeats of one stop speak as one: a bad one decides.
    keys = ["pivot_id", "reading_date", "after_repair"]
    worst = telling.sort_values([*keys, "is_bad"], kind="stable").drop_duplicates(keys, keep="last")
    return worst.assign(
        date=worst["reading_date"],
        kind=READING,
        play_mm=worst["free_play_mm"],
        worn=worst["is_bad"],
        sound=worst["is_good"],
        after_repair=worst["after_repair"] == "yes",
    )


def _repairs(records: Records) -> tuple[pd.DataFrame, pd.DataFrame]:
    repairs = records.placed.tables["repairs"]
    renewed = records.histories.renewals
    told = ["source_row", "true_miles", "teardown_finding", "teardown_free_play_mm", "reason"]
    lines = renewed.merge(
        repairs[[*told, "pivot_id"]].rename(columns={"pivot_id": "named"}), on="source_row"
    )
    alone = lines.groupby("source_row")["pivot_id"].transform("nunique") == 1
    own = lines[(lines["named"] == lines["pivot_id"]) | (alone & lines["certain"])]
    own = own.assign(
        play_mm=own["teardown_free_play_mm"].astype(float),
        finding=own["teardown_finding"],
        after_repair=False,
        worn=False,
        sound=False,
    )
    torn = own[own["play_mm"].notna() | (own["finding"] != "")].assign(kind=TEAR_DOWN)
    failed = own[own["reason"].isin(FAILURE_REASONS - {"wear"})]
    failed = failed.assign(kind=FAILURE, worn=True, play_mm=np.nan, finding="")
    return torn, failed
