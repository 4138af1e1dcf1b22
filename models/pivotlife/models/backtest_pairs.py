"""What became of each pivot on a past list: forecast and outcome, side by side.

A list said what a pivot's chances were and what to do at the next visit. Its outcome is what was
found by that visit, a visit counting until half way to the one after:

1. a failure on the road, which nobody had to look for; else the tear-down record, or what failed
   as the shop's reason for renewing it (split, seized ...);
2. else a reading or a finding. Where load or fresh grease hid part of the play, a reading within
   the limit proves nothing, and one over it counts as worn unless a plain look speaks too. One
   over it *after* a plain look that was sound proves wear by then: the plain look stays the outcome
   to which chances are held, since such readings tell of worn bushings only, and the miles of the
   later one are kept beside it for what is counted;
3. else nobody looked: *unverified*. A removal because of wear alone proves nothing, since the
   list itself may have brought it about.

The forecast is asked at the miles at which the bushing was looked at, between the points that the
list gave: now, the next visit, the one after.

Not here: who was looked at and why (`backtest_weights`), how good the forecasts were
(`backtest_calibration`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.findings import FAILURE_FINDINGS, is_over

FloatArray = npt.NDArray[np.float64]

WORN: Final = "worn"
SOUND: Final = "sound"
UNVERIFIED: Final = "unverified"
TEAR_DOWN: Final = "tear-down"
FAILURE: Final = "failure"
READING: Final = "reading"
#: Kinds of look in the order in which they are believed.
KINDS: Final = (FAILURE, TEAR_DOWN, READING)
ANOTHER_BUSHING: Final = "another bushing was in the pivot"

PAIR_COLUMNS: Final = (
    *("standing_date", "unit_id", "depot", "duty", "pivot_id", "axle", "side", "node"),
    *("bushing_type", "bushing", "decision", "rule", "held", "method", "readings_used"),
    *("age_miles", "miles_now", "visit_date", "visit_miles", "next_visit_miles"),
    *("miles_since_reading", "is_due"),
    *("chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit"),
    *("outcome", "how", "look_date", "look_miles", "chance_at_look", "is_removed"),
    *("has_reading", "is_plain", "look_source_row", "worn_later_miles"),
)


def pair_up(
    forecasts: pd.DataFrame, looks: pd.DataFrame, renewals: pd.DataFrame, today: pd.Timestamp
) -> pd.DataFrame:
    """Put the outcome beside every forecast.

    Parameters
    ----------
    forecasts : DataFrame, one row per standing day and pivot
        standing_date, unit_id, depot, duty, pivot_id, axle, side, node, bushing_type, limit_mm,
        decision, rule, held (bool: a safety order stood), method, readings_used, age_miles,
        miles_now, visit_date, next_visit_date, visit_miles, next_visit_miles (true miles of the
        unit), last_reading_miles, the three chances, renewals_known (renewals of the pivot that
        were known that day).
    looks : DataFrame
        pivot_id, date, true_miles, kind (one of `KINDS`), play_mm, finding, worn, sound (bool;
        read for readings and failures), after_repair (bool), is_plain (bool: neither load nor
        fresh grease hid play), source_row.
    renewals : DataFrame
        pivot_id, date: what is known today.
    today : Timestamp
        A visit that counts beyond this day is not due: its outcome is still open.

    Returns
    -------
    DataFrame
        `PAIR_COLUMNS`, a row for each forecast, in its order. `bushing` names one bushing over
        all its lists; `is_removed`: it was taken out by the visit; `has_reading`: it was read, with
        nothing hidden, by the visit, whatever else was found; `is_plain`: so was the look that
        decided; `worn_later_miles`: where a later reading under load or after greasing was over
        the limit although the plain one that decided was not, else NaN.
    """
    pairs = forecasts.reset_index(drop=True)
    pairs["row"] = np.arange(len(pairs))
    before, until = _renewed(pairs, renewals)
    middle = 0.5 * (pairs["visit_miles"] + pairs["next_visit_miles"])
    pairs = pairs.assign(bushing=pairs["pivot_id"] + "#" + before.astype(str), until=until)
    pairs["same"] = before.to_numpy() == pairs["renewals_known"].to_numpy()
    pairs["last_miles"] = middle
    # One list at a time: all at once would lay every look beside every list.
    seen = pd.concat([_in_window(own, looks) for _, own in pairs.groupby("standing_date")])
    believed = _believed(seen)
    later = _worn_later(seen, believed)
    chosen = believed.reindex(pairs["row"]).reset_index(drop=True)
    outcome = np.select(
        [chosen["worn"].eq(True), chosen["sound"].eq(True)], [WORN, SOUND], UNVERIFIED
    )
    read = seen.loc[(seen["kind"] == READING) & seen["is_plain"], "row"]
    how = chosen["kind"].fillna("").mask(~pairs["same"], ANOTHER_BUSHING)
    out = pairs.assign(
        outcome=outcome,
        how=how,
        look_date=pd.to_datetime(chosen["date"]),
        look_miles=chosen["true_miles"].astype(float),
        look_source_row=chosen["source_row"].fillna(""),
        is_removed=(until <= pairs["visit_date"] + _half_gap(pairs)) & pairs["same"],
        has_reading=pairs["row"].isin(read),
        is_plain=chosen["is_plain"].eq(True),
        worn_later_miles=pairs["row"].map(later).astype(float),
        is_due=pairs["visit_date"] + _half_gap(pairs) <= today,
        miles_since_reading=pairs["miles_now"] - pairs["last_reading_miles"],
    )
    asked = out["look_miles"].fillna(out["visit_miles"])
    out["chance_at_look"] = chance_at(out, asked.to_numpy(dtype=float))
    return out[list(PAIR_COLUMNS)]


def chance_at(forecasts: pd.DataFrame, miles: FloatArray) -> FloatArray:
    """Chance of being over the limit at given true miles, between the points of the forecast.

    The cumulative hazard runs straight between the points and on beyond the last one; before the
    day of the list the chance of that day stands.

    Parameters
    ----------
    forecasts : DataFrame
        miles_now, visit_miles, next_visit_miles and the three chances.
    miles : ndarray of float, shape (n,), true miles

    Returns
    -------
    ndarray of float, shape (n,)
    """
    names = ("chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit")
    chances = forecasts[list(names)].to_numpy(dtype=float)
    hazard = -np.log1p(-np.clip(chances, 0.0, 1.0 - 1e-9))
    points = forecasts[["miles_now", "visit_miles", "next_visit_miles"]].to_numpy(dtype=float)
    later = miles >= points[:, 1]
    left = np.where(later, 1, 0)
    rows = np.arange(len(miles))
    x0, x1 = points[rows, left], points[rows, left + 1]
    h0, h1 = hazard[rows, left], hazard[rows, left + 1]
    share = np.maximum(miles - x0, 0.0) / np.maximum(x1 - x0, 1.0)
    return np.asarray(-np.expm1(-(h0 + share * np.maximum(h1 - h0, 0.0))))


def _half_gap(pairs: pd.DataFrame) -> pd.Series:
    """Days from the expected visit to half way to the one after."""
    return 0.5 * (pairs["next_visit_date"] - pairs["visit_date"])


def _renewed(pairs: pd.DataFrame, renewals: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Renewals of each pivot up to the standing day, and the date of the first one after it."""
    dates = {
        str(name): np.sort(group.to_numpy(dtype="datetime64[ns]"))
        for name, group in renewals.drop_duplicates().groupby("pivot_id")["date"]
    }
    none = np.array([], dtype="datetime64[ns]")
    count = np.zeros(len(pairs), dtype=np.int64)
    until = np.full(len(pairs), np.datetime64("NaT"), dtype="datetime64[ns]")
    days = pairs["standing_date"].to_numpy(dtype="datetime64[ns]")
    for name, rows in pairs.groupby("pivot_id").indices.items():
        mine = dates.get(str(name), none)
        place = np.searchsorted(mine, days[rows], side="right")
        count[rows] = place
        ends = np.append(mine, np.datetime64("NaT"))
        until[rows] = ends[place]
    return pd.Series(count, index=pairs.index), pd.Series(until, index=pairs.index)


def _in_window(pairs: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    """Find the looks at the bushing of each forecast, after its day and by its visit."""
    wanted = ["row", "pivot_id", "standing_date", "until", "last_miles", "limit_mm", "same"]
    both = pairs[[*wanted, "bushing_type"]].merge(looks, on="pivot_id")
    before_end = both["until"].isna() | (both["date"] < both["until"])
    at_end = both["date"].eq(both["until"]) & ~both["after_repair"]
    inside = (both["date"] > both["standing_date"]) & (before_end | at_end)
    inside &= (both["true_miles"] <= both["last_miles"]) & both["same"]
    return _judged(both[inside])


def _judged(seen: pd.DataFrame) -> pd.DataFrame:
    """Say whether each look found the bushing worn or sound, or tells nothing."""
    torn = seen["kind"] == TEAR_DOWN
    over = is_over(seen["play_mm"], seen["limit_mm"])
    failed = seen["finding"].isin(FAILURE_FINDINGS)
    within = (seen["play_mm"].notna() & seen["limit_mm"].notna()) | (
        (seen["bushing_type"] == "rubber-bonded") & (seen["finding"] == "ok")
    )
    worn = seen["worn"].mask(torn, failed | over).astype(bool)
    sound = seen["sound"].mask(torn, within & ~over & ~failed).astype(bool)
    told = seen.assign(worn=worn, sound=sound & ~worn & seen["is_plain"])
    return told[told["worn"] | told["sound"]]


def _worn_later(seen: pd.DataFrame, believed: pd.DataFrame) -> pd.Series:
    """Miles of the first hidden reading over the limit after the sound look that is believed."""
    hidden = seen[(seen["kind"] == READING) & seen["worn"] & ~seen["is_plain"]]
    sound = believed["true_miles"].where(believed["sound"].astype(bool))
    later = hidden["true_miles"] > hidden["row"].map(sound)
    return hidden[later].groupby("row")["true_miles"].min()


def is_found_worn(pairs: pd.DataFrame) -> pd.Series:
    """Say which bushings were found worn by the visit, by the deciding look or a later one."""
    return pairs["outcome"].eq(WORN) | pairs["worn_later_miles"].notna()


def _believed(seen: pd.DataFrame) -> pd.DataFrame:
    """Keep for each forecast the last look of the most believed kind, plain if there is one.

    On one day, of looks equally plain, worn comes before sound.
    """
    rank = seen["kind"].map({kind: place for place, kind in enumerate(KINDS)})
    ordered = seen.assign(rank=-rank).sort_values(
        ["row", "rank", "is_plain", "true_miles", "worn"], kind="stable"
    )
    return ordered.drop_duplicates("row", keep="last").set_index("row")
