"""One raw table through its contract: cells converted, every fault of every row noted.

First each cell is read (words, dates, numbers, units), which notes what cannot be read. Then
the contract's pandera schema checks the converted columns, which notes what cannot be right.

Not here: rules that look at several columns or tables, and what becomes of a faulty row.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

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
from pivotlife.pipeline.faults import Faults, fault_text


@dataclass(frozen=True)
class Converted:
    """A table after its contract.

    Attributes
    ----------
    schema : pandera DataFrameSchema
        The contract.
    cells : dict of str to Cells
        The text of every column of the contract, by native header.
    columns : dict of str to ndarray
        The converted columns by native header: text (unreadable words as written), float in
        miles or millimetres, datetime64[ns].
    faults : Faults
        What is wrong, row by row.
    """

    schema: pa.DataFrameSchema
    cells: dict[str, Cells]
    columns: dict[str, npt.NDArray[Any]]
    faults: Faults

    def order(self, column: str) -> int:
        """Give the place of a column in the contract."""
        return list(self.cells).index(column)


def convert(frame: pd.DataFrame, schema: pa.DataFrameSchema) -> Converted:
    """Convert a raw table and check it against its contract.

    Parameters
    ----------
    frame : DataFrame of str
        As read; columns that the contract knows and the frame lacks count as blank.
    schema : pandera DataFrameSchema
        The table's contract.

    Returns
    -------
    Converted
    """
    facts = column_facts(schema)
    cells = {
        name: cells_of(frame[name]) if name in frame.columns else blank_cells(len(frame))
        for name in facts
    }
    converted = Converted(schema, cells, {}, Faults(len(frame)))
    for name, fact in facts.items():
        converted.columns[name] = _read_column(converted, name, fact)
    _check(converted, facts)
    return converted


def _read_column(converted: Converted, name: str, facts: ColumnFacts) -> npt.NDArray[Any]:
    cells = converted.cells[name]
    if facts.kind == "words":
        return read_words(cells, facts.allowed)
    if facts.kind == "date":
        days, unreadable = read_days(cells)
        _note(converted, name, facts, "not_a_date", unreadable)
        return days
    if facts.kind in ("number", "whole"):
        read = read_numbers(cells)
        _note_codes(converted, name, facts, read.codes)
        return read.numbers
    if facts.kind == "quantity":
        return _read_quantity(converted, name, facts)
    if facts.kind == "unit":
        return cells.spread(_canonical_units(cells, facts.measure))
    return cells.written()


def _read_quantity(converted: Converted, name: str, facts: ColumnFacts) -> Numbers:
    cells, units = converted.cells[name], converted.cells[facts.unit_column]
    read = read_numbers(cells, fractions=facts.measure != "distance")
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
) -> None:
    """Note the same fault for several rows."""
    cells = converted.cells[name]
    reasons = why or {}
    places = cells.codes[rows]
    texts = {
        place: fault_text(
            code, name, cells.texts[place], facts, reasons.get(cells.texts[place], "")
        )
        for place in np.unique(places).tolist()
    }
    converted.faults.add(converted.order(name), rows, [texts[place] for place in places.tolist()])


def _note_codes(converted: Converted, name: str, facts: ColumnFacts, codes: Text) -> None:
    faulty = codes != ""
    for code in sorted(set(codes[faulty])):
        _note(converted, name, facts, code, np.flatnonzero(codes == code))


def _check(converted: Converted, facts: dict[str, ColumnFacts]) -> None:
    """Let the contract check the converted columns and note each failure."""
    if converted.faults.rows == 0:
        return
    checked = {name: _nullable(column) for name, column in converted.columns.items()}
    with warnings.catch_warnings():
        # Pandera joins its own tables of failures and meets a pandas notice while doing so.
        warnings.filterwarnings("ignore", "The behavior of DataFrame concat", FutureWarning)
        try:
            converted.schema.validate(pd.DataFrame(checked), lazy=True)
        except pa.errors.SchemaErrors as failure:
            cases = failure.failure_cases
        else:
            return
    for (name, check), group in cases.groupby(["column", "check"], sort=False):
        rows = np.asarray(group["index"], dtype=np.intp)
        if check == "not_nullable":
            rows = rows[converted.cells[name].is_blank()[rows]]
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
