"""One raw table through its contract: cells converted, every fault of every row noted.

First each cell is read (words, dates, numbers, units), which notes what cannot be read. Then
the contract's pandera schema checks the converted columns, which notes what cannot be right.

Not here: rules that look at several columns or tables, and what becomes of a faulty row.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import pandera.pandas as pa

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.data.contracts.tables import column_facts
from pivotlife.data.units_of_measure import Measure, canonical_unit, factor
from pivotlife.pipeline.cells import (
    Cells,
    Numbers,
    Text,
    blank_cells,
    cells_of,
    read_days,
    read_numbers,
    read_words,
)
from pivotlife.pipeline.dialect import PLAIN, Dialect
from pivotlife.pipeline.faults import Faults, fault_text

#: Rows that pandera looks at in one go; it copies what it checks.
_BLOCK_ROWS: Final = 200_000


@dataclass(frozen=True)
class Converted:
    """A table after its contract.

    Attributes
    ----------
    schema : pandera DataFrameSchema
        The contract.
    cells : dict of str to Cells
        The text of every column of the contract as written, by native header.
    meant : dict of str to Cells
        The same after the value maps and fixed units of the source's settings.
    columns : dict of str to ndarray
        The converted columns by native header: text (unreadable words as written), float in
        miles or millimetres, datetime64[ns].
    faults : Faults
        What is wrong, row by row.
    dialect : Dialect
        How the source writes.
    labels : mapping of str to str
        What the user calls a column, where it is not the native header.
    """

    schema: pa.DataFrameSchema
    cells: dict[str, Cells]
    meant: dict[str, Cells]
    columns: dict[str, npt.NDArray[Any]]
    faults: Faults
    dialect: Dialect = PLAIN
    labels: Mapping[str, str] = field(default_factory=dict)

    def order(self, column: str) -> int:
        """Give the place of a column in the contract."""
        return list(self.cells).index(column)


def convert(
    frame: pd.DataFrame,
    schema: pa.DataFrameSchema,
    dialect: Dialect = PLAIN,
    labels: Mapping[str, str] | None = None,
) -> Converted:
    """Convert a raw table and check it against its contract.

    Parameters
    ----------
    frame : DataFrame of str
        As read, under native headers; columns that the contract knows and the frame lacks
        count as blank.
    schema : pandera DataFrameSchema
        The table's contract.
    dialect : Dialect
        How the source writes words, numbers, dates and units.
    labels : mapping of str to str, optional
        What the user calls a column, for the words of its faults.

    Returns
    -------
    Converted
    """
    facts = column_facts(schema)
    cells, own_units = _read_cells(frame, facts, dialect)
    meant = _with_shared_units(own_units, facts, dialect)
    converted = Converted(schema, cells, meant, {}, Faults(len(frame)), dialect, labels or {})
    for name, fact in facts.items():
        converted.columns[name] = _read_column(converted, name, fact, own_units)
    _check(converted, facts)
    return converted


def meant_texts(frame: pd.DataFrame, schema: pa.DataFrameSchema, dialect: Dialect) -> pd.DataFrame:
    """Give the texts that the cells of a raw table mean, by native header.

    Parameters
    ----------
    frame, schema, dialect
        As in `convert`.

    Returns
    -------
    DataFrame of str
        The contract's columns after the value maps and fixed units of the source's settings.
    """
    facts = column_facts(schema)
    meant = _with_shared_units(_read_cells(frame, facts, dialect)[1], facts, dialect)
    return pd.DataFrame({name: cells.written() for name, cells in meant.items()})


def _read_cells(
    frame: pd.DataFrame, facts: dict[str, ColumnFacts], dialect: Dialect
) -> tuple[dict[str, Cells], dict[str, Cells]]:
    """Give every column's cells as written, and as the value maps mean them."""
    cells = {
        name: cells_of(frame[name]) if name in frame.columns else blank_cells(len(frame))
        for name in facts
    }
    return cells, {name: dialect.meant(name, cells[name], fact) for name, fact in facts.items()}


def _with_shared_units(
    meant: dict[str, Cells], facts: dict[str, ColumnFacts], dialect: Dialect
) -> dict[str, Cells]:
    """Fill a unit column's blanks where all its quantities were declared the same unit."""
    filled = dict(meant)
    for fact in facts.values():
        if fact.kind == "quantity":
            alike = [name for name, other in facts.items() if other.unit_column == fact.unit_column]
            units = meant[fact.unit_column]
            declared = [dialect.unit_cells(name, fact, units) for name in alike]
            same = all(np.array_equal(one.texts, declared[0].texts) for one in declared)
            filled[fact.unit_column] = declared[0] if same else units
    return filled


def _read_column(
    converted: Converted, name: str, facts: ColumnFacts, own_units: dict[str, Cells]
) -> npt.NDArray[Any]:
    cells = converted.meant[name]
    if facts.kind == "words":
        return read_words(cells, facts.allowed)
    if facts.kind == "date":
        days, codes = read_days(cells, converted.dialect.read_day)
        _note_codes(converted, name, facts, codes, converted.dialect.day_words)
        return days
    if facts.kind in ("number", "whole"):
        read = read_numbers(cells, point_number=converted.dialect.point_number)
        _note_codes(converted, name, facts, read.codes)
        return read.numbers
    if facts.kind == "quantity":
        units = converted.dialect.unit_cells(name, facts, own_units[facts.unit_column])
        return _read_quantity(converted, name, facts, units)
    if facts.kind == "unit":
        return cells.spread(_canonical_units(cells, facts.measure))
    return cells.written()


def _read_quantity(converted: Converted, name: str, facts: ColumnFacts, units: Cells) -> Numbers:
    cells = converted.meant[name]
    read = read_numbers(
        cells,
        fractions=facts.measure != "distance",
        point_number=converted.dialect.point_number,
    )
    _note_codes(converted, name, facts, read.codes)
    factors, why = unit_factors(units, facts)
    filled = ~cells.is_blank()
    unit_blank = units.is_blank()
    if not facts.default_unit:
        _note(converted, name, facts, "no_unit", np.flatnonzero(filled & unit_blank))
    unreadable = filled & ~unit_blank & np.isnan(factors)
    _note(converted, facts.unit_column, facts, "unknown_unit", np.flatnonzero(unreadable), why=why)
    inches = units.spread(_canonical_units(units, facts.measure)) == "in"
    odd = read.is_fraction & ~inches & ~np.isnan(factors)
    _note(converted, name, facts, "fraction", np.flatnonzero(odd))
    return np.where(odd, np.nan, read.numbers * factors)


def unit_factors(units: Cells, facts: ColumnFacts) -> tuple[Numbers, dict[str, str]]:
    """Give each row the factor of its unit, asking once for each distinct text.

    Parameters
    ----------
    units : Cells
        The column that declares the unit.
    facts : ColumnFacts
        Of the quantity: its measure, and its unit where the cell is blank.

    Returns
    -------
    tuple of ndarray of float, shape (n_rows,), and dict
        Miles or millimetres per unit, NaN where the unit is blank or unreadable; and by
        unreadable text the reason.
    """
    factors = np.full(len(units.texts), np.nan)
    why: dict[str, str] = {}
    for place, text in enumerate(units.texts):
        if (text or facts.default_unit) and facts.measure is not None:
            try:
                factors[place] = factor(text or facts.default_unit, facts.measure)
            except ValueError as fault:
                why[text] = str(fault)
    return units.spread(factors), why


def _canonical_units(units: Cells, measure: Measure | None) -> Text:
    """Name every distinct unit; one that cannot be used for the measure stays as written."""
    named = units.texts.copy()
    for place, text in enumerate(units.texts):
        if text and measure is not None:
            try:
                factor(text, measure)
                named[place] = canonical_unit(text)
            except ValueError:
                continue
    return named


def _note(
    converted: Converted,
    name: str,
    facts: ColumnFacts,
    code: str,
    rows: npt.NDArray[np.intp],
    *,
    why: dict[str, str] | None = None,
    else_why: str = "",
) -> None:
    """Note the same fault for several rows."""
    cells = converted.cells[name]
    reasons = why or {}
    places = cells.codes[rows]
    label = converted.labels.get(name, name)
    texts = {
        place: fault_text(
            code, name, cells.texts[place], facts, reasons.get(cells.texts[place], else_why), label
        )
        for place in np.unique(places).tolist()
    }
    converted.faults.add(converted.order(name), rows, [texts[place] for place in places.tolist()])


def _note_codes(
    converted: Converted, name: str, facts: ColumnFacts, codes: Text, why: str = ""
) -> None:
    faulty = codes != ""
    for code in sorted(set(codes[faulty])):
        _note(converted, name, facts, code, np.flatnonzero(codes == code), else_why=why)


def _check(converted: Converted, facts: dict[str, ColumnFacts]) -> None:
    """Let the contract check the converted columns, block by block, and note each failure."""
    with warnings.catch_warnings():
        # Pandera joins its own tables of failures and meets a pandas notice while doing so.
        warnings.filterwarnings("ignore", "The behavior of DataFrame concat", FutureWarning)
        for start in range(0, converted.faults.rows, _BLOCK_ROWS):
            _check_block(converted, facts, slice(start, start + _BLOCK_ROWS))


def _check_block(converted: Converted, facts: dict[str, ColumnFacts], block: slice) -> None:
    checked = {name: _nullable(column[block]) for name, column in converted.columns.items()}
    try:
        converted.schema.validate(pd.DataFrame(checked), lazy=True, inplace=True)
    except pa.errors.SchemaErrors as failure:
        cases = failure.failure_cases
    else:
        return
    for (name, check), group in cases.groupby(["column", "check"], sort=False):
        rows = np.asarray(group["index"], dtype=np.intp) + block.start
        if check == "not_nullable":
            rows = rows[converted.meant[name].is_blank()[rows]]
            _note(converted, name, facts[name], "missing", rows)
        else:
            _note(converted, name, facts[name], str(check), rows)


def _nullable(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Write a blank text as null, the way pandera counts what is missing."""
    if column.dtype != object:
        return column
    nullable = column.copy()
    nullable[column == ""] = None
    return nullable
