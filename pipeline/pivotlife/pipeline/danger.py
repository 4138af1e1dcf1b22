"""What a faulty row can still say about a danger.

A quarantined row leaves the statistics, never the safety step. Here its play is read as
generously as it can be: `3,5` as 3.5, `>3` as 3, `3-4` as 4, `0.2 in` with its own unit, a
negative dial reading by its size. Where the unit stays unknown the bare number is kept, so that
the safety step can hold every possible unit against the limit.

Not here: what is done about the danger, and rows without a fault.
"""

from __future__ import annotations

import functools
import re
from typing import Any, Final

import numpy as np
import pandas as pd

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.data.units_of_measure import factor

#: Word columns whose unreadable text is handed on, because it may name a danger.
TELLING_WORDS: Final = ("finding", "teardown_finding", "takes_grease", "reason")

_FRACTION: Final = re.compile(r"(?:([0-9]{1,3})[ -])?([0-9]{1,3})/([1-9][0-9]{0,2})")
_NUMBER: Final = re.compile(r"[0-9]{0,12}[.,][0-9]{1,12}|[0-9]{1,12}")
_UNIT_BEHIND: Final = re.compile(r"[0-9.,]\s*([A-Za-z\"'\u2033]+)\s*$")


@functools.lru_cache(maxsize=65_536)
def loose_number(text: str) -> float:
    """Read the largest number that a play cell may mean.

    Parameters
    ----------
    text : str
        The cell as written.

    Returns
    -------
    float
        NaN when there is no number in it.
    """
    found = [
        int(match[1] or 0) + int(match[2]) / int(match[3]) for match in _FRACTION.finditer(text)
    ]
    if not found:
        found = [float(match[0].replace(",", ".")) for match in _NUMBER.finditer(text)]
    return max(found, default=float("nan"))


@functools.lru_cache(maxsize=65_536)
def loose_play_mm(text: str, unit: str) -> float:
    """Read a play cell by the unit declared for it, or by the unit written in the cell.

    Parameters
    ----------
    text, unit : str
        The cell and its unit column as written.

    Returns
    -------
    float, millimetres
        The largest reading that the two allow; NaN when neither names a unit.
    """
    number = loose_number(text)
    behind = _UNIT_BEHIND.search(text)
    units = [unit, behind[1] if behind else ""]
    if "/" in text and unit:
        units.append("in")  # fractions are written of inches, whatever the unit column says
    plays = [number * one for one in map(_factor, units) if not np.isnan(one)]
    return max(plays, default=float("nan"))


def with_dangers(
    withheld: pd.DataFrame, written: pd.DataFrame, facts: dict[str, ColumnFacts]
) -> pd.DataFrame:
    """Add to quarantined rows what they may still tell.

    Parameters
    ----------
    withheld : DataFrame
        Quarantined rows of one table in its judged columns.
    written : DataFrame of str
        The same rows as written, by native header.
    facts : dict of str to ColumnFacts
        The table's contract.

    Returns
    -------
    DataFrame
        The rows with `<play>_mm` (float, millimetres) filled where a generous reading allows,
        `<play>_number` (float, in whatever unit was meant), and `<word>_as_written` (text) for
        each telling word that could not be read.
    """
    added: dict[str, Any] = {}
    for name, fact in facts.items():
        if fact.kind == "quantity" and fact.measure == "play":
            pairs = list(zip(written[name], written[fact.unit_column], strict=True))
            loose = np.array([loose_play_mm(text, unit) for text, unit in pairs], dtype=float)
            strict = np.abs(withheld[f"{name}_mm"].to_numpy(dtype=float))
            added[f"{name}_mm"] = np.where(np.isnan(strict), loose, strict)
            numbers = [loose_number(text) for text, _ in pairs]
            added[f"{name}_number"] = np.array(numbers, dtype=float)
        elif name in TELLING_WORDS:
            unread = (withheld[name] == "").to_numpy(dtype=bool)
            text = written[name].to_numpy(dtype=object)
            added[f"{name}_as_written"] = np.where(unread, text, "").astype(object)
    return withheld.assign(**added)


def _factor(unit: str) -> float:
    if not unit:
        return float("nan")
    try:
        return factor(unit, "play")
    except ValueError:
        return float("nan")
