"""Rules that look beyond one cell: repeated rows and keys, unknown units, contradicting columns.

Not here: the checks of single cells, which the contracts hold.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.cells import cells_of, name_key
from pivotlife.pipeline.compact_columns import CompactColumn
from pivotlife.pipeline.conversion import Converted
from pivotlife.pipeline.faults import Faults

#: Told before the faults of any column.
ROW: Final = -1

#: Ribbed bushings are pressed into spring eyes, smooth ones into the hanger bracket
#: (common practice, no source).
OUTSIDE_OF_NODE: Final = {
    "fixed-eye": "ribbed",
    "shackle-lower": "ribbed",
    "shackle-upper": "smooth",
}


@dataclass(frozen=True)
class KnownUnits:
    """The units that rows of other tables may speak of.

    Attributes
    ----------
    good : frozenset of str
        Units whose own row is free of faults.
    named : frozenset of str
        Every unit that the units table names, faulty rows included.
    """

    good: frozenset[str]
    named: frozenset[str]


def repeats(frame: pd.DataFrame, columns: list[str], id_column: str) -> npt.NDArray[np.intp]:
    """Find rows that repeat an earlier row word for word.

    Parameters
    ----------
    frame : DataFrame of str
        One raw table with `row_number`.
    columns : list of str
        The columns that must agree.
    id_column : str
        A column that narrows the search, or "".

    Returns
    -------
    ndarray of int, shape (n_repeats, 2)
        Place of each repeating row, and place of the row it repeats.
    """
    narrow = [id_column] if id_column in frame.columns else columns
    if not columns or frame.empty:
        return np.empty((0, 2), dtype=np.intp)
    some = frame[frame.duplicated(narrow, keep=False)]
    some = some[some.duplicated(columns, keep=False)]
    if some.empty:
        return np.empty((0, 2), dtype=np.intp)
    text = some[columns].astype(object)
    group = text.groupby(columns, sort=False, dropna=False).ngroup().to_numpy()
    later = some.duplicated(columns, keep="first").to_numpy()
    place = some.index.to_numpy(dtype=np.intp)
    first = place[~later][np.argsort(group[~later])]
    return np.column_stack([place[later], first[group[later]]])


def note_repeated_keys(
    faults: Faults,
    raw: pd.DataFrame,
    keys: Mapping[str, CompactColumn],
    row_name: Callable[[int], str],
) -> None:
    """Note every row whose key an earlier row has, with other content; the first one stands.

    Parameters
    ----------
    faults : Faults
        Of the whole table.
    raw : DataFrame of str
        The rows as read.
    keys : mapping of str to CompactColumn
        The converted columns that no two rows may share, by native header; none where rows may
        repeat a key.
    row_name : callable
        Names a row by its place: its line and, where there are several, its file.
    """
    if not keys:
        return
    key = list(keys)
    parts = pd.DataFrame({name: _key_part(column, name) for name, column in keys.items()})
    whole = parts[parts.notna().all(axis=1)].assign(place=lambda part: part.index)
    alike = whole[whole.duplicated(key, keep=False)]
    first = alike.groupby(key, sort=False)["place"].transform("first")
    later = alike.duplicated(key, keep="first")
    rows = alike.index[later].to_numpy(dtype=np.intp)
    name = key[0] if len(key) == 1 else "row"
    texts = [
        f"{name}.repeated: {', '.join(f'{column} {written!r}' for column, written in cells)} "
        f"is in {row_name(place)} already, with other content"
        for cells, place in zip(_given(raw.iloc[rows], key), first[later].tolist(), strict=True)
    ]
    faults.add(ROW, rows, texts)


def note_unknown_units(converted: Converted, known: KnownUnits) -> None:
    """Note every row that speaks of a unit that is not in units, or whose row there is faulty."""
    unit_ids = converted.columns["unit_id"]
    codes, found = pd.factorize(unit_ids)
    texts = np.array([_unit_fault(str(unit_id), known) for unit_id in found], dtype=object)
    if not len(texts):
        return
    faults = texts[codes]
    rows = np.flatnonzero(faults != "")
    converted.faults.add(converted.order("unit_id"), rows, faults[rows].tolist())


def note_left_before_in_service(units: Converted) -> None:
    """Note every unit that left the fleet before it was put to work."""
    left, came = units.columns["left_fleet_date"], units.columns["in_service_date"]
    rows = np.flatnonzero(left < came)
    texts = [
        f"left_fleet_date.before_in_service: left_fleet_date {gone!r} is before "
        f"in_service_date {begun!r}"
        for (_, gone), (_, begun) in _written(units, ("left_fleet_date", "in_service_date"), rows)
    ]
    units.faults.add(units.order("left_fleet_date"), rows, texts)


def note_outside_of_node(kits: Converted) -> None:
    """Note every kit whose bushing has the outside of another node."""
    wanted = pd.Series(kits.columns["node"], dtype=object).map(OUTSIDE_OF_NODE).to_numpy()
    outside = kits.columns["outside"]
    told = np.isin(outside, list(OUTSIDE_OF_NODE.values())) & ~pd.isna(wanted)
    rows = np.flatnonzero(told & (outside != wanted))
    texts = [
        f"outside.wrong_node: outside {outside[row]!r} does not go with node "
        f"{kits.columns['node'][row]!r}, which takes {wanted[row]!r}"
        for row in rows.tolist()
    ]
    kits.faults.add(kits.order("outside"), rows, texts)


def _unit_fault(unit_id: str, known: KnownUnits) -> str:
    if not unit_id or unit_id in known.good:
        return ""
    if unit_id in known.named:
        return (
            f"unit_id.quarantined: unit_id {unit_id!r} has a faulty row in units; mend that first"
        )
    return f"unit_id.unknown: unit_id {unit_id!r} is not in units"


def _key_part(column: CompactColumn, name: str) -> npt.NDArray[Any]:
    """Give the values of a key's column as numbers, equal where the values are; blank is NaN."""
    if not column.is_text:
        return column.plain()
    codes, texts = column.distinct_texts()
    if name == "unit_id":
        spelt = np.array([name_key(text) for text in texts], dtype=object)
        numbers = pd.factorize(spelt)[0].astype(float)
    else:
        numbers = np.arange(len(texts), dtype=float)
    numbers[np.asarray(texts == "", dtype=bool)] = np.nan
    return numbers[codes]


def _given(raw: pd.DataFrame, columns: list[str]) -> list[list[tuple[str, str]]]:
    """Give the cells of raw rows as they were written, with their columns; absent ones as ""."""
    texts = {
        column: cells_of(raw[column]).written().tolist() if column in raw else [""] * len(raw)
        for column in columns
    }
    return [[(column, texts[column][place]) for column in columns] for place in range(len(raw))]


def _written(
    converted: Converted, columns: tuple[str, ...], rows: npt.NDArray[np.intp]
) -> list[list[tuple[str, str]]]:
    """Give the cells of some rows as they were written, with their columns."""
    texts = {
        column: converted.cells[column].texts[converted.cells[column].codes[rows]]
        for column in columns
    }
    return [
        [(column, str(texts[column][place])) for column in columns] for place in range(len(rows))
    ]
