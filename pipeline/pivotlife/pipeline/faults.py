"""The faults of a table's rows: collected from every check, told together.

Each fault has a stable code (`column.what`) and a sentence that names the column and the value
as it was written. All faults of one row are joined, in the order of the table's columns.

Not here: the checks.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Final

import numpy as np
import numpy.typing as npt

from pivotlife.data.contracts.columns import EARLIEST_DAY, LARGEST_PLAY_MM, LATEST_DAY, ColumnFacts
from pivotlife.pipeline.cells import Text

#: Between the faults of one row.
SEPARATOR: Final = "; "

_SENTENCES: Final[dict[str, str]] = {
    "missing": "{column} is blank",
    "not_allowed": "{column} {written!r} is none of {allowed}",
    "not_a_number": "{column} {written!r} is not a number",
    "thousands_comma": "{column} {written!r} has a comma for thousands: write it without",
    "comma": "{column} {written!r} has a comma: write a decimal point",
    "unit_in_number": "{column} {written!r} is more than a number: {where_unit}",
    "fraction": "{column} {written!r} is a fraction: fractions are read in inches only",
    "not_whole": "{column} {written!r} is not a whole number",
    "out_of_range": "{column} {written!r} is not from {lowest:.0f} to {highest:.0f}",
    "negative": "{column} {written!r} is below zero",
    "too_large": "{column} {written!r} is larger than an inch: wrong unit?",
    "point": "{column} {written!r} has a decimal point, but the settings declare a comma",
    "not_a_date": "{column} {written!r} is not a date written {why}",
    "ambiguous_date": "{column} {written!r} is two different days by {why}",
    "implausible_date": "{column} {written!r} is not between {first_day} and {last_day}",
    "no_unit": "{column} has no unit (written {written!r}): fill in {unit_column}",
    "unknown_unit": "{column} {written!r} cannot be used: {why}",
}


class Faults:
    """What was found wrong in the rows of one table.

    Parameters
    ----------
    rows : int
        How many rows the table has.
    """

    def __init__(self, rows: int) -> None:
        self.rows = rows
        self._found: dict[int, list[tuple[int, str]]] = defaultdict(list)

    def add(self, order: int, rows: npt.NDArray[np.intp], texts: list[str]) -> None:
        """Note one fault for each of the rows.

        Parameters
        ----------
        order : int
            Place of the column in the table: faults of a row are told in this order.
        rows : ndarray of int
            Places of the faulty rows.
        texts : list of str
            Code and sentence for each, from `fault_text`.
        """
        for row, text in zip(rows.tolist(), texts, strict=True):
            self._found[row].append((order, text))

    def add_block(self, block: Faults, start: int) -> None:
        """Note what was found in some of the rows, the first of which is at `start`."""
        for row, found in block._found.items():
            self._found[start + row].extend(found)

    def is_faulty(self) -> npt.NDArray[np.bool_]:
        """Say which rows have a fault."""
        faulty = np.zeros(self.rows, dtype=bool)
        faulty[list(self._found)] = True
        return faulty

    def reasons(self) -> Text:
        """Give each faulty row's faults joined into one text, in the order of the rows."""
        reasons = np.empty(len(self._found), dtype=object)
        for place, row in enumerate(sorted(self._found)):
            ordered = sorted(self._found[row], key=lambda fault: fault[0])
            reasons[place] = SEPARATOR.join(dict.fromkeys(text for _, text in ordered))
        return reasons


def fault_text(
    code: str, column: str, written: str, facts: ColumnFacts, why: str = "", label: str = ""
) -> str:
    """Word one fault of one cell.

    Parameters
    ----------
    code : str
        What is wrong, a key of the sentences above.
    column, written : str
        The column and the value as the user wrote them.
    facts : ColumnFacts
        What the contract says of the column.
    why : str
        Further words: why a unit is unreadable, how a date should be written.
    label : str
        What the user calls the column, if not by its native name.
    """
    sentence = _SENTENCES[code].format(
        column=label or column,
        written=written,
        allowed=", ".join(facts.allowed),
        lowest=facts.lowest if facts.lowest is not None else 0.0,
        highest=facts.highest if facts.highest is not None else LARGEST_PLAY_MM,
        unit_column=facts.unit_column,
        where_unit=f"put the unit in {facts.unit_column}" if facts.unit_column else "digits only",
        first_day=EARLIEST_DAY.date(),
        last_day=LATEST_DAY.date(),
        why=why,
    )
    return f"{column}.{code}: {sentence}"
