"""What was ever known under one row's id: its contents, each with its days.

Not here: whole tables on a day (`store`).
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
import pyarrow.compute as pc

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import table_facts
from pivotlife.pipeline import store_log as log
from pivotlife.pipeline.store_delta import Store, column_names, columns_of, opened, told
from pivotlife.pipeline.store_rows import OWN
from pivotlife.pipeline.store_state import LOG

STAY: Final = ("row_key", "known_on", "gone_on", "superseded_by")


def row_history(store: Store, table: str, row_id: str) -> pd.DataFrame:
    """List everything that was ever known under the id of one row.

    Parameters
    ----------
    store : Store
    table : str
        One whose rows have ids, such as readings.
    row_id : str
        As the source writes it.

    Returns
    -------
    DataFrame
        One row a stay in the source, in order: `row_key`, `known_on` (date), `gone_on` (date;
        None while it stands), `superseded_by` (key of the row that took its place, else None),
        and the cells under their kept names.

    Raises
    ------
    SourceError
        When the store cannot be read.
    """
    id_column = table_facts(CONTRACTS[table]).id_column
    with told(store):
        kept, entries = opened(store, table), opened(store, LOG)
        if kept is None or entries is None or id_column not in column_names(kept):
            return pd.DataFrame(columns=list(STAY))
        cells = sorted(column_names(kept) - {*OWN})
        where = pc.field(id_column) == row_id
        found = columns_of(kept, ["row_key", *cells], where).to_pandas().fillna("")
        is_mark = pc.field("kind").isin([log.IN, log.GONE]) & (pc.field("table_name") == table)
        names = ["kind", "batch", "known_on", "row_key", "rows", "superseded_by"]
        marks = columns_of(entries, names, is_mark).to_pandas().sort_values("batch")
    stays = [stay for row in found.to_dict("records") for stay in _stays(row, marks)]
    stays.sort(key=lambda stay: int(stay["batch"]))
    return pd.DataFrame(stays, columns=[*STAY, *cells], dtype=object)


def _stays(row: dict[Any, Any], marks: pd.DataFrame) -> list[dict[str, Any]]:
    """Pair every coming of a row with its going."""
    key = row["row_key"]
    own = marks[(marks["row_key"] <= key) & (key < marks["row_key"] + marks["rows"])]
    stays: list[dict[str, Any]] = []
    for mark in own.to_dict("records"):
        if mark["kind"] == log.IN:
            begun = {"known_on": mark["known_on"], "gone_on": None, "superseded_by": None}
            stays.append({**row, **begun, "batch": mark["batch"]})
        else:
            stays[-1]["gone_on"] = mark["known_on"]
            if pd.notna(mark["superseded_by"]):
                stays[-1]["superseded_by"] = int(mark["superseded_by"] + key - mark["row_key"])
    return stays
