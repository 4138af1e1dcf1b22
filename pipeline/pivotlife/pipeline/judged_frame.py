"""The judged form of a table: canonical columns, and where each row came from.

Judged tables are kept compact and made plain when they are asked for: what names a row (`row_id`,
`source_row`, `pivot_id`) follows from its other columns and is only then written out.

Not here: which rows are faulty.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa

from pivotlife.data.contracts.columns import EARLIEST_DAY, LATEST_DAY, ColumnFacts, judged_name
from pivotlife.data.contracts.tables import column_facts, judged_columns, table_facts
from pivotlife.data.contracts.vocabulary import NODES, POSITION, SIDES
from pivotlife.pipeline.cells import Text, cells_of
from pivotlife.pipeline.compact_columns import CompactColumn
from pivotlife.pipeline.conversion import Converted
from pivotlife.pipeline.raw_table import row_files
from pivotlife.pipeline.row_names import row_ids
from pivotlife.pipeline.text_table import ADDED, SUFFIX

#: Columns that judging adds to every table.
ORIGIN: Final = ("table", "row_number", "file", "row_id", "source_row", "pivot_id", "reasons")


@dataclass(frozen=True)
class CompactTable:
    """The good rows of one table in little memory.

    Attributes
    ----------
    schema : pandera DataFrameSchema
        The table's contract.
    columns : dict of str to CompactColumn
        What `judged_columns_of` yields.
    joined : bool
        Whether several files made up the table as read: then a line alone names no row.
    """

    schema: pa.DataFrameSchema
    columns: dict[str, CompactColumn]
    joined: bool

    def plain(self) -> pd.DataFrame:
        """Write the table out, with the columns that name its rows."""
        columns = {name: column.plain() for name, column in self.columns.items()}
        return pd.DataFrame(with_names(columns, self.schema, joined=self.joined), copy=False)

    def some(self, names: Sequence[str]) -> pd.DataFrame:
        """Write out some of the columns that are kept."""
        return pd.DataFrame({name: self.columns[name].plain() for name in names}, copy=False)


class PlainTables(Mapping[str, pd.DataFrame]):
    """Judged tables by name, each written out anew whenever it is asked for.

    Parameters
    ----------
    compact : mapping of str to CompactTable
    """

    def __init__(self, compact: Mapping[str, CompactTable]) -> None:
        self._compact = compact

    def __getitem__(self, name: str) -> pd.DataFrame:
        """Write out one table."""
        return self._compact[name].plain()

    def some(self, name: str, *columns: str) -> pd.DataFrame:
        """Write out some columns of one table, none of those that name its rows."""
        return self._compact[name].some(columns)

    def __contains__(self, name: object) -> bool:
        """Say whether there is such a table, without writing it out."""
        return name in self._compact

    def __iter__(self) -> Iterator[str]:
        """List the tables' names."""
        return iter(self._compact)

    def __len__(self) -> int:
        """Count the tables."""
        return len(self._compact)


def judged_columns_of(
    raw: pd.DataFrame, converted: Converted
) -> Iterator[tuple[str, npt.NDArray[Any]]]:
    """Put a converted table into its judged columns, one after the other, faulty rows included.

    The converted columns are used up on the way, so that no table is held twice.

    Parameters
    ----------
    raw : DataFrame of str
        The rows as read.
    converted : Converted
        The same rows after their contract.

    Yields
    ------
    tuple of str and ndarray
        The contract's columns under their judged names, `<play>_as_written`, the extra columns
        of the source, `row_number` and `file`. What could not be read is NaN, NaT or "".
    """
    facts = column_facts(converted.schema)
    for name, fact in facts.items():
        yield judged_name(name, fact), _readable(converted.columns.pop(name), fact)
        if fact.kind == "quantity" and fact.measure == "play":
            yield f"{name}_as_written", converted.cells[name].written()
    taken = {*judged_columns(converted.schema), *ORIGIN}
    for name in extra_columns(raw, converted):
        yield _free_name(name, taken), cells_of(raw[name]).written()
    yield "row_number", raw["row_number"].to_numpy(dtype=np.int64)
    yield "file", row_files(raw)


def with_names(
    columns: Mapping[str, npt.NDArray[Any]], schema: pa.DataFrameSchema, *, joined: bool
) -> dict[str, npt.NDArray[Any]]:
    """Add what names the rows of a table.

    Parameters
    ----------
    columns : mapping of str to ndarray
        Some rows of what `judged_columns_of` yields.
    schema : pandera DataFrameSchema
        The table's contract.
    joined : bool
        Whether several files made up the table as read.

    Returns
    -------
    dict of str to ndarray
        The columns with `table`, `row_id`, `source_row` and, where the table has a position,
        `pivot_id` ("" where not all of it is known).
    """
    table, id_column = str(schema.name), table_facts(schema).id_column
    origin = {name: columns[name] for name in ("row_number", "file")}
    named = {name: column for name, column in columns.items() if name not in origin}
    ids = row_ids(pd.DataFrame(origin, copy=False), columns.get(id_column), joined=joined)
    named["table"] = _repeated(table, len(ids))
    named |= origin
    named["row_id"] = ids
    named["source_row"] = _texts([f"{table}:{row_id}" for row_id in ids])
    if set(POSITION) <= set(schema.columns):
        named["pivot_id"] = _pivot_ids(columns)
    return named


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


def _pivot_ids(columns: Mapping[str, npt.NDArray[Any]]) -> Text:
    """Write unit.axle.side.node where all four are known, "" elsewhere; each text made once."""
    unit_codes, units = pd.factorize(columns["unit_id"])
    axle = np.nan_to_num(columns["axle"], nan=0.0).astype(np.int64)
    side = pd.Categorical(columns["side"], categories=list(SIDES)).codes.astype(np.int64)
    node = pd.Categorical(columns["node"], categories=list(NODES)).codes.astype(np.int64)
    known = (axle > 0) & (side >= 0) & (node >= 0) & (columns["unit_id"] != "")
    places = ((unit_codes * 10 + axle) * len(SIDES) + side) * len(NODES) + node
    back, found = pd.factorize(np.where(known, places, -1))
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


def _repeated(text: str, rows: int) -> Text:
    """Put one text in every row; filling an array while making it would copy the text each time."""
    column = np.empty(rows, dtype=object)
    column.fill(text)
    return column


def _texts(texts: list[str]) -> Text:
    column = np.empty(len(texts), dtype=object)
    column[:] = texts
    return column
