"""The judged form of a table: canonical columns, and where each row came from.

Not here: which rows are faulty.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data.contracts.columns import EARLIEST_DAY, LATEST_DAY, ColumnFacts, judged_name
from pivotlife.data.contracts.tables import column_facts, judged_columns, table_facts
from pivotlife.data.contracts.vocabulary import NODES, POSITION, SIDES
from pivotlife.pipeline.cells import Text, cells_of
from pivotlife.pipeline.conversion import Converted
from pivotlife.pipeline.csv_text import ADDED, SUFFIX

#: Columns that judging adds to every table.
ORIGIN: Final = ("table", "row_number", "row_id", "source_row", "pivot_id", "reasons")


def judged_frame(raw: pd.DataFrame, converted: Converted) -> pd.DataFrame:
    """Put a converted table into its judged columns, faulty rows included.

    Parameters
    ----------
    raw : DataFrame of str
        The rows as read.
    converted : Converted
        The same rows after their contract.

    Returns
    -------
    DataFrame
        The contract's columns under their judged names, `<play>_as_written`, the extra columns
        of the source, `table`, `row_number`, `row_id`, `source_row` and, where the table has a
        position, `pivot_id`. What could not be read is NaN, NaT or "".
    """
    facts = column_facts(converted.schema)
    columns: dict[str, Any] = {}
    for name, fact in facts.items():
        columns[judged_name(name, fact)] = _readable(converted.columns[name], fact)
        if fact.kind == "quantity" and fact.measure == "play":
            columns[f"{name}_as_written"] = converted.cells[name].written()
    taken = {*judged_columns(converted.schema), *ORIGIN}
    for name in extra_columns(raw, converted):
        columns[_free_name(name, taken)] = cells_of(raw[name]).written()
    table = str(converted.schema.name)
    columns["table"] = np.full(len(raw), table, dtype=object)
    columns["row_number"] = raw["row_number"].to_numpy(dtype=np.int64)
    id_column = table_facts(converted.schema).id_column
    columns["row_id"] = row_ids(raw, converted.columns.get(id_column))
    columns["source_row"] = _texts([f"{table}:{row_id}" for row_id in columns["row_id"]])
    if set(POSITION) <= set(facts):
        columns["pivot_id"] = _pivot_ids(columns)
    return pd.DataFrame(columns)


def row_ids(raw: pd.DataFrame, ids: Text | None) -> Text:
    """Name each row by its id, or by its line (and file, where several were joined).

    Parameters
    ----------
    raw : DataFrame
        The rows as read.
    ids : ndarray of str, shape (n_rows,), or None
        Their ids, "" where blank; None where the table has no id.
    """
    numbers = raw["row_number"].tolist()
    if "path" in raw.columns:
        files = raw["path"].astype(str).str.replace(r".*[/\\]", "", regex=True).tolist()
        lines = [f"row {number} of {file}" for number, file in zip(numbers, files, strict=True)]
    else:
        lines = [f"row {number}" for number in numbers]
    if ids is None:
        return _texts(lines)
    return _texts([row_id or line for row_id, line in zip(ids.tolist(), lines, strict=True)])


def extra_columns(raw: pd.DataFrame, converted: Converted) -> list[str]:
    """List the columns of a source that its contract does not know."""
    return [str(name) for name in raw.columns if name not in converted.cells and name not in ADDED]


def _readable(column: npt.NDArray[Any], facts: ColumnFacts) -> npt.NDArray[Any]:
    """Clear what cannot be right; a play too large is kept, because it may be a danger."""
    if facts.kind == "words":
        codes, found = pd.factorize(column)
        known = np.array([word if word in facts.allowed else "" for word in found], dtype=object)
        return known[codes] if len(codes) else column
    if facts.kind == "whole" and facts.lowest is not None and facts.highest is not None:
        with np.errstate(invalid="ignore"):
            sound = (column % 1 == 0) & (column >= facts.lowest) & (column <= facts.highest)
        return np.where(sound, column, np.nan)
    if facts.kind == "date":
        return _plausible(column)
    return column


def _plausible(days: npt.NDArray[Any]) -> npt.NDArray[Any]:
    plausible = (days >= EARLIEST_DAY.to_datetime64()) & (days <= LATEST_DAY.to_datetime64())
    return np.where(plausible, days, np.datetime64("NaT", "ns"))


def _pivot_ids(columns: dict[str, Any]) -> Text:
    """Write unit.axle.side.node where all four are known, "" elsewhere; each text made once."""
    unit_codes, units = pd.factorize(columns["unit_id"])
    axle = np.nan_to_num(columns["axle"], nan=0.0).astype(np.int64)
    side = pd.Categorical(columns["side"], categories=list(SIDES)).codes.astype(np.int64)
    node = pd.Categorical(columns["node"], categories=list(NODES)).codes.astype(np.int64)
    known = (axle > 0) & (side >= 0) & (node >= 0) & (columns["unit_id"] != "")
    places = ((unit_codes * 10 + axle) * len(SIDES) + side) * len(NODES) + node
    found, back = np.unique(np.where(known, places, -1), return_inverse=True)
    names = _texts([_pivot_id(int(place), units) for place in found])
    return names[back] if len(back) else _texts([])


def _pivot_id(place: int, units: npt.NDArray[Any]) -> str:
    if place < 0:
        return ""
    place, node = divmod(place, len(NODES))
    place, side = divmod(place, len(SIDES))
    unit, axle = divmod(place, 10)
    return f"{units[unit]}.{axle}.{SIDES[side]}.{NODES[node]}"


def _free_name(name: str, taken: set[str]) -> str:
    while name in taken:
        name = f"{name}{SUFFIX}"
    taken.add(name)
    return name


def _texts(texts: list[str]) -> Text:
    column = np.empty(len(texts), dtype=object)
    column[:] = texts
    return column
