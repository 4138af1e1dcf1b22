"""The data dictionary, written from the contracts so that it cannot go stale.

The dictionary lives in a README between two marker comments; `refreshed` swaps what is between
them and leaves the prose alone. Run as a module with the path of the README it rewrites it.

Not here: the contracts, and the prose around the dictionary.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandera.pandas as pa

from pivotlife.data.contracts.columns import ColumnFacts, judged_name
from pivotlife.data.contracts.registry import INCOMING
from pivotlife.data.contracts.tables import column_facts, table_facts

IN_SECTION: Final = "tables that come in"

_CELL: Final[dict[str, str]] = {
    "text": "text",
    "words": "one of",
    "date": "date YYYY-MM-DD",
    "number": "number",
    "whole": "whole number",
    "quantity": "number",
    "unit": "unit",
}


@dataclass(frozen=True)
class ColumnEntry:
    """One line of the dictionary.

    Attributes
    ----------
    name : str
        The header.
    holds : str
        What a cell holds: its kind, allowed words, bounds.
    unit : str
        The unit of the numbers; empty for text.
    meaning : str
        One sentence.
    """

    name: str
    holds: str
    unit: str
    meaning: str


def column_table(entries: Iterable[ColumnEntry]) -> str:
    """Render any list of columns as a Markdown table.

    Parameters
    ----------
    entries : iterable of ColumnEntry
        In the order of the file's columns.

    Returns
    -------
    str
        The table, ending in a newline.
    """
    lines = ["| column | holds | unit | meaning |", "|---|---|---|---|"]
    lines += [
        f"| `{entry.name}` | {_safe(entry.holds)} | {_safe(entry.unit)} | {_safe(entry.meaning)} |"
        for entry in entries
    ]
    return "\n".join(lines) + "\n"


def contract_entries(schema: pa.DataFrameSchema) -> list[ColumnEntry]:
    """List the columns of one contract for the dictionary."""
    described = {str(name): str(column.description) for name, column in schema.columns.items()}
    needed = {str(name): bool(column.required) for name, column in schema.columns.items()}
    return [
        ColumnEntry(
            name,
            f"{_holds(facts)}, required" if needed[name] else _holds(facts),
            _unit(name, facts),
            described[name],
        )
        for name, facts in column_facts(schema).items()
    ]


def in_section() -> str:
    """Render the dictionary of every table that comes in."""
    parts = [_contract_part(name, schema) for name, schema in INCOMING.items()]
    return "\n".join(parts)


def refreshed(document: str, section: str, body: str) -> str:
    """Put a fresh body between the two markers of a section.

    Parameters
    ----------
    document : str
        The README's text.
    section : str
        The section's name, as in its markers.
    body : str
        What goes between them.

    Returns
    -------
    str
        The README with the new body.

    Raises
    ------
    ValueError
        When the document lacks one of the markers.
    """
    begin, end = f"<!-- begin: {section} -->", f"<!-- end: {section} -->"
    head, found_begin, rest = document.partition(begin)
    _, found_end, tail = rest.partition(end)
    if not (found_begin and found_end):
        raise ValueError(f"the document lacks the markers {begin} and {end}")
    return f"{head}{begin}\n\n{body}\n{end}{tail}"


def refresh(readme: Path) -> None:
    """Rewrite the dictionary of incoming tables in a README file."""
    document = readme.read_text(encoding="utf-8")
    readme.write_text(refreshed(document, IN_SECTION, in_section()), encoding="utf-8")


def _contract_part(name: str, schema: pa.DataFrameSchema) -> str:
    facts = table_facts(schema)
    need = "Required." if facts.needed else "Optional."
    key = f" No two rows share {' + '.join(f'`{column}`' for column in facts.key)}."
    return (
        f"### `{name}`\n\n{schema.description} {need}{key if facts.key else ''}\n\n"
        f"{column_table(contract_entries(schema))}"
    )


def _holds(facts: ColumnFacts) -> str:
    if facts.kind == "words":
        return f"{_CELL['words']} {', '.join(facts.allowed)}"
    bounds = ""
    if facts.kind == "whole":
        bounds = f" from {facts.lowest:,.0f} to {facts.highest:,.0f}"
    elif facts.lowest is not None:
        bounds = f", {facts.lowest:g} or more"
    return f"{_CELL[facts.kind]}{bounds}"


def _unit(name: str, facts: ColumnFacts) -> str:
    if facts.kind != "quantity":
        return ""
    default = f", blank = {facts.default_unit}" if facts.default_unit else ", must be declared"
    return f"by `{facts.unit_column}`{default}; becomes `{judged_name(name, facts)}`"


def _safe(cell: str) -> str:
    return cell.replace("|", "\\|")


if __name__ == "__main__":
    refresh(Path(sys.argv[1]))
