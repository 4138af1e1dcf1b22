"""What each reading says of the bushing it was taken at: good, bad, or neither.

Bad: the play reaches the limit, or the finding is a failure. Good: the play is within the limit,
or rubber was found `ok`. Several readings of one stop (directions, repeats) speak as one: a bad
one decides. A zero on metal that is past a settable age may mean "not measured", and so may a
sheet of zeros: such readings are marked as suspect. They still count as good, because leaving
them out would leave out the little worn bushings and make a type look short-lived. A small play
on a pin that refuses grease is evidence of nothing: a seized pin reads zero. A play far over
the limit with a good reading of less than half of it later on the same bushing is taken for a
mistaken unit here, because play does not shrink; the safety step acts on it all the same.

Not here: which evidence begins or ends a life.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.findings import FAILURE_FINDINGS, FINDING_MODE, is_over
from pivotlife.pipeline.life_spans import BEGINNING
from pivotlife.pipeline.repair_places import LOOKED, LOOKED_AFTER, PHASES

#: Which mode names a failure when one stop shows several: the graver first; a loose bore last,
#: because it is about the hole and not about the bushing that wore in it.
MODE_ORDER: Final = ("broken", "seized", "split", "rough", "wear", "loose-fit")
NO_MODE: Final = len(MODE_ORDER)
MODE_RANK: Final = {mode: rank for rank, mode in enumerate(MODE_ORDER)}
FINDING_RANK: Final = {finding: MODE_RANK[mode] for finding, mode in FINDING_MODE.items()}

#: A play of this many limits is a mistaken unit when a later good reading of the same bushing is
#: below this share of it. Grease (about 0.25 mm) and load (about a third) hide less than that.
FAR_OVER: Final = 1.5
SHRUNK_TO: Final = 0.5

#: Metal pivots of one unit that read zero on one day before it counts as a sheet of zeros.
SHEET_OF_ZEROS: Final = 3

_KEY_SPAN: Final = 2**24


def time_keys(dates: pd.Series, phase: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Order of events: the day, and within it looking, removing, fitting, looking again."""
    day = dates.to_numpy(dtype="datetime64[D]").astype(np.int64)
    return np.asarray(day * PHASES + phase, dtype=np.int64)


def reading_keys(readings: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Time of each reading: before that day's repair unless it says it was after it."""
    after = (readings["after_repair"] == "yes").to_numpy()
    return time_keys(readings["reading_date"], np.where(after, LOOKED_AFTER, LOOKED))


def find_spans(
    spans: pd.DataFrame, pivot_id: pd.Series, keys: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """Row of `spans` that each event falls into; -1 where no bushing was in the pivot.

    Parameters
    ----------
    spans : DataFrame
        In order of pivot and time (`spans_frame`).
    pivot_id : Series of str, shape (n,)
    keys : ndarray, shape (n,)
        From `reading_keys`.
    """
    code, names = pd.factorize(spans["pivot_id"])
    if len(spans) == 0 or len(keys) == 0:
        return np.full(len(keys), -1, dtype=np.int64)
    start = np.clip(spans["start_key"].to_numpy(), 0, _KEY_SPAN - 1)
    mine = pd.Index(names).get_indexer(pd.Index(pivot_id))
    place = np.searchsorted(
        code * _KEY_SPAN + start, mine * _KEY_SPAN + np.clip(keys, 0, _KEY_SPAN - 1), side="right"
    )
    at = np.clip(place - 1, 0, None)
    inside = (place > 0) & (code[at] == mine) & (keys < spans["end_key"].to_numpy()[at])
    return np.where(inside, at, -1)


def flag_readings(
    readings: pd.DataFrame, spans: pd.DataFrame, zero_suspect_miles: float
) -> pd.DataFrame:
    """Say of each reading that belongs to a span whether it is over, bad, good, suspect.

    Parameters
    ----------
    readings : DataFrame
        Judged readings with `true_miles` and `span` (row of `spans`).
    spans : DataFrame
        With `fitted_miles, limit_mm, limit_source, bushing_type`.
    zero_suspect_miles : float, miles
        Age from which a zero on metal may mean "not measured".

    Returns
    -------
    DataFrame
        With `day, age_miles, limit_mm, limit_source, is_over, is_bad, is_good, is_suspect,
        mode_rank` (place in `MODE_ORDER`; `NO_MODE` where not bad).
    """
    of = spans.iloc[readings["span"].to_numpy()]
    limit = of["limit_mm"].to_numpy()
    rubber = (of["bushing_type"] == "rubber-bonded").to_numpy()
    age = np.maximum(readings["true_miles"].to_numpy() - of["fitted_miles"].to_numpy(), 0.0)
    play = readings["free_play_mm"].to_numpy(dtype=float)
    # A bushing of unknown age is as old as it can be: its zero must not read as health.
    earlier = spans.groupby("pivot_id")["fitted_miles"].ffill().fillna(0.0).to_numpy()
    oldest = readings["true_miles"].to_numpy() - earlier[readings["span"].to_numpy()]
    finding = readings["finding"]
    over = is_over(play, limit)
    failed = finding.isin(FAILURE_FINDINGS).to_numpy()
    zero = _suspect_zeros(readings, oldest, ~rubber & np.isfinite(limit), zero_suspect_miles)
    refuses = (readings["takes_grease"] == "no").to_numpy() & ~rubber
    sound = (np.isfinite(play) & np.isfinite(limit)) | (rubber & (finding == "ok").to_numpy())
    day = readings["reading_date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    good = sound & ~over & ~failed & ~refuses
    shrunk = _least_good_play_later(readings["span"], day, play, good) < SHRUNK_TO * play
    far = over & ~failed & (play >= FAR_OVER * limit) & shrunk
    rank = finding.map(FINDING_RANK).fillna(NO_MODE).to_numpy(dtype=np.int64)
    return readings.assign(
        day=day,
        age_miles=age,
        limit_mm=limit,
        limit_source=of["limit_source"].to_numpy(),
        is_over=over,
        is_bad=(over & ~far) | failed,
        is_good=good,
        is_suspect=zero | far,
        mode_rank=np.minimum(rank, np.where(over & ~far, MODE_RANK["wear"], NO_MODE)),
    )


def _least_good_play_later(
    span: pd.Series,
    day: npt.NDArray[np.int64],
    play: npt.NDArray[np.float64],
    good: npt.NDArray[np.bool_],
) -> npt.NDArray[np.float64]:
    """Smallest good play of the same bushing on a later day; infinity where there is none."""
    seen = pd.DataFrame({"span": span.to_numpy(), "day": day, "play": np.where(good, play, np.inf)})
    by_day = seen.groupby(["span", "day"])["play"].min().fillna(np.inf).iloc[::-1]
    least = by_day.groupby(level="span").cummin().groupby(level="span").shift(1, fill_value=np.inf)
    return least.reindex(pd.MultiIndex.from_frame(seen[["span", "day"]])).to_numpy(dtype=float)


def _suspect_zeros(
    readings: pd.DataFrame,
    age: npt.NDArray[np.float64],
    metal: npt.NDArray[np.bool_],
    zero_suspect_miles: float,
) -> npt.NDArray[np.bool_]:
    play = readings["free_play_mm"].to_numpy(dtype=float)
    zero = (play == 0.0) & metal
    told = zero & readings["finding"].isin(FAILURE_FINDINGS).to_numpy()
    before = (readings["after_repair"] != "yes").to_numpy()
    measured = pd.Series(np.isfinite(play) & metal & before)
    sheet = [readings["unit_id"].to_numpy(), readings["reading_date"].to_numpy()]
    zeros = pd.Series(zero & before).groupby(sheet).transform("sum").to_numpy()
    all_zero = (zeros >= SHEET_OF_ZEROS) & (
        zeros == measured.groupby(sheet).transform("sum").to_numpy()
    )
    with np.errstate(invalid="ignore"):
        return np.asarray(zero & ~told & ((age > zero_suspect_miles) | (all_zero & before)))


def stops(flagged: pd.DataFrame) -> pd.DataFrame:
    """Join the readings of one bushing at one stop: one bad one decides.

    Parameters
    ----------
    flagged : DataFrame
        From `flag_readings`.

    Returns
    -------
    DataFrame
        In order of `span, day`: `span, day, true_miles, is_bad, is_over, is_good, mode_rank`.
    """
    seen = flagged[["span", "day", "true_miles", "is_bad", "is_over", "is_good", "mode_rank"]]
    joined = seen.groupby(["span", "day"], as_index=False).agg(
        true_miles=("true_miles", "max"),
        is_bad=("is_bad", "any"),
        is_over=("is_over", "any"),
        is_good=("is_good", "any"),
        mode_rank=("mode_rank", "min"),
    )
    return joined.assign(is_good=joined["is_good"] & ~joined["is_bad"])


def first_and_last(stops_: pd.DataFrame, n_spans: int, records_begin: pd.Series) -> pd.DataFrame:
    """Summarise the evidence of each span.

    Parameters
    ----------
    stops_ : DataFrame
        From `stops`.
    n_spans : int
    records_begin : Series of float, shape (n_spans,), days since 1970
        Day on which the unit's records begin.

    Returns
    -------
    DataFrame, one row per span
        `bad_day, bad_miles, bad_rank, bad_is_over` of the first bad stop; `good_miles` of the
        last good stop before it; `entry_miles` of the first good stop before it that lies in
        the recorded time; all miles are true miles of the unit, NaN where there is none.
    """
    bad = stops_[stops_["is_bad"]].drop_duplicates("span").set_index("span")
    every = pd.RangeIndex(n_spans)
    bad_day = bad["day"].reindex(every).astype(float)
    good = stops_[stops_["is_good"]]
    limit = bad_day.fillna(np.inf).to_numpy()[good["span"].to_numpy()]
    good = good[good["day"].to_numpy() < limit]
    recorded = good["day"].to_numpy() >= records_begin.fillna(BEGINNING).to_numpy()[good["span"]]
    first = good[recorded].drop_duplicates("span").set_index("span")["true_miles"]
    last = good.drop_duplicates("span", keep="last").set_index("span")["true_miles"]
    return pd.DataFrame(
        {
            "bad_day": bad_day,
            "bad_miles": bad["true_miles"].reindex(every),
            "bad_rank": bad["mode_rank"].reindex(every).fillna(NO_MODE).astype(np.int64),
            "bad_is_over": bad["is_over"].reindex(every, fill_value=False).astype(bool),
            "good_miles": last.reindex(every),
            "entry_miles": first.reindex(every),
        }
    )
