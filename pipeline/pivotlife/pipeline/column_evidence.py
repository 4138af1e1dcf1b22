"""What stands in a column, held against what a native column may hold.

A sample of the column's values is read in every way that the native column allows: as dates of
any usual pattern, as numbers with either decimal sign, as the words of the trade, as units, as
names of units that the units table knows.

Not here: headers, and deciding between columns.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.data.units_of_measure import factor
from pivotlife.pipeline.cells import name_key, word_key
from pivotlife.pipeline.dialect import is_allowed
from pivotlife.pipeline.trade_words import VALUE_WORDS

#: Usual ways of writing a day; the time behind it comes on top.
DAY_PATTERNS: Final = (
    *("%Y-%m-%d", "%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y", "%m-%d-%Y", "%d-%m-%Y", "%Y/%m/%d"),
    *("%Y.%m.%d", "%Y%m%d", "%d-%b-%Y", "%d %b %Y", "%b %d %Y", "%b %d, %Y", "%d %B %Y"),
    *("%B %d, %Y", "%m/%d/%y", "%d/%m/%y", "%d.%m.%y", "%d-%b-%y"),
)
TIME_PATTERNS: Final = ("", " %H:%M", " %H:%M:%S", "T%H:%M:%S", " %I:%M %p")
#: Patterns by the signs between their parts: few are worth trying on a text.
_BY_SIGNS: Final[dict[str, list[str]]] = {}
for _pattern in (day + time for day in DAY_PATTERNS for time in TIME_PATTERNS):
    _BY_SIGNS.setdefault(re.sub(r"%[A-Za-z]|T", "", _pattern), []).append(_pattern)
SAMPLE: Final = 400
_NEARLY: Final = 0.95
#: No opinion: the column is empty, or is free text.
NEUTRAL: Final = 0.5

_NUMBER: Final = re.compile(
    r"[+-]?[0-9]{1,3}(?:[., '\u00a0][0-9]{3})*(?:[.,][0-9]+)?|[+-]?[0-9]+(?:[.,][0-9]+)?"
)
_FRACTION: Final = re.compile(r"(?:[0-9]+[ -])?[0-9]{1,2}/[0-9]{1,2}")


@dataclass(frozen=True)
class Values:
    """A sample of one column.

    Attributes
    ----------
    filled : tuple of str
        Its values that are not blank, in order.
    distinct : tuple of str
        Each of them once.
    is_unique : bool
        Whether hardly any value of the whole column occurs twice; repeated lines are usual.
    """

    filled: tuple[str, ...]
    distinct: tuple[str, ...]
    is_unique: bool


def sample(column: pd.Series) -> Values:
    """Take a sample of a text column, spread over the whole of it."""
    step = max(1, len(column) // SAMPLE)
    some = [text for text in column.iloc[::step].tolist() if text]
    filled = column[column != ""]
    is_unique = len(filled) > 0 and filled.nunique() >= _NEARLY * len(filled)
    return Values(tuple(some), tuple(dict.fromkeys(some)), is_unique)


def fit(
    values: Values, name: str, facts: ColumnFacts, unit_ids: frozenset[str], is_id: bool
) -> float:
    """Say how well a column's values fit a native column.

    Parameters
    ----------
    values : Values
        The sample.
    name : str
        Native column.
    facts : ColumnFacts
        What it may hold.
    unit_ids : frozenset of str
        Units known so far, by `name_key`; empty when none are.
    is_id : bool
        Whether the column names the table's rows.

    Returns
    -------
    float
        0 cannot be, 0.5 no opinion, 1 it looks exactly so.
    """
    if not values.filled:
        return NEUTRAL
    if facts.kind == "text":
        return _text(values, name, unit_ids, is_id)
    if facts.kind == "date":
        return share(values.distinct, is_day)
    if facts.kind == "words":
        return _words(values, name, facts)
    if facts.kind == "unit":
        return share(values.distinct, functools.partial(_is_unit, facts=facts))
    return _numbers(values, name, facts)


def _text(values: Values, name: str, unit_ids: frozenset[str], is_id: bool) -> float:
    """Text may be anything; an id hardly repeats, a unit is one that is known, dates are none."""
    days = share(values.distinct, is_day) > NEUTRAL
    if is_id:
        return 0.8 if values.is_unique and not days else 0.1
    if name == "unit_id" and unit_ids:
        return share(values.distinct, lambda text: name_key(text) in unit_ids)
    return 0.2 if days else NEUTRAL


def share(texts: Sequence[str], holds: object) -> float:
    """Give the share of texts of which something holds."""
    told = [bool(holds(text)) for text in texts]  # type: ignore[operator]  # any predicate
    return float(np.mean(told)) if told else 0.0


@functools.lru_cache(maxsize=50_000)
def is_day(text: str) -> bool:
    """Say whether a text is a date in any usual pattern."""
    return bool(patterns_of(text))


@functools.lru_cache(maxsize=50_000)
def patterns_of(text: str) -> frozenset[str]:
    """List the patterns by which a text is a plausible date."""
    if not any(letter.isdigit() for letter in text) or len(text) > 26 or len(text) < 6:
        return frozenset()
    found = set()
    for pattern in _BY_SIGNS.get(re.sub(r"[A-Za-z0-9]", "", text), ()):
        try:
            read = dt.datetime.strptime(text, pattern)  # noqa: DTZ007  a day, no time zone
        except ValueError:
            continue
        # Eight digits are needed where nothing parts year, month and day.
        if 1950 <= read.year <= 2100 and not ("%Y%m%d" in pattern and len(text) < 8):
            found.add(pattern)
    return frozenset(found)


def as_number(text: str) -> float:
    """Read a number with either decimal sign; NaN when it is none."""
    text = text.strip()
    if _FRACTION.fullmatch(text):
        return 0.1
    if not _NUMBER.fullmatch(text):
        return float("nan")
    tight = re.sub(r"[ '\u00a0]", "", text)
    last = max(tight.rfind("."), tight.rfind(","))
    if last >= 0 and (len(tight) - last - 1 != 3 or tight.count(tight[last]) == 1):
        tight = re.sub(r"[.,]", "", tight[:last]) + "." + tight[last + 1 :]
    else:
        tight = re.sub(r"[.,]", "", tight)
    return float(tight)


def understood(text: str, name: str, facts: ColumnFacts) -> str:
    """Give the allowed word that a text is known to mean; "" when it is not known."""
    if is_allowed(text, facts):
        return text
    return VALUE_WORDS.get(name, {}).get(word_key(text), "")


def _words(values: Values, name: str, facts: ColumnFacts) -> float:
    known = share(values.distinct, lambda text: understood(text, name, facts))
    return 0.35 * known if len(values.distinct) > 40 else known


def _is_unit(text: str, *, facts: ColumnFacts) -> bool:
    if facts.measure is None:
        return False
    try:
        factor(text, facts.measure)
    except ValueError:
        return False
    return True


def _numbers(values: Values, name: str, facts: ColumnFacts) -> float:
    read = np.array([as_number(text) for text in values.filled])
    numeric = float(np.mean(~np.isnan(read)))
    if facts.kind == "whole" and name in VALUE_WORDS:
        words = share(values.distinct, lambda text: word_key(text) in VALUE_WORDS[name])
        numeric = max(numeric, words)
    if numeric < 0.8:
        return 0.0
    size = float(np.nanmedian(np.abs(read))) if (~np.isnan(read)).any() else 0.0
    if facts.measure == "distance":
        return numeric * (1.0 if size >= 1_000 else 0.35)
    if facts.measure == "play":
        return numeric * (1.0 if size <= 250 else 0.0)
    if facts.kind == "whole" and facts.highest is not None:
        inside = np.nanmean((read % 1 == 0) & (read <= facts.highest)) if len(read) else 0.0
        return numeric * float(inside) * 0.9
    if share(values.distinct, is_day) > NEUTRAL:
        return 0.2
    return numeric * 0.75


def unit_names(columns: Iterable[pd.Series]) -> frozenset[str]:
    """Collect the names of units from the columns that hold them."""
    return frozenset(name_key(str(text)) for column in columns for text in pd.unique(column))
