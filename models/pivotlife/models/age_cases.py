"""A pivot of unknown age looked at under several ages: its cases joined into one row.

Not here: which ages are tried (`pivot_readings.with_unknown_ages`) and how likely each is.
"""

from __future__ import annotations

from typing import Final

import pandas as pd

#: Share from which an age that was tried counts as one the records allow.
LIKELY_AGE: Final = 0.05
_LEAST: Final = ("chance_lower", "play_at_visit_lower_mm", "miles_until_due")
_MOST: Final = ("chance_upper", "play_at_visit_upper_mm", "last_reading_doubted", "readings_used")
_BOUNDS: Final = (
    ("chance_over_by_next_visit", "chance_lower", "chance_upper"),
    ("play_at_visit_mm", "play_at_visit_lower_mm", "play_at_visit_upper_mm"),
)
_MEANS: Final = ("chance_over", "chance_ahead", "play_at_visit_mm", "play_at_next_visit_mm")


def over_ages(out: pd.DataFrame, row: pd.Series, share: pd.Series) -> pd.DataFrame:
    """Join the cases of each pivot: means by share, and the widest ends of the likely ones.

    Parameters
    ----------
    out : DataFrame, one row per case
        `row` and result columns; those of play may be absent.
    row : Series
        The pivot of each case.
    share : Series
        With which each case counts among those of its pivot.

    Returns
    -------
    DataFrame
        One row per pivot, indexed by `row`.
    """
    single = ~row.duplicated(keep=False)
    if single.all():
        return out.set_index("row")
    likely = out[share >= LIKELY_AGE].groupby("row")
    means = [name for name in out.columns if name.startswith(_MEANS)]
    weighted = out[means].mul(share, axis="index").groupby(out["row"]).sum(min_count=1)
    least, most = ([name for name in names if name in out] for names in (_LEAST, _MOST))
    parts = [weighted, likely[least].min(), likely[most].max(), likely[["method"]].first()]
    joined = pd.concat(parts, axis="columns")[[name for name in out if name != "row"]]
    # Unlikely ages count a little in the mean, which must not leave its own bounds.
    for middle, lower, upper in _BOUNDS:
        if middle in joined:
            joined[lower] = joined[[lower, middle]].min(axis="columns", skipna=False)
            joined[upper] = joined[[upper, middle]].max(axis="columns", skipna=False)
    return joined
