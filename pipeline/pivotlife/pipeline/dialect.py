"""How one source writes words, numbers, dates and units, and what its cells mean by it.

The settings say it; nothing is guessed. A cell is translated from its own text: a value map first,
then the decimal sign and the thousands sign of numbers, then the declared patterns of dates. A
text that two patterns read as different days is refused. Typed cells (of XLSX, Parquet, SQL) were
written by `Typed` in the same way.

Not here: which rules are allowed (`mapping_rules`), and headers (`native_headers`).
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.pipeline.cells import YES_NO_SPELLINGS, Cells, word_key
from pivotlife.pipeline.text_table import Typed

#: Rule for every value without a rule of its own.
REST: Final = "*"
ISO: Final = "%Y-%m-%d"
_ISO_SHAPE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_YEAR_DAY: Final = "%Y-%d"
_FRENCH_SPACES: Final = re.compile(r"[\s\u202f\u00a0']")


@dataclass(frozen=True)
class Dialect:
    """How a source writes.

    Attributes
    ----------
    meanings : mapping of column to mapping
        By native column: value as in the file (compared by `value_key`, or "*" for the rest) to
        the value that is meant.
    units : mapping of column to str
        Unit of a quantity, or of every quantity of a unit column, where the row gives none.
    date_formats : tuple of str
        Patterns as `strptime` takes them; empty = YYYY-MM-DD alone.
    decimal, thousands : str
        Signs in numbers; "" = no thousands sign.
    """

    meanings: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    date_formats: tuple[str, ...] = ()
    decimal: str = "."
    thousands: str = ""

    @property
    def reads_iso(self) -> bool:
        """Whether YYYY-MM-DD is read; not where the year comes first and the day second."""
        return not any(pattern.startswith(_YEAR_DAY) for pattern in self.date_formats)

    @property
    def day_words(self) -> str:
        """How a date should be written, for the words of a fault."""
        patterns = (*self.date_formats, *(("YYYY-MM-DD",) if self.reads_iso else ()))
        return " or ".join(patterns)

    @property
    def typed(self) -> Typed:
        """How cells that are numbers or dates are written to read like text of this source."""
        return Typed(self.decimal, ISO if self.reads_iso else self.date_formats[0])

    def meant(self, column: str, cells: Cells, facts: ColumnFacts) -> Cells:
        """Translate a column's values by its value map.

        Parameters
        ----------
        column : str
            Native name.
        cells : Cells
            As written.
        facts : ColumnFacts
            Of the column: a word that it allows is never touched by the rule for the rest.

        Returns
        -------
        Cells
            The same rows with the texts that are meant.
        """
        rules = self.meanings.get(column)
        if not rules:
            return cells
        by_key = {value_key(value): meaning for value, meaning in rules.items() if value != REST}
        rest = rules.get(REST)
        texts = cells.texts.copy()
        for place, text in enumerate(cells.texts):
            key = value_key(text)
            if key in by_key:
                texts[place] = by_key[key]
            elif text and rest is not None and not is_allowed(text, facts):
                texts[place] = rest
        return Cells(texts, cells.codes)

    def unit_cells(self, quantity: str, facts: ColumnFacts, units: Cells) -> Cells:
        """Fill the blank units of a quantity with the one declared for it."""
        unit = self.units.get(quantity) or self.units.get(facts.unit_column)
        if not unit:
            return units
        return Cells(np.where(units.texts == "", unit, units.texts).astype(object), units.codes)

    def point_number(self, text: str) -> tuple[str, str]:
        """Write a number with a decimal point and without thousands signs.

        Returns
        -------
        tuple of str
            The number and "", or the text and the code of what is wrong with its signs.
        """
        if self.decimal == "." and not self.thousands:
            return text, ""
        whole, sign, rest = text.partition(self.decimal)
        if self.thousands:
            grouped = _grouped(self.thousands)
            if grouped.fullmatch(whole):
                whole = _without(whole, self.thousands)
        if self.decimal == "," and "." in whole + rest and re.search(r"[0-9]", text):
            return text, "point"
        return f"{whole}{'.' if sign else ''}{rest}", ""

    def read_day(self, text: str) -> tuple[dt.date | None, str]:
        """Read a date by the declared patterns.

        Returns
        -------
        tuple of date or None, and str
            The day and "", or None and the code of what is wrong.
        """
        patterns = (*self.date_formats, *((ISO,) if self.reads_iso else ()))
        days = {day for pattern in patterns if (day := _day(text, pattern)) is not None}
        if len(days) == 1:
            return days.pop(), ""
        return None, "ambiguous_date" if days else "not_a_date"


PLAIN: Final = Dialect()


def value_key(text: str) -> str:
    """Give what two spellings of one value share: case and spaces do not count."""
    return "".join(text.casefold().split())


def is_allowed(text: str, facts: ColumnFacts) -> bool:
    """Say whether a word column takes the text as it stands."""
    if facts.kind != "words":
        return False
    key = word_key(text)
    yes_no = YES_NO_SPELLINGS if "yes" in facts.allowed else {}
    return key in yes_no or any(key == word_key(word) for word in facts.allowed)


@functools.lru_cache(maxsize=8)
def _grouped(sign: str) -> re.Pattern[str]:
    mark = r"[\s\u202f\u00a0]" if sign == " " else re.escape(sign)
    return re.compile(rf"[+-]?[1-9][0-9]{{0,2}}({mark}[0-9]{{3}})+")


def _without(text: str, sign: str) -> str:
    return _FRENCH_SPACES.sub("", text) if sign in " '" else text.replace(sign, "")


@functools.lru_cache(maxsize=200_000)
def _day(text: str, pattern: str) -> dt.date | None:
    if not text.isascii() or (pattern == ISO and not _ISO_SHAPE.fullmatch(text)):
        return None
    try:
        return dt.datetime.strptime(text, pattern).date()  # noqa: DTZ007  a day has no time zone
    except ValueError:
        return None
