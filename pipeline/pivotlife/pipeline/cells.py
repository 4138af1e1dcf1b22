"""From the text of a column's cells to words, dates and numbers.

Every function works on the distinct texts of a column and spreads the answer over its rows, so
that a million readings cost as much as their few hundred different dates. What cannot be read
comes back missing, with a code that says why; nothing is raised.

Not here: which column is read how, units, and the wording of a fault.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

Text = npt.NDArray[np.object_]
Numbers = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]
Codes = npt.NDArray[np.unsignedinteger[Any]]

#: Ways of writing yes and no that mean nothing else.
YES_NO_SPELLINGS: Final = {"y": "yes", "true": "yes", "n": "no", "false": "no"}

_NUMBER: Final = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_THOUSANDS: Final = re.compile(r"[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]*)?")
_COMMA: Final = re.compile(r"[+-]?[0-9]*,[0-9]+")
_FRACTION: Final = re.compile(r"(?:([0-9]{1,3})[ -])?([0-9]{1,3})/([1-9][0-9]{0,2})")
#: Larger numbers are no odometer, price or size; refusing them keeps conversion finite.
_LARGEST: Final = 1e15
_TIMED: Final = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})"
    r"(?:[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)"
)
#: A column of more texts is first asked which of them its rows hold.
_FEW: Final = 1_000
_FIRST_DAY: Final = np.datetime64("1678-01-01", "D")
_LAST_DAY: Final = np.datetime64("2262-01-01", "D")


@dataclass(frozen=True)
class Cells:
    """The cells of one column: its distinct texts, and which of them each row holds.

    Attributes
    ----------
    texts : ndarray of str, shape (n_distinct,)
        Without spaces around them, each once (after a translation perhaps several times); "" is
        an empty cell.
    codes : ndarray of unsigned int, shape (n_rows,)
        Place of each row's text in `texts`, in the smallest integer that holds it.
    """

    texts: Text
    codes: Codes

    def spread(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Give each row the value of its text."""
        return values[self.codes]

    def written(self) -> Text:
        """Give the text of every row."""
        return self.texts[self.codes]

    def rows_where(self, wanted: npt.NDArray[np.bool_]) -> Rows:
        """List the rows whose text is among the wanted ones."""
        return np.flatnonzero(wanted[self.codes])

    def is_blank(self) -> npt.NDArray[np.bool_]:
        """Say which rows are empty."""
        return np.asarray(self.texts == "", dtype=bool)[self.codes]


def cells_of(column: pd.Series) -> Cells:
    """Split a text column into its distinct texts and the place of each row's.

    Parameters
    ----------
    column : Series of str
        Missing values count as "".

    Returns
    -------
    Cells
        With spaces around the texts removed.
    """
    if isinstance(column.dtype, pd.CategoricalDtype) and (column.cat.codes >= 0).all():
        codes, found = column.cat.codes.to_numpy(), column.cat.categories
        if len(found) > _FEW:
            # Some rows of a long column: only the texts that they hold are looked at.
            codes, held = pd.factorize(codes)
            found = found[held]
    else:
        codes, found = pd.factorize(column, use_na_sentinel=False)
    texts = [
        text.strip() if isinstance(text, str) else _not_text(text)
        for text in np.asarray(found, dtype=object)
    ]
    if any(text is not other for text, other in zip(texts, found, strict=True)):
        # Spaces around a text made it look like another one.
        alike, kept = pd.factorize(_text(texts))
        codes, texts = alike[codes], kept.tolist()
    return Cells(_text(texts), codes.astype(np.min_scalar_type(len(texts))))


def blank_cells(rows: int) -> Cells:
    """Make the cells of a column that the source does not have."""
    return Cells(_text([""]), np.zeros(rows, dtype=np.uint8))


def read_words(cells: Cells, allowed: tuple[str, ...]) -> Text:
    """Give each row the allowed word it holds; other text stays as it was written.

    Parameters
    ----------
    cells : Cells
        The column.
    allowed : tuple of str
        Compared without regard to case, spaces, dashes and underscores.

    Returns
    -------
    ndarray of str, shape (n_rows,)
    """
    by_key = {word_key(word): word for word in allowed}
    if "yes" in allowed:
        by_key |= YES_NO_SPELLINGS
    read = _text(by_key.get(word_key(text), text) for text in cells.texts)
    return cells.spread(read)


def read_days(
    cells: Cells, read_day: Callable[[str], tuple[dt.date | None, str]]
) -> tuple[npt.NDArray[np.datetime64], Text]:
    """Read dates; a time of day behind YYYY-MM-DD is cut off.

    Parameters
    ----------
    cells : Cells
        The column.
    read_day : callable
        Gives the day of a text, or None and a code of what is wrong.

    Returns
    -------
    tuple of ndarray of datetime64[ns] and ndarray of str, both of shape (n_rows,)
        The days, NaT where blank or unreadable, and why a text is unreadable ("" otherwise).
    """
    values = np.full(len(cells.texts), np.datetime64("NaT"), dtype="datetime64[D]")
    codes = np.full(len(cells.texts), "", dtype=object)
    for place, text in enumerate(cells.texts):
        if text:
            timed = _TIMED.fullmatch(text)
            day, codes[place] = read_day(timed[1] if timed else text)
            values[place] = np.datetime64(day) if day else np.datetime64("NaT")
    # Years that nanoseconds cannot hold are no dates of a truck.
    far = (values < _FIRST_DAY) | (values > _LAST_DAY)
    values[far], codes[far] = np.datetime64("NaT"), "not_a_date"
    return cells.spread(values.astype("datetime64[ns]")), cells.spread(codes)


@dataclass(frozen=True)
class ReadNumbers:
    """The numbers of a column and what is wrong with the cells that hold none.

    Attributes
    ----------
    numbers : ndarray of float, shape (n_rows,)
        NaN where blank or unreadable.
    codes : ndarray of str, shape (n_rows,)
        Why a cell is no number; "" where it is one or is blank.
    is_fraction : ndarray of bool, shape (n_rows,)
        True where the cell is written as a fraction such as 1/8.
    """

    numbers: Numbers
    codes: Text
    is_fraction: npt.NDArray[np.bool_]


def read_numbers(
    cells: Cells,
    *,
    fractions: bool = False,
    point_number: Callable[[str], tuple[str, str]] = lambda text: (text, ""),
) -> ReadNumbers:
    """Read numbers; a sign that was not declared is refused, never guessed at.

    Parameters
    ----------
    cells : Cells
        The column.
    fractions : bool
        Read `1/8` and `1 1/8` too (whether the unit allows it is the caller's to say).
    point_number : callable
        Writes a text with a decimal point and no thousands sign, or gives a code of what is
        wrong with its signs.
    """
    is_fraction = np.zeros(len(cells.texts), dtype=bool)
    values = np.full(len(cells.texts), np.nan)
    codes = np.full(len(cells.texts), "", dtype=object)
    for place, written in enumerate(cells.texts):
        text, wrong = point_number(written)
        if wrong:
            codes[place] = wrong
        elif _NUMBER.fullmatch(text):
            values[place] = float(text)
        elif fractions and (match := _FRACTION.fullmatch(text)):
            values[place] = fraction_value(match)
            is_fraction[place] = True
        elif text:
            codes[place] = _why_no_number(text)
    too_big = np.abs(values) > _LARGEST
    values[too_big] = np.nan
    codes[too_big] = "not_a_number"
    return ReadNumbers(cells.spread(values), cells.spread(codes), cells.spread(is_fraction))


def fraction_value(match: re.Match[str]) -> float:
    """Give the number that a matched fraction stands for."""
    return int(match[1] or 0) + int(match[2]) / int(match[3])


def spellings(reference: Iterable[str]) -> dict[str, str]:
    """Give each name as it is written where it is declared, by what its spellings share.

    Parameters
    ----------
    reference : iterable of str
        Names as declared; of two alike the first counts.
    """
    spelling: dict[str, str] = {}
    for name in reference:
        spelling.setdefault(name_key(name), name)
    return spelling


def same_spelling(values: Text, spelling: Mapping[str, str]) -> Text:
    """Write names the way the reference does where they differ in case or spaces only.

    Parameters
    ----------
    values : ndarray of str
        Names as written in one table.
    spelling : mapping of str to str
        From `spellings`.

    Returns
    -------
    ndarray of str
        The reference's spelling, or the name as written where the reference has none like it.
    """
    codes, found = pd.factorize(values)
    return _text(spelling.get(name_key(name), name) for name in found)[codes]


def name_key(name: str) -> str:
    """Give what two spellings of one name share."""
    return "".join(name.casefold().split())


def _not_text(cell: Any) -> str:
    """Read a cell of a frame that was not made by the CSV reader."""
    return "" if pd.isna(cell) else str(cell).strip()


def word_key(text: str) -> str:
    """Give what two spellings of one word share: case, spaces, dashes do not count."""
    return re.sub(r"[\s_-]", "", text.casefold())


def _why_no_number(text: str) -> str:
    if _THOUSANDS.fullmatch(text):
        return "thousands_comma"
    if _COMMA.fullmatch(text):
        return "comma"
    if _NUMBER.match(text) and not text[-1].isdigit():
        return "unit_in_number"
    return "not_a_number"


def _text(texts: Iterable[str]) -> Text:
    found = list(texts)
    values = np.empty(len(found), dtype=object)
    values[:] = found
    return values
