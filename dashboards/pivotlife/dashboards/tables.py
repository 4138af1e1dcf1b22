"""Tables for the pages: written cells under labelled columns, and sums of given amounts.

A cell carries its column's label because a row becomes a card on a narrow screen.

Not here: what is counted and why (the page modules), how a number is written (`words`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from pivotlife.dashboards import words

#: A day or a short code is never broken at its hyphens.
_CODE: Final = re.compile(r"(?=.*\d)(?=.{3,14}$)\w+(?:-\w+)+")


@dataclass(frozen=True)
class Column:
    """One column: its heading, and whether it holds numbers (set right, sorted by size)."""

    label: str
    numeric: bool = False

    @property
    def kind(self) -> str:
        """Style class of the column."""
        return "num" if self.numeric else "txt"


@dataclass(frozen=True)
class Cell:
    """One written cell, with lines of smaller print below it."""

    text: str
    notes: tuple[str, ...] = ()
    label: str = ""
    kind: str = "txt"


@dataclass(frozen=True)
class Table:
    """A table ready for the page.

    Attributes
    ----------
    name : str
        Its id on the page and the name of the downloaded file.
    caption : str
        One sentence saying what to read from it, with the number of cases.
    columns, rows, footer
        Headings, lines, and lines of totals that stay at the foot when sorted.
    empty : str
        The sentence shown when there is no line.
    """

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    footer: tuple[tuple[Cell, ...], ...] = ()
    empty: str = "Nothing to list."


def make_table(
    name: str,
    caption: str,
    columns: Sequence[Column],
    records: Iterable[Sequence[str | Cell]],
    *,
    footer: Iterable[Sequence[str | Cell]] = (),
    empty: str = "Nothing to list.",
) -> Table:
    """Label every cell with its column.

    Parameters
    ----------
    name, caption, columns, empty
        As in `Table`.
    records, footer : iterable of sequence
        One sequence of written cells for each line, in the order of `columns`.
    """
    return Table(
        name=name,
        caption=caption,
        columns=tuple(columns),
        rows=tuple(_row(columns, record) for record in records),
        footer=tuple(_row(columns, record) for record in footer),
        empty=empty,
    )


def _row(columns: Sequence[Column], record: Sequence[str | Cell]) -> tuple[Cell, ...]:
    cells = []
    for column, value in zip(columns, record, strict=True):
        cell = value if isinstance(value, Cell) else Cell(value)
        kind = f"{column.kind} tied" if _CODE.fullmatch(cell.text) else column.kind
        cells.append(Cell(cell.text, cell.notes, column.label, kind))
    return tuple(cells)


def with_used_notes(table: Table, *labels: str) -> Table:
    """Leave out columns of remarks in which no row has one.

    Parameters
    ----------
    table : Table
    labels : str
        Headings of the columns that may go.
    """
    blank = ("", "none")
    kept = [
        place
        for place, column in enumerate(table.columns)
        if column.label not in labels
        or not table.rows
        or any(row[place].text not in blank or row[place].notes for row in table.rows)
    ]
    return replace(
        table,
        columns=tuple(table.columns[place] for place in kept),
        rows=tuple(tuple(row[place] for place in kept) for row in table.rows),
        footer=tuple(tuple(row[place] for place in kept) for row in table.footer),
    )


def estimate(text: str, lower_to_upper: str) -> Cell:
    """Write an estimate with its interval in small print below it."""
    return Cell(text, (lower_to_upper,) if lower_to_upper else ())


def group_sizes(frame: pd.DataFrame, by: Sequence[str]) -> list[tuple[tuple[str, ...], int]]:
    """Count the rows of each combination of texts, largest first, then by name.

    Parameters
    ----------
    frame : DataFrame
        Any table.
    by : sequence of str
        Text columns of it.
    """
    if frame.empty:
        return []
    keys = frame[list(by)].map(words.text)
    sizes = keys.groupby(list(by), sort=True, observed=True).size()
    pairs = [
        (tuple(key) if isinstance(key, tuple) else (str(key),), int(size))
        for key, size in sizes.items()
    ]
    return sorted(pairs, key=lambda pair: (-pair[1], pair[0]))


def sums(frame: pd.DataFrame, by: Sequence[str], amounts: Sequence[str]) -> pd.DataFrame:
    """Add up given amounts within groups; an unknown amount leaves its sum unknown.

    Parameters
    ----------
    frame : DataFrame
        Rows with the columns of `by` (text) and `amounts` (numbers).

    Returns
    -------
    DataFrame
        One row a group in the order of its names: `by`, `rows`, then the sums.
    """
    if frame.empty:
        return pd.DataFrame(columns=[*by, "rows", *amounts])
    groups = frame.groupby(list(by), sort=True, observed=True)
    result = groups[list(amounts)].agg(_whole_sum)
    result.insert(0, "rows", groups.size())
    return result.reset_index()


def _whole_sum(amounts: pd.Series[float]) -> float:
    return float(amounts.sum(skipna=False))
