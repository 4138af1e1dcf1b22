"""The sentences of a standing order: what was found, when, and what must happen.

Written for someone who reads them at six in the morning: the number, its unit, the day, the
action. How the action is done is the maker's procedure and is never said here.

Not here: which orders stand.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

import pandas as pd

_ACTIONS: Final[dict[str, str]] = {
    "axle-shifted": "Park the unit until a repair on it is recorded.",
    "park-finding": "Park the unit; the order stands until this bushing is replaced.",
    "over-limit": "Replace it; only a replacement or a corrected record lifts this order.",
    "failure-finding": "Replace it; only a replacement or a corrected record lifts this order.",
    "refuses-grease": (
        "Remove and inspect this pin; the order stands until it takes grease or is replaced."
    ),
    "finding-unreadable": "Inspect this pivot, and correct the row.",
    "play-unit-unreadable": "Measure this pivot, and correct the row.",
}
#: The code of a fault before its sentence: for the ledger, not for the reader of an order.
_CODE: Final = re.compile(r"\b[a-z_]+\.[a-z_]+: ")


class OrderFacts(NamedTuple):
    """What an order's latest evidence says.

    Attributes
    ----------
    cause, rule, decision, finding : str
        What was found and what it orders.
    play_mm, limit_mm : float, millimetres
        The reading and its limit; NaN where none applies.
    date : Timestamp
        Day of the evidence; NaT where it cannot be read.
    what : str
        The row in a few words, or "".
    rows : int
        How many rows of the record say the same.
    contradicted : bool
        A later reading of the same bushing was far smaller.
    """

    cause: str
    rule: str
    decision: str
    finding: str
    play_mm: float
    limit_mm: float
    date: pd.Timestamp
    what: str
    rows: int
    contradicted: bool = False


def order_reason(facts: OrderFacts) -> str:
    """Tell one order in plain sentences: evidence, action, and what is wrong with the row."""
    undated = pd.isna(facts.date)
    day = "on an unreadable date" if undated else f"on {facts.date:%Y-%m-%d}"
    told = f" ({_CODE.sub('', facts.what)})" if facts.what else ""
    more = f"; {facts.rows} rows say so" if facts.rows > 1 else ""
    parts = [f"{_found(facts)} {day}{told}{more}."]
    lost = facts.rule == "position-unknown"
    parts.append(_lost(facts.decision) if lost else _ACTIONS[facts.cause])
    if facts.contradicted and facts.cause == "over-limit":
        parts.append(
            "A later reading is less than half of it: the record may be mistaken, so measure again"
            " before ordering parts."
        )
    if undated:
        parts.append("The date cannot be read: no later event lifts the order, correct the row.")
    return " ".join(parts)


def _found(facts: OrderFacts) -> str:
    play, limit, finding = facts.play_mm, facts.limit_mm, facts.finding
    if facts.cause == "over-limit":
        word = "reached" if round(play, 2) <= limit else "was over"
        return f"Play {play:.2f} mm ({play / 25.4:.3f} in) {word} the {limit:g} mm limit"
    if facts.cause == "refuses-grease":
        return "The pin took no grease"
    if facts.cause == "finding-unreadable":
        return (
            f"The finding {finding!r} could not be read" if finding else "A finding was unreadable"
        )
    if facts.cause == "play-unit-unreadable":
        return "Play was read in a unit that cannot be made out"
    return f"Found {finding}"


def _lost(decision: str) -> str:
    if decision == "park":
        return (
            "The position is not recorded: park the unit until every pivot has been found good "
            "or replaced."
        )
    return "The position is not recorded: measure every pivot of this unit."
