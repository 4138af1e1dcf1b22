"""The profile as `check` prints it, at most 80 columns wide.

Not here: what is counted (`profile`).
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from math import isnan
from typing import Any, Final

import pandas as pd

WIDTH: Final = 80
#: Heading of each topic, in order.
_HEADINGS: Final = {
    "rows": "Rows, and the share of them without a fault",
    "units": "Units",
    "pivots": "Pivots",
    "full position": "Rows with axle, side and node",
    "withheld": "Withheld, by reason",
    "readings per pivot": "Readings per pivot",
    "inspectors": "Inspectors",
    "since the last reading": "Pivots in service: days since the last reading",
    "odometers": "Odometer values",
    "suspect values": (
        "Other values that do not look right: used all the same unless "
        "judge.exclude_suspect names their kind; `run` lists each in suspects.csv"
    ),
    "optional tables": "Optional tables",
}
#: Room for the names of a topic's lines.
_NARROWEST, _WIDEST = 12, 34


def profile_text(profile: pd.DataFrame, day: pd.Timestamp) -> str:
    """Write the profile to be read on a terminal.

    Parameters
    ----------
    profile : DataFrame
        From `profile.profile_table`.
    day : Timestamp
        The day from which gaps were counted.
    """
    parts = [f"What the records hold, counted on {day:%Y-%m-%d}, the day of the newest one:"]
    for topic, heading in _HEADINGS.items():
        rows = profile[profile["topic"] == topic].to_dict("records")
        if rows:
            parts += ["", *textwrap.wrap(heading, WIDTH), *_lines(rows)]
    return "\n".join(parts)


def _lines(rows: Sequence[dict[Any, Any]]) -> Iterator[str]:
    longest = max(len(row["item"]) for row in rows) + 2
    room = min(max(longest, _NARROWEST), _WIDEST)
    for row in rows:
        amount = row["value"] if isnan(row["count"]) else row["count"]
        share = "" if isnan(row["share"]) else _percent(row["share"])
        item = f"  {row['item']}"
        if len(item) > room:
            # A long name stands on lines of its own: the figures stay in their columns.
            yield from textwrap.wrap(item, WIDTH, subsequent_indent="    ")
            item = ""
        yield from _beside(f"{item:{room}} {amount:>9,.0f} {share:>6}", row["detail"])


def _beside(first: str, detail: str) -> Iterator[str]:
    room = WIDTH - len(first) - 1
    if len(detail) <= room:
        yield f"{first} {detail}".rstrip()
    else:
        yield first.rstrip()
        yield from textwrap.wrap(detail, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 6)


def _percent(share: float) -> str:
    return "100 %" if share == 1.0 else f"{min(share, 0.999):.1%}".replace("%", " %")
