"""What stands around a life: where it stood in its pivot, what it replaced, when it was last seen.

Not here: what ended it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

Floats = npt.NDArray[np.float64]


def condition_at_fitting(
    spans: pd.DataFrame, flagged: pd.DataFrame, teardown_mm: pd.Series
) -> Floats:
    """Last play of the bushing before, as a share of its limit.

    Parameters
    ----------
    spans : DataFrame
        In order of pivot and number, with `limit_mm`.
    flagged : DataFrame
        Readings with `span, day, free_play_mm`.
    teardown_mm : Series, shape (n_spans,), millimetres
        Play found at the tear-down that ended each span.

    Returns
    -------
    ndarray, shape (n_spans,)
        NaN for the first bushing of a pivot, where no play was read, where rubber has no limit.
    """
    last = last_play(flagged)["free_play_mm"].reindex(spans.index)
    share = teardown_mm.fillna(last) / spans["limit_mm"]
    before = share.where(~spans["doubtful_end"]).shift()
    follows = spans["pivot_id"].eq(spans["pivot_id"].shift())
    return before.where(follows).to_numpy(dtype=float)


def last_play(flagged: pd.DataFrame) -> pd.DataFrame:
    """Largest play of the last day on which one was read, by span.

    Returns
    -------
    DataFrame, index span
        The whole reading it comes from.
    """
    read = flagged[flagged["free_play_mm"].notna()]
    ordered = read.sort_values(["span", "day", "free_play_mm"], kind="stable")
    return ordered.drop_duplicates("span", keep="last").set_index("span")


def ages(spans: pd.DataFrame, records: pd.DataFrame) -> dict[str, Floats]:
    """Ages at which a life was last seen, last in the shop, and when records began.

    Parameters
    ----------
    spans : DataFrame
        `unit_id, fitted_miles, removed_miles`.
    records : DataFrame
        From `unit_records`.

    Returns
    -------
    dict
        `last_seen_miles, last_visit_miles, records_begin_miles`, each of shape (n_spans,):
        a removed bushing was last seen and in the shop when it came out.
    """
    fitted = spans["fitted_miles"].to_numpy()
    removed = spans["removed_miles"].to_numpy()
    out = {}
    for name in ("last_seen_miles", "last_visit_miles"):
        unit = spans["unit_id"].map(records[name]).to_numpy(dtype=float)
        by_end = np.where(spans["end_index"] >= 0, removed, unit)
        out[name] = np.maximum(by_end - fitted, 0.0)
    begin = spans["unit_id"].map(records["records_begin_miles"]).to_numpy(dtype=float)
    out["records_begin_miles"] = np.maximum(begin - fitted, 0.0)
    return out


def life_order(spans: pd.DataFrame) -> npt.NDArray[np.str_]:
    """`first` for a bushing that came with the truck, `later` otherwise, "" where unknown."""
    original = (spans["number"] == 1) & spans["fitted_miles"].eq(0.0)
    unknown = (spans["number"] == 1) & spans["fitted_miles"].isna()
    return np.select([original, unknown], ["first", ""], "later").astype("U5")


def source_rows(spans: pd.DataFrame, flagged: pd.DataFrame) -> list[str]:
    """Name the rows that each life rests on, joined by `;`."""
    names = [list(own) for own in spans["rows"]]
    for span, row in zip(flagged["span"].tolist(), flagged["source_row"].tolist(), strict=True):
        names[span].append(row)
    return [";".join(own) for own in names]
