"""The fate of every source row: rows in = rows out.

A row ends as part of a life, as a reading, as an odometer value, as context, as quarantined, or
as not needed; the reason stands beside it. A row that the ledger cannot account for is a fault
of this program, not of the row, and stops the run.

Not here: deciding the fates (`judge`, `true_miles`, `histories`), which this only collects.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.raw_table import RawTable, row_key, verbatim_rows

#: What names a row: its line alone does not, where several files make one table.
KEY = ["table", "file", "row_number"]
LEDGER_COLUMNS = ["table", "row_number", "row_id", "fate", "reason", "file"]
QUARANTINE_COLUMNS = ["table", "row_number", "row_id", "reasons", "row", "acted_on", "file"]


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
        Columns `table, row_number, row_id, fate, reason, file` for the rows that passed the checks.
    unplaced : DataFrame
        Columns `table, row_number, row_id, reason, file`: rows whose odometer has no neighbour.

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
            fates[~_keys(fates).isin(_keys(unplaced))] if len(unplaced) else fates,
        ],
        ignore_index=True,
    )[LEDGER_COLUMNS]
    rows_in = sum(len(table.frame) for table in raw.values())
    doubles = int(ledger.duplicated(KEY).sum())
    if len(ledger) != rows_in or doubles:
        raise RuntimeError(
            f"the ledger holds {len(ledger)} of {rows_in} source rows, {doubles} of them twice"
        )
    ledger["reason"] = _with_corrections(ledger, raw)
    return ledger.iloc[_file_order(ledger, raw)].reset_index(drop=True)


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
    late = unplaced.rename(columns={"reason": "reasons"}).assign(row=_verbatim(unplaced, raw))
    rows = pd.concat([judged.quarantine, late], ignore_index=True)
    named = [
        f"{table}:{row_id or f'row {number}'}"
        for table, row_id, number in zip(rows.table, rows.row_id, rows.row_number, strict=True)
    ]
    return rows.assign(acted_on=[acted.get(name, "") for name in named])[QUARANTINE_COLUMNS]


def _keys(frame: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_frame(frame[KEY])


def _file_order(ledger: pd.DataFrame, raw: Mapping[str, RawTable]) -> npt.NDArray[np.intp]:
    """Sort rows by table, file and line, tables and files as they were handed in."""
    tables = {name: place for place, name in enumerate(raw)}
    files: dict[str, int] = {}
    for table in raw.values():
        for file in pd.unique(table.files()):
            files.setdefault(str(file), len(files))
    return np.lexsort(
        (ledger["row_number"], ledger["file"].map(files), ledger["table"].map(tables))
    )


def _with_corrections(ledger: pd.DataFrame, raw: Mapping[str, RawTable]) -> pd.Series:
    """Put what a person corrected in a row before the reason of its fate."""
    told: dict[tuple[str, str, int], list[str]] = {}
    for name, table in raw.items():
        for one in table.corrections:
            told.setdefault((name, *row_key(table.frame, one.place)), []).append(one.sentence())
    if not told:
        return ledger["reason"]
    keys = zip(ledger["table"], ledger["file"], ledger["row_number"], strict=True)
    return pd.Series(
        [
            "; ".join([*told.get(key, []), *([reason] if reason else [])])
            for key, reason in zip(keys, ledger["reason"], strict=True)
        ],
        index=ledger.index,
        dtype=object,
    )


def _verbatim(rows: pd.DataFrame, raw: Mapping[str, RawTable]) -> list[str]:
    """Find rows again by table, file and line, and write them word for word."""
    texts: dict[tuple[str, str, int], str] = {}
    for name, part in rows.groupby("table", sort=False):
        table = raw[str(name)]
        keys = pd.MultiIndex.from_arrays([table.files(), table.frame["row_number"]])
        here = keys.isin(pd.MultiIndex.from_frame(part[["file", "row_number"]]))
        written = verbatim_rows(table.frame[here], table)
        found = zip(keys[here], written, strict=True)
        texts |= {(str(name), str(file), int(line)): str(text) for (file, line), text in found}
    keyed = zip(rows["table"], rows["file"], rows["row_number"], strict=True)
    return [texts[table, file, int(line)] for table, file, line in keyed]
