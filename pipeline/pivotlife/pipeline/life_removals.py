"""Why a bushing came out, and whether that says it had failed.

A removal tells of a failure when the tear-down shows one, when its reason is a failure other
than wear, or when its reason is wear and no good reading of that stop says otherwise. A wear
removal with a good reading and an inconspicuous tear-down was preventive, whatever its reason
says. On a line that covers several pivots the reason belongs to the job: it is held against the
pivot the line names, not against the ones renewed with it.

Not here: what the readings before the removal say, and the bounds of the life.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.findings import FAILURE_FINDINGS, is_over
from pivotlife.pipeline.life_readings import FINDING_RANK, MODE_RANK, NO_MODE
from pivotlife.pipeline.life_spans import FAILURE_REASONS
from pivotlife.pipeline.repair_places import PHASES

#: A stop in the shop may take some days between measuring and replacing.
STOP_DAYS: Final = 3

_TORN_DOWN: Final = ("teardown_finding", "teardown_free_play_mm", "place")


def judge_removals(spans: pd.DataFrame, repairs: pd.DataFrame, seen: pd.DataFrame) -> pd.DataFrame:
    """Say of each span how it ended.

    Parameters
    ----------
    spans : DataFrame
        With `limit_mm` and `bushing_type`.
    repairs : DataFrame
        Judged repairs; `end_index` of a span is a label of its index.
    seen : DataFrame
        The stops (`span, day, is_good, is_bad`).

    Returns
    -------
    DataFrame, one row per span
        `failed` (bool: the removal itself tells of a failure), `failed_rank` (its mode),
        `failed_over` (the tear-down play reaches the limit), `good_at_end` (a tear-down within
        the limit), `reason` (preventive where a wear removal was one; partner or unknown where
        the line's failure reason is not this pivot's), `roadside`, `teardown_mm`, `end_day`.
    """
    own = (spans["end_index"] >= 0) & ~spans["doubtful_end"] & ~spans["shared_end"]
    torn = repairs.reindex(spans["end_index"].where(own, -1))[list(_TORN_DOWN)]
    play = torn["teardown_free_play_mm"].to_numpy(dtype=float)
    finding = torn["teardown_finding"].fillna("").reset_index(drop=True)
    over = is_over(play, spans["limit_mm"])
    shows_failure = finding.isin(FAILURE_FINDINGS) | over
    rubber_ok = (spans["bushing_type"] == "rubber-bonded") & (finding == "ok")
    within = np.isfinite(play) & spans["limit_mm"].notna()
    torn_good = (within | rubber_ok) & ~shows_failure & own
    reason = spans["removed_reason"]
    other_failure = reason.isin(FAILURE_REASONS - {"wear"}) & own
    end_day = spans["end_key"] // PHASES
    good = torn_good | _good_at_stop(seen, end_day)
    worn = (reason == "wear") & own & ~good
    failed = shows_failure | other_failure | worn
    return pd.DataFrame(
        {
            "failed": failed,
            "failed_rank": _rank(finding, reason, over, other_failure | worn),
            "failed_over": over,
            "good_at_end": torn_good & ~failed,
            "reason": _own_reason(spans, repairs, seen, (reason == "wear") & own & ~failed),
            "roadside": (torn["place"] == "roadside").to_numpy(),
            "teardown_mm": play,
            "end_day": end_day,
        }
    )


def _rank(
    finding: pd.Series, reason: pd.Series, over: npt.NDArray[np.bool_], by_reason: pd.Series
) -> npt.NDArray[np.int64]:
    from_finding = finding.map(FINDING_RANK).fillna(NO_MODE).to_numpy(dtype=np.int64)
    from_reason = reason.map(MODE_RANK).fillna(NO_MODE).to_numpy(dtype=np.int64)
    from_reason = np.where(by_reason, from_reason, NO_MODE)
    from_play = np.where(over, MODE_RANK["wear"], NO_MODE)
    return np.minimum(np.minimum(from_finding, from_reason), from_play)


def _good_at_stop(seen: pd.DataFrame, end_day: pd.Series) -> pd.Series:
    """Say of each span whether its last stop, within days of its end, was good."""
    last = seen.drop_duplicates("span", keep="last").set_index("span").reindex(end_day.index)
    near = end_day - last["day"] <= STOP_DAYS
    return near & last["is_good"].eq(other=True)


def _own_reason(
    spans: pd.DataFrame, repairs: pd.DataFrame, seen: pd.DataFrame, preventive: pd.Series
) -> pd.Series:
    """Give the reason that holds for this pivot."""
    reason = spans["removed_reason"].mask(preventive, "preventive")
    found_bad = spans.index.isin(seen.loc[seen["is_bad"], "span"])
    not_mine = spans["shared_end"] & reason.isin(FAILURE_REASONS) & ~found_bad
    named = repairs["pivot_id"].reindex(spans["end_index"]).fillna("").ne("").to_numpy()
    other_bad = pd.Series(found_bad).groupby(spans["end_index"]).transform("any").to_numpy()
    partner = named | other_bad
    return reason.mask(not_mine & partner, "partner").mask(not_mine & ~partner, "unknown")
