"""Which mappings the settings may hold: known names, readable rules, and none that hides danger.

A mapping translates; it must never make a danger quieter. Therefore:

- a word that the trade or this program knows as a dangerous finding (`fractured`, `split`) may
  not be mapped to a milder one, and nothing may be made of a blank cell;
- the rule for the rest (`"*"`) may name only what is on the safe side: never `ok`, never another
  unit, never a position, never a repair that ends a danger (`SAFE_REST`);
- a number is never rewritten: free play and odometers with digits in them cannot be mapped. A
  single wrong value is a correction, with a reason and a name.

What a fleet's own code means only the fleet can say: `"B2" = "ok"` is believed, and `check` counts
the rows that rest on it.

Not here: applying a mapping (`dialect`, `native_headers`).
"""

from __future__ import annotations

import codecs
import datetime as dt
import difflib
import re
from collections.abc import Iterator, Sequence
from typing import Final

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.data.contracts.registry import INCOMING
from pivotlife.data.contracts.tables import column_facts
from pivotlife.data.units_of_measure import factor
from pivotlife.models.findings import PARK_FINDINGS, REPLACE_FINDINGS
from pivotlife.pipeline.cells import word_key
from pivotlife.pipeline.dialect import REST, value_key
from pivotlife.pipeline.settings import SourceSettings
from pivotlife.pipeline.sql_text import address_fault
from pivotlife.pipeline.trade_words import VALUE_WORDS

FINDING_COLUMNS: Final = ("finding", "teardown_finding")
_BAD: Final = (*sorted(PARK_FINDINGS), *sorted(REPLACE_FINDINGS))
#: What the rule for the rest may name, column by column; columns not named here may name any
#: allowed word. "" leaves the cell as if it were blank.
SAFE_REST: Final[dict[str, tuple[str, ...]]] = {
    **dict.fromkeys(FINDING_COLUMNS, _BAD),
    "takes_grease": ("no",),
    "reason": ("unknown", "wear", "broken", "seized", "split", "rough", "loose-fit"),
    "action": ("regreased",),
    "bushing_type": ("threaded", "roller"),
    **dict.fromkeys(("side", "node", "axle"), ("",)),
    "after_repair": ("no", ""),
}
#: Filled inspection sheets, and what may be said of them.
SHEETS: Final = "sheets"
SHEET_KEYS: Final = frozenset({"path", "decimal", "date_format"})
_REFUSES: Final = ("no", "n", "false", "refused", "refuses", "willnottake", "blocked")
_SAMPLE: Final = dt.datetime(2023, 11, 25, 13, 45)  # noqa: DTZ001  a pattern has no time zone


def mapping_faults(table: str, source: SourceSettings) -> list[str]:
    """List everything that is wrong with one source's settings.

    Parameters
    ----------
    table : str
        Name of a table.
    source : SourceSettings
        Its settings.

    Returns
    -------
    list of str
        One clause each; empty when there is nothing.
    """
    place = f"sources.{table}"
    if table == SHEETS:
        return [*_sheet_faults(place, source), *_writing_faults(place, source)]
    facts = column_facts(INCOMING[table])
    return [
        *_place_faults(place, source),
        *_column_faults(place, source, facts),
        *_value_faults(place, source, facts),
        *_unit_faults(place, source, facts),
        *_writing_faults(place, source),
    ]


def _sheet_faults(place: str, source: SourceSettings) -> Iterator[str]:
    """Inspection sheets are our own files: their headers, words and units need no mapping."""
    if source.path is None:
        yield f'{place} needs path = "..."'
    for name in sorted(source.model_fields_set - SHEET_KEYS):
        key = SourceSettings.model_fields[name].alias or name
        yield f"{place}.{key} is not used: sheets are read as `pivotlife sheet` wrote them"


def _place_faults(place: str, source: SourceSettings) -> Iterator[str]:
    if (source.path is None) == (source.url is None):
        yield f"{place} needs either path, or url with query"
    elif (source.url is None) != (source.query is None):
        yield f"{place}: url and query go together"
    if source.url is not None and (fault := address_fault(source.url)):
        yield f"{place}.url {fault}"
    for key, text in (("path", source.path), ("query", source.query)):
        if text and "${" in text:
            yield f"{place}.{key}: only the password of a url may come from the environment"


def _column_faults(
    place: str, source: SourceSettings, facts: dict[str, ColumnFacts]
) -> Iterator[str]:
    for native in source.columns:
        if native not in facts:
            swapped = [name for name in source.columns[native] if name in facts]
            turn = "".join(
                f'; it is written the other way round: {name} = "{native}"' for name in swapped[:1]
            )
            yield _unknown(f"{place}.columns", native, facts) + turn


def _value_faults(
    place: str, source: SourceSettings, facts: dict[str, ColumnFacts]
) -> Iterator[str]:
    for column, rules in source.meanings.items():
        where = f"{place}.values.{column}"
        if column not in facts:
            yield _unknown(f"{place}.values", column, facts)
            continue
        seen: dict[str, str] = {}
        for value, meaning in rules.items():
            said = f'{where}: "{value}" = "{meaning}"'
            key = value_key(value)
            if not key:
                yield f"{said}: a blank cell means that nobody said; it cannot be mapped"
            elif seen.setdefault(key, meaning) != meaning:
                yield f"{said}: the same value has another meaning above"
            elif value == REST:
                yield from _rest_faults(said, column, meaning, facts[column])
            else:
                yield from _rule_faults(said, column, value, meaning, facts[column])


def _rule_faults(
    said: str, column: str, value: str, meaning: str, facts: ColumnFacts
) -> Iterator[str]:
    if facts.kind in ("quantity", "number"):
        if meaning or re.search(r"[0-9]", value):
            yield f"{said}: a number is not rewritten by a mapping; use the corrections table"
    elif facts.kind == "date":
        if meaning:
            yield f'{said}: a date can only be mapped to "" (not known)'
    elif meaning and (fault := _meaning_fault(meaning, facts)):
        yield f"{said}: {fault}"
    elif column in FINDING_COLUMNS and _severity(meaning) < _severity(_known_finding(value)):
        yield (
            f"{said}: {value!r} tells of {_known_finding(value)}, and a mapping may not make a "
            "danger milder; correct the single row, with a reason, if it is wrong"
        )
    elif column == "takes_grease" and word_key(value) in _REFUSES and meaning != "no":
        yield f"{said}: a pin that takes no grease may not be mapped away"


def _rest_faults(said: str, column: str, meaning: str, facts: ColumnFacts) -> Iterator[str]:
    safe = SAFE_REST.get(column)
    if column in SAFE_REST and safe is not None:
        if meaning not in safe:
            choice = ", ".join(f'"{word}"' for word in safe)
            yield (
                f"{said}: what nobody has looked at may not be called that: it could hide a "
                f"danger; for {column} the rule for the rest may name {choice}"
            )
    elif facts.kind not in ("words", "text") or column.endswith("_id"):
        yield f"{said}: there is no rule for the rest of {column}; name each value"
    elif meaning and (fault := _meaning_fault(meaning, facts)):
        yield f"{said}: {fault}"


def _meaning_fault(meaning: str, facts: ColumnFacts) -> str:
    if facts.kind == "words" and meaning not in facts.allowed:
        close = difflib.get_close_matches(meaning, facts.allowed, 1, 0.0)
        return f"{meaning!r} is none of {', '.join(facts.allowed)} (nearest: {close[0]!r})"
    if facts.kind == "unit" and facts.measure is not None:
        try:
            factor(meaning, facts.measure)
        except ValueError as fault:
            return str(fault)
    if facts.kind == "whole" and not re.fullmatch(r"[0-9]{1,7}", meaning):
        return f"{meaning!r} is not a whole number"
    return ""


def _known_finding(value: str) -> str:
    """Give the finding that a word is known to mean; "" when it is none of the known words."""
    return VALUE_WORDS["finding"].get(word_key(value), "")


def _severity(finding: str) -> int:
    if finding in PARK_FINDINGS:
        return 2
    return 1 if finding in REPLACE_FINDINGS else 0


def _unit_faults(
    place: str, source: SourceSettings, facts: dict[str, ColumnFacts]
) -> Iterator[str]:
    usable = {name: fact for name, fact in facts.items() if fact.kind in ("quantity", "unit")}
    for column, unit in source.units.items():
        measure = usable[column].measure if column in usable else None
        if measure is None:
            yield _unknown(f"{place}.units", column, usable)
            continue
        try:
            factor(unit, measure)
        except ValueError as fault:
            yield f"{place}.units.{column}: {fault}"


def _writing_faults(place: str, source: SourceSettings) -> Iterator[str]:
    if source.thousands == source.decimal:
        yield f"{place}: decimal and thousands are the same sign"
    try:
        codecs.lookup(source.encoding).name.encode("ascii")
        b"".decode(source.encoding)
    except (LookupError, ValueError):
        yield f"{place}.encoding = {source.encoding!r}: no such encoding; utf-8 or cp1252 is usual"
    for pattern in source.date_format:
        if not _is_pattern(pattern):
            yield (
                f"{place}.date_format = {pattern!r}: needs a day, a month and a year, such as "
                '"%d.%m.%Y" or "%m/%d/%Y"'
            )


def _is_pattern(pattern: str) -> bool:
    try:
        read = dt.datetime.strptime(_SAMPLE.strftime(pattern), pattern)  # noqa: DTZ007  as above
    except (ValueError, re.error):
        return False
    return read.date() == _SAMPLE.date()


def _unknown(place: str, name: str, known: Sequence[str] | dict[str, ColumnFacts]) -> str:
    close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.0)
    hint = f"; the nearest known key is {close[0]!r}" if close else ""
    return f"unknown key {place}.{name}{hint}"
