"""The fate of every source row: rows in = rows out.

A row ends as part of a life, as a reading, as an odometer value, as context, as quarantined, or
as not needed; the reason stands beside it. A row that the ledger cannot account for is a fault
of this program, not of the row, and stops the run.

Not here: deciding the fates (`judge`, `true_miles`, `histories`), which this only collects.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

import pandas as pd

from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.sources import RawTable

LEDGER_COLUMNS = ["table", "row_number", "row_id", "fate", "reason"]
QUARANTINE_COLUMNS = ["table", "row_number", "row_id", "reasons", "row", "acted_on"]


def make_ledger(
    raw: Mapping[str, RawTable], judged: Judged, fates: pd.DataFrame, unplaced: pd.DataFrame
) -> pd.DataFrame:
    """Collect one line per source row.

    Parameters
    ----------
    raw : mapping of table name to RawTable
        What the sources held.
    judged : Judged
        What the checks made of it.
    fates : DataFrame
        Columns `table, row_number, row_id, fate, reason` for the rows that passed the checks.
    unplaced : DataFrame
        Columns `table, row_number, row_id, reason`: rows whose odometer has no neighbour.

    Returns
    -------
    DataFrame
        Columns of `ledger.csv`, in the order of the files.

    Raises
    ------
    RuntimeError
        When a row has no fate or two.
    """
    quarantined = judged.quarantine.rename(columns={"reasons": "reason"})
    ledger = pd.concat(
        [
            quarantined.assign(fate="quarantined"),
            judged.duplicates.assign(fate="not-needed"),
            unplaced.assign(fate="quarantined"),
            fates[~_keys(fates).isin(_keys(unplaced))],
        ],
        ignore_index=True,
    )[LEDGER_COLUMNS]
    rows_in = sum(len(table.frame) for table in raw.values())
    doubles = int(ledger.duplicated(["table", "row_number"]).sum())
    if len(ledger) != rows_in or doubles:
        raise RuntimeError(
            f"the ledger holds {len(ledger)} of {rows_in} source rows, {doubles} of them twice"
        )
    order = {name: n for n, name in enumerate(raw)}
    return ledger.sort_values(
        ["table", "row_number"], key=lambda c: c.map(order) if c.name == "table" else c
    ).reset_index(drop=True)


def whole_quarantine(
    raw: Mapping[str, RawTable], judged: Judged, unplaced: pd.DataFrame, acted: Mapping[str, str]
) -> pd.DataFrame:
    """List every withheld row word for word, with what safety did about it.

    Parameters
    ----------
    raw, judged, unplaced
        As in `make_ledger`.
    acted : mapping of source row to text
        The order that each withheld row gave, by source row.

    Returns
    -------
    DataFrame
        Columns of `quarantine.csv`.
    """
    late = unplaced.rename(columns={"reason": "reasons"}).assign(
        row=[_verbatim(raw[t], n) for t, n in zip(unplaced.table, unplaced.row_number, strict=True)]
    )
    rows = pd.concat([judged.quarantine, late], ignore_index=True)
    named = [
        f"{table}:{row_id or f'row {number}'}"
        for table, row_id, number in zip(rows.table, rows.row_id, rows.row_number, strict=True)
    ]
    return rows.assign(acted_on=[acted.get(name, "") for name in named])[QUARANTINE_COLUMNS]


def _keys(frame: pd.DataFrame) -> pd.Series:
    return frame["table"].astype(str) + ":" + frame["row_number"].astype(str)


def _verbatim(table: RawTable, row_number: int) -> str:
    row = table.frame.loc[table.frame["row_number"] == row_number].iloc[0]
    return json.dumps(row.drop("row_number").to_dict(), ensure_ascii=False)
