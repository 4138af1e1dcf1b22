"""How a contract's columns become one pandera schema, and what the schema remembers.

Not here: the tables themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandera.pandas as pa

from pivotlife.data.contracts.columns import ColumnFacts, facts_of, judged_name, whole, words
from pivotlife.data.contracts.vocabulary import HIGHEST_AXLE, LOWEST_AXLE, NODES, SIDES


@dataclass(frozen=True)
class TableFacts:
    """What a contract says of the whole table.

    Attributes
    ----------
    needed : bool
        True when the job cannot start without the table.
    id_column : str
        The column that names a row; empty when the table has none.
    key : tuple of str
        The columns no two rows may share; empty when rows may repeat a key.
    """

    needed: bool
    id_column: str
    key: tuple[str, ...]


def table(
    name: str,
    says: str,
    columns: Mapping[str, pa.Column],
    *,
    needed: bool = False,
    id_column: str = "",
    key: tuple[str, ...] = (),
) -> pa.DataFrameSchema:
    """Make the contract of one table; unknown extra columns are allowed.

    Parameters
    ----------
    name : str
        The table's name in the settings.
    says : str
        One sentence for the data dictionary.
    columns : mapping of str to pandera column
        By native header, in the order of the dictionary.
    needed, id_column, key
        See `TableFacts`.
    """
    facts = TableFacts(needed, id_column, key or ((id_column,) if id_column else ()))
    return pa.DataFrameSchema(
        dict(columns), name=name, description=says, metadata={"facts": facts}, strict=False
    )


def position(*, required: bool = False) -> dict[str, pa.Column]:
    """Make the three columns that say where on a unit; a partly blank position is no fault."""
    return {
        "axle": whole("axle, 1 = front", LOWEST_AXLE, HIGHEST_AXLE, required=required),
        "side": words("side of the unit, seen from the seat", SIDES, required=required),
        "node": words("which pivot of the spring", NODES, required=required),
    }


def table_facts(schema: pa.DataFrameSchema) -> TableFacts:
    """Give the facts that a contract carries."""
    metadata: Mapping[str, Any] = schema.metadata or {}
    facts = metadata["facts"]
    if not isinstance(facts, TableFacts):
        raise ValueError(f"table {schema.name} carries no facts")
    return facts


def column_facts(schema: pa.DataFrameSchema) -> dict[str, ColumnFacts]:
    """Give the facts of every column of a contract, by native header."""
    return {str(name): facts_of(column) for name, column in schema.columns.items()}


def required_columns(schema: pa.DataFrameSchema) -> list[str]:
    """Give the headers that a source of the table must have."""
    return [str(name) for name, column in schema.columns.items() if column.required]


def judged_columns(schema: pa.DataFrameSchema) -> list[str]:
    """Give the contract's columns as they are called after judging, in order."""
    names: list[str] = []
    for name, facts in column_facts(schema).items():
        names.append(judged_name(name, facts))
        if facts.measure == "play" and facts.kind == "quantity":
            names.append(f"{name}_as_written")
    return names
