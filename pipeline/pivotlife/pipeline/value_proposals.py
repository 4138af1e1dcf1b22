"""What a file's values call for: meanings of words, units, date patterns, signs in numbers.

Only what can be said for certain of the file is proposed as a setting; what somebody must decide
(a day and a month that may be either, a code that nobody knows) is put as an open question.

Not here: headers (`proposals`), the text (`proposal_text`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.data.units_of_measure import factor
from pivotlife.pipeline.cells import word_key
from pivotlife.pipeline.column_evidence import DAY_PATTERNS, patterns_of, understood
from pivotlife.pipeline.dialect import PLAIN, Dialect, is_allowed, value_key
from pivotlife.pipeline.header_words import unit_hint
from pivotlife.pipeline.trade_words import VALUE_WORDS

#: More distinct unknown words than this in a column: it is no list of codes.
MOST_CODES: Final = 40
_ENOUGH_DAYS: Final = 0.9
_COMMA_DECIMAL: Final = re.compile(r"[+-]?[0-9]{1,3}(?:[. '\u00a0]?[0-9]{3})*,[0-9]+")
_THREE_BEHIND: Final = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_GROUPED: Final = re.compile(
    r"[+-]?[1-9][0-9]{0,2}(?:([., '])[0-9]{3})(?:\1[0-9]{3})*(?:[.,][0-9]+)?"
)


@dataclass
class ValueProposals:
    """What the values of one table call for.

    Attributes
    ----------
    words : dict of str to dict
        By column: value in the file to the word it is known to mean.
    unknown : dict of str to dict
        By column: value that nobody knows to how many rows hold it.
    units : dict of str to str
        Quantity to the unit that its header names.
    questions : list of str
        What somebody must decide.
    date_format : tuple of str
        Patterns that read every day of the table; empty when none is needed or it is open.
    decimal, thousands : str
        Signs; "" when nothing is proposed.
    """

    words: dict[str, dict[str, str]] = field(default_factory=dict)
    unknown: dict[str, dict[str, int]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    questions: list[str] = field(default_factory=list)
    date_format: tuple[str, ...] = ()
    decimal: str = ""
    thousands: str = ""

    def __bool__(self) -> bool:
        """Say whether there is anything to propose or to ask."""
        return bool(
            self.words or self.unknown or self.units or self.questions or self.date_format
            or self.decimal or self.thousands
        )  # fmt: skip


def propose_values(
    frame: pd.DataFrame, table: str, headers: Mapping[str, str], dialect: Dialect = PLAIN
) -> ValueProposals:
    """Look through a table's values.

    Parameters
    ----------
    frame : DataFrame
        Text columns under the file's headers.
    table : str
        Name of the contract.
    headers : mapping of str to str
        Native column to its header: native, mapped or proposed.
    dialect : Dialect
        What the settings say already.
    """
    facts = column_facts(CONTRACTS[table])
    found = ValueProposals()
    counts = {
        name: {str(text): int(rows) for text, rows in frame[header].value_counts().items()}
        for name, header in headers.items()
        if header in frame.columns
    }
    for values in counts.values():
        values.pop("", None)
    for name, values in counts.items():
        if facts[name].kind == "words" or (facts[name].kind == "whole" and name in VALUE_WORDS):
            _words(found, name, facts[name], values, dialect)
    _units(found, facts, headers, counts, dialect)
    _days(found, facts, counts, dialect)
    _numbers(found, facts, counts, dialect)
    return found


def _words(
    found: ValueProposals,
    name: str,
    facts: ColumnFacts,
    counts: Mapping[str, int],
    dialect: Dialect,
) -> None:
    mapped = {value_key(value) for value in dialect.meanings.get(name, {})}
    unread = [
        text
        for text in counts
        if value_key(text) not in mapped
        and not is_allowed(text, facts)
        and not (facts.kind == "whole" and text.isdecimal())
    ]
    known = {text: meant for text in unread if (meant := _meaning(text, name, facts))}
    seen: dict[str, str] = {}
    for text, meant in known.items():
        seen.setdefault(value_key(text), text)
        if seen[value_key(text)] == text:
            found.words.setdefault(name, {})[text] = meant
    strange = {text: counts[text] for text in unread if text not in known}
    if strange:
        found.unknown[name] = dict(list(strange.items())[:MOST_CODES])


def _meaning(text: str, name: str, facts: ColumnFacts) -> str:
    if facts.kind == "whole":
        return VALUE_WORDS[name].get(word_key(text), "")
    return understood(text, name, facts)


def _units(
    found: ValueProposals,
    facts: Mapping[str, ColumnFacts],
    headers: Mapping[str, str],
    counts: Mapping[str, Mapping[str, int]],
    dialect: Dialect,
) -> None:
    for name, fact in facts.items():
        declared = {name, fact.unit_column} & {*dialect.units, *headers} - {name}
        if fact.kind != "quantity" or name not in counts or declared or name in dialect.units:
            continue
        hint = unit_hint(headers[name])
        if hint and _fits(hint, fact) and hint != fact.default_unit:
            found.units[name] = hint
        elif not fact.default_unit and counts[name]:
            found.questions.append(
                f'in which unit is {name}? no column says it: units.{name} = "in", "thou" or "mm"'
            )
    for name, fact in facts.items():
        if fact.kind == "unit" and name in counts:
            known = {value_key(value) for value in dialect.meanings.get(name, {})}
            strange = {
                text: rows
                for text, rows in counts[name].items()
                if value_key(text) not in known and not _fits(text, fact)
            }
            if strange:
                found.unknown[name] = dict(list(strange.items())[:MOST_CODES])


def _fits(unit: str, facts: ColumnFacts) -> bool:
    if facts.measure is None:
        return False
    try:
        factor(unit, facts.measure)
    except ValueError:
        return False
    return True


def _days(
    found: ValueProposals,
    facts: Mapping[str, ColumnFacts],
    counts: Mapping[str, Mapping[str, int]],
    dialect: Dialect,
) -> None:
    texts = [
        text
        for name, values in counts.items()
        if facts[name].kind == "date"
        for text in values
        if dialect.read_day(text[:10] if text[10:11] in ("T", " ") else text)[0] is None
    ]
    read = [patterns for text in dict.fromkeys(texts[:20_000]) if (patterns := patterns_of(text))]
    if not read:
        return
    votes = {pattern: sum(pattern in one for one in read) for pattern in set().union(*read)}
    most = max(votes.values())
    best = sorted(
        (pattern for pattern, count in votes.items() if count == most),
        key=lambda pattern: (DAY_PATTERNS.index(_day_part(pattern)), len(pattern)),
    )
    if most < _ENOUGH_DAYS * len(read):
        found.questions.append(
            f"dates are written in several ways, such as {texts[0]!r}; list them in date_format"
        )
    elif len({_order(pattern) for pattern in best}) > 1:
        choice = " or ".join(f'"{pattern}"' for pattern in best)
        found.questions.append(
            f"which is day and which is month in {texts[0]!r}? date_format = {choice}"
        )
    else:
        found.date_format = (best[0],)


def _day_part(pattern: str) -> str:
    return max((day for day in DAY_PATTERNS if pattern.startswith(day)), key=len)


def _order(pattern: str) -> str:
    return "".join(re.findall(r"%([YymdbB])", pattern)).replace("y", "Y")


def _numbers(
    found: ValueProposals,
    facts: Mapping[str, ColumnFacts],
    counts: Mapping[str, Mapping[str, int]],
    dialect: Dialect,
) -> None:
    if dialect.decimal != "." or dialect.thousands:
        return
    texts = [
        text
        for name, values in counts.items()
        if facts[name].kind in ("quantity", "number")
        for text in values
        if "," in text or " " in text or "'" in text or text.count(".") > 1
    ]
    sure = [
        text
        for text in texts
        if _COMMA_DECIMAL.fullmatch(text) and not _THREE_BEHIND.fullmatch(text)
    ]
    signs = {match[1] for text in texts if (match := _GROUPED.fullmatch(text))}
    if sure:
        found.decimal = ","
        signs.discard(",")
        grouped = signs & {".", " ", "'"}
        found.thousands = grouped.pop() if len(grouped) == 1 else ""
    elif any(text.count(",") > 1 or ("," in text and "." in text) for text in texts):
        found.thousands = ","
    elif "," in signs:
        found.questions.append(
            f"is the comma in {next(t for t in texts if ',' in t)!r} a decimal sign or one for "
            'thousands? decimal = "," or thousands = ","'
        )
    elif len(signs) == 1:
        found.thousands = signs.pop()
