"""Rows that were entered twice: one is kept, all are listed.

A row repeated word for word was set aside when it was judged. A reading entered a second time
under another id (and perhaps on another day) is found here: every other cell agrees. The copy
that was known first is kept, so that standing on any past day nothing that was known is missing.

Not here: several tries or directions of one look, which their own columns tell apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.suspect_events import DATED
from pivotlife.pipeline.suspect_kinds import ENTERED_TWICE, ROW_KEY, found, gathered

Mask = npt.NDArray[np.bool_]

#: Cells that may differ between two entries of one reading.
OF_THE_ENTRY: Final = frozenset(
    {"reading_id", "entered_date", "row_number", "row_id", "source_row", "file", "remark"}
)
_ROW: Final = ["file", "row_number"]
_SHEET: Final = ["unit_id", "reading_date", "axle", "node", "side"]
_KEPT: Final = ["kept_file", "kept_row_number"]


def suspect_repeats(
    tables: Mapping[str, pd.DataFrame], judged: Judged
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """List rows entered twice, and say which of them are copies of a kept one.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables as known on the day.
    judged : Judged
        Its duplicates.

    Returns
    -------
    listed : DataFrame
        Columns `suspect_kinds.FOUND_COLUMNS`: kept rows and copies.
    copies : DataFrame
        `table, file, row_number` of the copies.
    """
    kept, twins, named = _same_readings(tables["readings"])
    words = [f"the same as {row} but for its id: kept once" for row in named]
    repeated = [_repeated(tables[table], judged, table) for table in DATED]
    listed = [
        *(part for pair in repeated for part in pair),
        found(kept, ENTERED_TWICE, "", ["entered again under another id; kept"] * len(kept)),
        found(twins, ENTERED_TWICE, "", words),
    ]
    copies = [copy[ROW_KEY] for _, copy in repeated]
    return gathered(listed), pd.concat([*copies, twins[ROW_KEY]], ignore_index=True)


def _same_readings(readings: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Kept readings, their later copies, and the kept row's id for each copy."""
    cells = [name for name in readings.columns if name not in OF_THE_ENTRY]
    telling = (readings["free_play_mm"].notna() | readings["finding"].ne("")) & readings[
        "pivot_id"
    ].ne("")
    same = readings[telling]
    same = same[same.duplicated(cells, keep=False)]
    same = same[_is_entry(same, cells, readings)]
    order = np.lexsort((np.arange(len(same)), same["entered_date"].fillna(pd.Timestamp.max)))
    same = same.iloc[order]
    first = same.groupby(cells, sort=False, dropna=False)["source_row"].transform("first")
    later = same.duplicated(cells, keep="first")
    return same[~later], same[later], first[later].tolist()


def _is_entry(same: pd.DataFrame, cells: list[str], readings: pd.DataFrame) -> Mask:
    """Say of which equal readings a second entry is the likely cause.

    Two equal lines of one sheet on which the pivot of the other side is missing are rather two
    pivots, one of them with its side mistaken; both are then kept.
    """
    other = same["side"].map({"left": "right", "right": "left"})
    mirror = same.assign(side=other)[_SHEET]
    seen = _keys(mirror, _SHEET).isin(_keys(readings, _SHEET))
    days = same.groupby(cells, sort=False, dropna=False)["entered_date"].transform("nunique")
    return np.asarray(seen | days.gt(1).to_numpy(), dtype=bool)


def _repeated(rows: pd.DataFrame, judged: Judged, table: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Kept rows of a table that others repeat word for word, and those others."""
    again = judged.duplicates[judged.duplicates["table"] == table]
    stood = pd.concat([rows, judged.withheld[table]], ignore_index=True)
    kept = stood[_keys(stood, _ROW).isin(_keys(again, _KEPT))]
    again = again[_keys(again, _KEPT).isin(_keys(kept, _ROW))]
    unit = pd.Series(kept["unit_id"].to_numpy(dtype=object), index=_keys(kept, _ROW), dtype=object)
    again = again.assign(unit_id=unit.reindex(_keys(again, _KEPT)).to_numpy(dtype=object))
    return (
        found(kept, ENTERED_TWICE, "", ["repeated word for word; kept"] * len(kept)),
        found(again, ENTERED_TWICE, "", [f"{why}: kept once" for why in again["reason"]]),
    )


def _keys(rows: pd.DataFrame, names: list[str]) -> pd.MultiIndex:
    return pd.MultiIndex.from_arrays([rows[name] for name in names])
