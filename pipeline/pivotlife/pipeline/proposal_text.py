"""The proposed mapping as TOML that the user can paste over a source's section.

The whole section is written, with what the settings say already, because a table cannot be opened
twice in TOML. What nobody knows stands in comments: a line becomes a rule only when a person has
taken the mark away and filled it in.

Not here: finding the proposals.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence

import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.errors import one_line
from pivotlife.pipeline.native_headers import missing_columns, seeming_separator
from pivotlife.pipeline.proposals import ColumnProposal, known_unit_ids, propose_columns
from pivotlife.pipeline.settings import Settings, SourceSettings
from pivotlife.pipeline.sources import HandedIn, dialect_of
from pivotlife.pipeline.text_table import written_columns
from pivotlife.pipeline.value_proposals import ValueProposals, propose_values

HEAD = """\
# Proposed by likeness of words and values, not applied. Look at every line; a section replaces
# the one of the same name in the settings. Columns: our name = "header in the file"."""


def propose_all(handed_in: Mapping[str, Sequence[HandedIn]], settings: Settings) -> str:
    """Propose a mapping for every source that has unknown headers or values.

    Parameters
    ----------
    handed_in : mapping of str to sequence of HandedIn
        Every table as its files have it; of several files the first with unknown headers counts.
    settings : Settings
        What is mapped already.

    Returns
    -------
    str
        TOML text, "" when there is nothing to propose.
    """
    sections: list[str] = []
    unit_ids: frozenset[str] = frozenset()
    for table, parts in handed_in.items():
        source = settings.sources[table]
        frame = _first_unknown(parts, table, source)
        pairs = propose_columns(frame, table, source.columns, unit_ids)
        if table == "units":
            unit_ids = known_unit_ids(frame, _with_chosen(pairs, frame, source))
        sections += _section(table, source, frame, pairs)
    return "\n".join([HEAD, *sections]) + "\n" if sections else ""


def _first_unknown(parts: Sequence[HandedIn], table: str, source: SourceSettings) -> pd.DataFrame:
    mapped = {header for headers in source.columns.values() for header in headers}
    known = {*column_facts(CONTRACTS[table]), *mapped}
    odd = [part for part in parts if set(written_columns(part.frame)) - known]
    return (odd or list(parts))[0].frame


def _with_chosen(
    pairs: Sequence[ColumnProposal], frame: pd.DataFrame, source: SourceSettings
) -> list[ColumnProposal]:
    chosen = [
        ColumnProposal(column, header, 1.0)
        for column, headers in source.columns.items()
        for header in headers
        if header in frame.columns
    ]
    return [*pairs, *chosen]


def _section(
    table: str, source: SourceSettings, frame: pd.DataFrame, pairs: list[ColumnProposal]
) -> list[str]:
    facts = column_facts(CONTRACTS[table])
    headers = {pair.column: pair.header for pair in _with_chosen(pairs, frame, source)}
    headers |= {name: name for name in facts if name in frame.columns and name not in headers}
    separator = seeming_separator(written_columns(frame))
    found = propose_values(frame, table, headers, dialect_of(source))
    absent = missing_columns(table, headers)
    if not (pairs or found or absent):
        return []
    place = f"sources.{table}"
    return [
        "",
        f"[{place}]",
        *_writing(source, found, separator),
        *([] if separator else _open(found, absent)),
        *_columns(place, source, pairs),
        *_values(place, source, found),
        *_units(place, source, found),
    ]


def _writing(source: SourceSettings, found: ValueProposals, separator: str) -> Iterator[str]:
    blank = SourceSettings()
    proposed = {
        "separator": separator,
        "decimal": found.decimal,
        "thousands": found.thousands,
    }
    for name in ("path", "url", "query", "sheet", "encoding", "separator", "decimal", "thousands"):
        value = proposed.get(name) or getattr(source, name)
        if value != getattr(blank, name):
            yield f"{name} = {toml_text(str(value))}"
    if source.skip_rows:
        yield f"skip_rows = {source.skip_rows}"
    patterns = (*source.date_format, *found.date_format)
    if patterns:
        yield f"date_format = [{', '.join(map(toml_text, patterns))}]"


def _open(found: ValueProposals, absent: list[str]) -> Iterator[str]:
    for column in absent:
        yield f'# open: which header is {column}? it is required: columns.{column} = "..."'
    for question in found.questions:
        yield f"# open: {one_line(question)}"


def _columns(place: str, source: SourceSettings, pairs: Sequence[ColumnProposal]) -> Iterator[str]:
    if not (source.columns or pairs):
        return
    yield f"[{place}.columns]"
    for column, headers in source.columns.items():
        listed = ", ".join(map(toml_text, headers))
        yield f"{column} = {listed}" if len(headers) == 1 else f"{column} = [{listed}]"
    for pair in pairs:
        yield f"{pair.column} = {toml_text(pair.header)}  # likeness {pair.score:.2f}"


def _values(place: str, source: SourceSettings, found: ValueProposals) -> Iterator[str]:
    for column in dict.fromkeys([*source.meanings, *found.words, *found.unknown]):
        yield f"[{place}.values.{column}]"
        for value, meaning in source.meanings.get(column, {}).items():
            yield f"{toml_text(value)} = {toml_text(meaning)}"
        for value, meaning in found.words.get(column, {}).items():
            yield f"{toml_text(value)} = {toml_text(meaning)}"
        for value, rows in found.unknown.get(column, {}).items():
            yield f'# {toml_text(value)} = ""  # {rows:,} rows; what is meant?'


def _units(place: str, source: SourceSettings, found: ValueProposals) -> Iterator[str]:
    if source.units or found.units:
        yield f"[{place}.units]"
        for column, unit in {**found.units, **source.units}.items():
            yield f"{column} = {toml_text(unit)}"


def toml_text(text: str) -> str:
    """Write a text as TOML does, whatever is in it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
