"""What was found at pivots after the past lists, from what is known today.

A joint read under load or just after greasing shows less play than it has. Such a reading is not
*plain*: within the limit it does not prove a bushing sound.

Not here: which look decides (`models.backtest_pairs`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.backtest_pairs import FAILURE, READING, TEAR_DOWN
from pivotlife.models.findings import SUDDEN_MODES
from pivotlife.models.growth_start import MINIMUM_OF_A_KIND
from pivotlife.pipeline.life_readings import FAR_OVER
from pivotlife.pipeline.life_spans import FAILURE_REASONS
from pivotlife.pipeline.work import Records

#: Share of the limit from which play does not come back to zero, whatever gauge and grease hide.
ZERO_BELOW: Final = 0.25

LOOK_COLUMNS = (
    *("pivot_id", "date", "true_miles", "kind", "play_mm", "finding", "worn", "sound"),
    *("after_repair", "is_plain", "source_row"),
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
        `LOOK_COLUMNS`; `is_plain` (bool): nothing hid play. Zeros where play
        had been seen before, readings without a verdict, and plays far over the limit
        beside the word `ok` tell nothing and are left out; a tear-down counts for the pivot that
        its line names, or for the only one that the line can mean.
    """
    rows = records.histories.readings
    parts = [_readings(rows.assign(is_plain=_plain(rows, records))), *_repairs(records)]
    return pd.concat([part[list(LOOK_COLUMNS)] for part in parts], ignore_index=True)


def renewals(records: Records) -> pd.DataFrame:
    """List which pivots were renewed when: pivot_id, date."""
    return records.histories.renewals[["pivot_id", "date"]].drop_duplicates(ignore_index=True)


def _readings(rows: pd.DataFrame) -> pd.DataFrame:
    doubtful = rows["is_suspect"] & ~_may_be_zero(rows)
    # A play far over the limit beside the word "ok" contradicts itself: often a mistaken unit.
    play = rows["free_play_mm"].astype(float)
    torn_apart = (rows["finding"] == "ok") & play.ge(FAR_OVER * rows["limit_mm"])
    doubtful |= torn_apart
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


def _may_be_zero(rows: pd.DataFrame) -> pd.Series:
    """Mark zeros that no earlier play of the same bushing contradicts.

    Leaving these out would leave out little worn bushings and show too much wear.
    """
    play = rows["free_play_mm"].astype(float)
    earlier = pd.DataFrame({"life": rows["life_id"], "date": rows["reading_date"], "play": play})
    ordered = earlier.sort_values(["life", "date"], kind="stable")
    most = ordered.groupby("life")["play"].cummax().groupby(ordered["life"]).ffill()
    return play.eq(0.0) & ~most.reindex(rows.index).ge(ZERO_BELOW * rows["limit_mm"])


def _plain(rows: pd.DataFrame, records: Records) -> pd.Series:
    """Say which readings hid nothing: no load, no fresh grease, or no judging by play at all."""
    shows_less = (rows["load_state"] == "loaded") | (rows["greased_before"] == "yes")
    plain = ~shows_less | rows["limit_mm"].isna()
    # With next to no plain readings of a type, growth of play takes all at face value: so here.
    lives = records.histories.lives
    kind = rows["life_id"].map(dict(zip(lives["life_id"], lives["bushing_type"], strict=True)))
    return plain | (plain.groupby(kind).transform("sum") < MINIMUM_OF_A_KIND)


def _repairs(records: Records) -> tuple[pd.DataFrame, pd.DataFrame]:
    repairs = records.placed.tables["repairs"]
    renewed = records.histories.renewals
    told = ["source_row", "true_miles", "teardown_finding", "teardown_free_play_mm", "reason"]
    told += ["place"]
    lines = renewed.merge(
        repairs[[*told, "pivot_id"]].rename(columns={"pivot_id": "named"}), on="source_row"
    )
    alone = lines.groupby("source_row")["pivot_id"].transform("nunique") == 1
    own = lines[(lines["named"] == lines["pivot_id"]) | (alone & lines["certain"])]
    own = own.assign(
        play_mm=own["teardown_free_play_mm"].astype(float),
        finding=own["teardown_finding"],
        after_repair=False,
        is_plain=True,
        worn=False,
        sound=False,
    )
    failed = own["reason"].isin(FAILURE_REASONS - {"wear"})
    on_road = failed & (own["reason"].isin(SUDDEN_MODES) | (own["place"] == "roadside"))
    # A split or tight one that the shop renewed was found because somebody looked.
    unnamed = failed & ~on_road & own["play_mm"].isna() & (own["finding"] == "")
    own = own.assign(finding=own["finding"].mask(unnamed, own["reason"]))
    torn = own[own["play_mm"].notna() | (own["finding"] != "")].assign(kind=TEAR_DOWN)
    return torn, own[on_road].assign(kind=FAILURE, worn=True, play_mm=np.nan, finding="")
