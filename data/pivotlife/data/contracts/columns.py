"""What a column of a contract is: its kind, its unit, its allowed words, its one sentence.

Every function here makes a pandera column. The checks hold for the column after conversion
(miles, millimetres, dates, floats); a blank cell is null. The facts that pandera has no field
for travel in the column's metadata as `ColumnFacts`.

Not here: reading a cell's text, and the words of a fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import pandas as pd
import pandera.pandas as pa

from pivotlife.data.units_of_measure import CANONICAL, Measure

Kind = Literal["text", "words", "date", "number", "whole", "quantity", "unit"]

#: Dates outside are typing errors or placeholders: no spring pivot on record is older.
EARLIEST_DAY: Final = pd.Timestamp("1950-01-01")
LATEST_DAY: Final = pd.Timestamp("2100-12-31")

#: More movement than this is a wrong unit rather than a bushing still in its eye.
LARGEST_PLAY_MM: Final = 25.4

#: The words of a yes/no column.
YES_NO: Final = ("yes", "no")


@dataclass(frozen=True)
class ColumnFacts:
    """What the contract says of one column beyond its checks.

    Attributes
    ----------
    kind : str
        How the cell is read: text, words (one of a list), date, number, whole, quantity, unit.
    allowed : tuple of str
        The words it may hold; empty for other kinds.
    measure : str
        What a quantity or unit column measures: distance, play, length; else empty.
    unit_column : str
        The column that declares a quantity's unit.
    default_unit : str
        The unit of a quantity whose unit cell is blank; empty = a blank unit is a fault.
    """

    kind: Kind
    allowed: tuple[str, ...] = ()
    measure: Measure | None = None
    unit_column: str = ""
    default_unit: str = ""
    lowest: float | None = None
    highest: float | None = None


def text(says: str, *, required: bool = False) -> pa.Column:
    """Make a column of free text; compared as written."""
    return _column("object", says, required, ColumnFacts("text"))


def words(says: str, allowed: tuple[str, ...], *, required: bool = False) -> pa.Column:
    """Make a column that holds one of a few words; case, spaces and dashes do not matter."""
    check = pa.Check.isin(list(allowed), error="not_allowed")
    return _column("object", says, required, ColumnFacts("words", allowed=allowed), check)


def yes_no(says: str) -> pa.Column:
    """Make a yes/no column; blank means that nobody said."""
    return words(says, YES_NO)


def day(says: str, *, required: bool = False) -> pa.Column:
    """Make a date column, written YYYY-MM-DD."""
    check = pa.Check.in_range(EARLIEST_DAY, LATEST_DAY, error="implausible_date")
    return _column("datetime64[ns]", says, required, ColumnFacts("date"), check)


def number(says: str, *, required: bool = False) -> pa.Column:
    """Make a column of a plain number, zero or more."""
    check = pa.Check.ge(0, error="negative")
    return _column("float64", says, required, ColumnFacts("number", lowest=0.0), check)


def whole(says: str, lowest: int, highest: int, *, required: bool = False) -> pa.Column:
    """Make a column of whole numbers between two bounds."""
    facts = ColumnFacts("whole", lowest=lowest, highest=highest)
    checks = (
        pa.Check(lambda values: values % 1 == 0, error="not_whole"),
        pa.Check.in_range(lowest, highest, error="out_of_range"),
    )
    return _column("float64", says, required, facts, *checks)


def distance(says: str, *, required: bool = False) -> pa.Column:
    """Make an odometer column; miles unless `odometer_unit` says otherwise."""
    facts = ColumnFacts(
        "quantity", measure="distance", unit_column="odometer_unit", default_unit="mi", lowest=0.0
    )
    return _column("float64", says, required, facts, pa.Check.ge(0, error="negative"))


def play(says: str, *, required: bool = False) -> pa.Column:
    """Make a free-play column; a play without a unit is a fault, never a guess."""
    facts = ColumnFacts(
        "quantity",
        measure="play",
        unit_column="free_play_unit",
        lowest=0.0,
        highest=LARGEST_PLAY_MM,
    )
    checks = (
        pa.Check.ge(0, error="negative"),
        pa.Check.le(LARGEST_PLAY_MM, error="too_large"),
    )
    return _column("float64", says, required, facts, *checks)


def length(says: str, *, required: bool = False) -> pa.Column:
    """Make a column for the size of a part; a size without a unit is a fault."""
    facts = ColumnFacts("quantity", measure="length", unit_column="length_unit", lowest=0.0)
    return _column("float64", says, required, facts, pa.Check.ge(0, error="negative"))


def unit(says: str, measure: Measure) -> pa.Column:
    """Make a column that declares the unit of the quantities beside it."""
    return _column("object", says, False, ColumnFacts("unit", measure=measure))


def odometer_unit() -> pa.Column:
    """Make the column that declares the unit of every odometer in its row."""
    return unit("unit of the odometer values in this row; blank = miles", "distance")


def free_play_unit() -> pa.Column:
    """Make the column that declares the unit of the free play in its row."""
    return unit("unit of the free play: in, thou, mm, cm, 1/16 in, 1/32 in", "play")


def length_unit() -> pa.Column:
    """Make the column that declares the unit of every part size in its row."""
    return unit("unit of the sizes in this row: mm, cm, in", "length")


def facts_of(column: pa.Column) -> ColumnFacts:
    """Give the facts that a contract's column carries."""
    metadata: Mapping[str, Any] = column.metadata or {}
    facts = metadata["facts"]
    if not isinstance(facts, ColumnFacts):
        raise ValueError(f"column {column.name} carries no facts")
    return facts


def judged_name(name: str, facts: ColumnFacts) -> str:
    """Name the column after conversion: a quantity's name ends in its unit."""
    if facts.measure is None or facts.kind != "quantity":
        return name
    return f"{name}_{'miles' if CANONICAL[facts.measure] == 'mile' else 'mm'}"


def _column(
    dtype: str, says: str, required: bool, facts: ColumnFacts, *checks: pa.Check
) -> pa.Column:
    return pa.Column(
        dtype,
        checks=list(checks),
        nullable=not required,
        required=required,
        description=says,
        metadata={"facts": facts},
    )
