"""Numbers, dates and gaps as people read them.

A missing number is always a word, an unbounded one always says that the records end before it.

Not here: whole sentences about a pivot (`lines`), tables (`tables`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any, Final

import pandas as pd

UNKNOWN: Final = "unknown"
NOT_REACHED: Final = "not reached"
TOO_FEW: Final = "too few failures"
BEYOND: Final = "beyond the records"
NO_LIMIT: Final = "no limit"

#: A limit above this says only that the records set none.
LONGEST_MILES: Final = 5_000_000.0

#: A space that keeps a number and its unit on one line.
_TIED: Final = "\u00a0"

_OUTSIDE_BRACKETS: Final = re.compile(r"; (?![^()]*\))")

_MM_PER_INCH: Final = 25.4


def text(value: Any) -> str:
    """Give a cell's text; missing values give "".

    Parameters
    ----------
    value : object
        Any cell of a table.
    """
    return "" if _is_missing(value) else str(value).strip()


def sentence(value: Any) -> str:
    """Begin a sentence with a text: its first letter as a capital."""
    written = text(value)
    return written[:1].upper() + written[1:]


def sentences(value: Any) -> str:
    """Break a chain of remarks at its semicolons into sentences; those in brackets stay."""
    if not text(value):
        return ""
    chain = _OUTSIDE_BRACKETS.split(text(value).removesuffix("."))
    return "".join(f"{sentence(part)}. " for part in chain).rstrip()


def is_yes(value: Any) -> bool:
    """Say whether a cell means yes: True, "yes" or "true"."""
    return text(value).lower() in {"yes", "true"}


def number(value: Any, decimals: int = 0, missing: str = UNKNOWN) -> str:
    """Write a number with thousands separators.

    Parameters
    ----------
    value : number or missing
        What to write; infinite reads "beyond the records".
    decimals : int
        Digits after the point.
    missing : str
        The words for a missing number.
    """
    amount = _float(value)
    if math.isnan(amount):
        return missing
    if math.isinf(amount):
        return BEYOND
    rounded = round(amount, decimals) + 0.0  # turns -0.0 into 0.0
    return f"{rounded:,.{decimals}f}"


def count(value: Any, noun: str, plural: str = "") -> str:
    """Write a count with its noun: "1 unit", "3 units"."""
    many = plural or f"{noun}s"
    return f"{number(value)} {noun if _float(value) == 1 else many}"


def life_miles(value: Any, missing: str = NOT_REACHED) -> str:
    """Write an estimated life, miles, to the thousand.

    An estimate is never as fine as a mile, and no truck runs beyond a few million; the full digits
    stand in the CSV files.
    """
    amount = _float(value)
    if math.isfinite(amount) and amount > LONGEST_MILES:
        return f"over {number(LONGEST_MILES)}"
    if 0 < amount < 500:
        return "under 1,000"
    if math.isfinite(amount):
        amount = round(amount, -3)
    return number(amount, 0, missing)


def odometer_ahead(value: Any) -> str:
    """Write the odometer expected at a coming visit, to the hundred: nobody knows it finer."""
    amount = _float(value)
    return number(round(amount, -2) if math.isfinite(amount) else amount)


def interval(lower: Any, upper: Any, write: Callable[[Any], str]) -> str:
    """Write a range, "" when neither end is known.

    Parameters
    ----------
    lower, upper : number or missing
        The ends.
    write : callable
        How one end is written.
    """
    if math.isnan(_float(lower)) and math.isnan(_float(upper)):
        return ""
    return f"{write(lower)} to {write(upper)}"


def life_range(lower: Any, upper: Any) -> str:
    """Write the limits of an estimated life; an upper one that no truck reaches is none."""
    if math.isnan(_float(lower)) and math.isnan(_float(upper)):
        return ""
    low = life_miles(lower)
    if _float(lower) > LONGEST_MILES:
        return low
    high = NO_LIMIT if _float(upper) > LONGEST_MILES else life_miles(upper)
    return f"{low} to {high}"


def play(value_mm: Any, missing: str = "not measured") -> str:
    """Write free play, given in millimetres, with thousandths of an inch beside it."""
    amount = _float(value_mm)
    if not math.isfinite(amount):
        return number(amount, 2, missing)
    inches = f"({amount / _MM_PER_INCH:.3f}{_TIED}in)"
    return f"{amount:.2f}{_TIED}mm {inches}"


def percent(share: Any, missing: str = UNKNOWN) -> str:
    """Write a share of [0, 1] in whole percent; the ends never read as certainty."""
    amount = _float(share)
    if not math.isfinite(amount):
        return missing
    if amount < 0.005:
        return f"under{_TIED}1{_TIED}%"
    if amount > 0.995:
        return f"over{_TIED}99{_TIED}%"
    return f"{amount * 100:.0f}{_TIED}%"


def counted_share(part: Any, whole: Any) -> str:
    """Write what share of a count another count is: none and all are said as such."""
    if not _float(whole) > 0 or math.isnan(_float(part)):
        return UNKNOWN
    share = _float(part) / _float(whole)
    return f"{share * 100:.0f}{_TIED}%" if share in (0.0, 1.0) else percent(share)


def percent_band(lower: Any, upper: Any) -> str:
    """Write a range of shares, the sign once where both ends are plain: "5 to 14 %"."""
    low, high = percent(lower), percent(upper)
    if low == high != UNKNOWN:
        return low
    if low[:1].isdigit() and high[:1].isdigit():
        low = low.removesuffix(f"{_TIED}%")
    return "" if low == high == UNKNOWN else f"{low} to {high}"


def money(amount: Any, currency: str, missing: str = UNKNOWN) -> str:
    """Write an amount with its currency code, whole units."""
    value = _float(amount)
    if not math.isfinite(value):
        return number(value, 0, missing)
    return f"{currency}{_TIED}{number(value)}".strip()


def price(value: Any) -> str:
    """Write a price or rate with as many digits as it has."""
    amount = _float(value)
    if not math.isfinite(amount):
        return number(amount)
    if amount and abs(amount) < 0.01:
        return f"{amount:.9f}".rstrip("0")
    digits = f"{amount:,.4f}".rstrip("0")
    return digits.rstrip(".")


def key(value: Any) -> str:
    """Write the key of a setting as words: "hours.first_pivot" reads "hours, first pivot"."""
    return text(value).replace("_", " ").replace(".", ", ")


def rounded(value: Any, digits: int = 3) -> str:
    """Write a worked-out figure to a few significant digits: it is known no finer.

    Parameters
    ----------
    value : number or missing
        What to write; missing reads "none".
    digits : int
        Digits that carry something.
    """
    amount = _float(value)
    if not math.isfinite(amount):
        return number(amount, 0, "none")
    return price(float(f"{amount:.{digits}g}"))


def day(value: Any, missing: str = "no date") -> str:
    """Write a date as year-month-day."""
    moment = pd.to_datetime(value, errors="coerce")
    return missing if pd.isna(moment) else str(moment.date().isoformat())


def month(value: Any, missing: str = "no date") -> str:
    """Write the month of a date as year-month."""
    written = day(value, "")
    return written[:7] if written else missing


def _is_missing(value: Any) -> bool:
    return value is None or value is pd.NaT or value is pd.NA or value != value  # noqa: PLR0124 - NaN alone differs from itself


def _float(value: Any) -> float:
    return math.nan if _is_missing(value) or value == "" else float(value)
