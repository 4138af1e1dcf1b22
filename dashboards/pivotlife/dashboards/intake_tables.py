"""What the records hold and what in them does not look right, for the engineer's page.

Not here: counting and finding any of it; the fate of the rows (`engineer`).
"""

from __future__ import annotations

from typing import Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import Column, Table, make_table

#: What each kind of suspect value means, in the order of the table.
MEANINGS: Final[dict[str, str]] = {
    "zero-not-measured": "a zero where play is expected: perhaps nobody measured",
    "sheet-of-zeros": "every metal pivot of one sheet reads zero",
    "same-number": "the inspector nearly always reports this one number",
    "thousandths-as-inches": "thousandths written into a column of inches",
    "millimetres-as-inches": "millimetres written into a column of inches",
    "play-shrank": "far over the limit, good again later: play does not shrink",
    "entered-twice": "the same row twice: one is kept",
    "before-service": "dated before its unit was put to work",
    "after-leaving": "dated after its unit left the fleet",
    "nothing-fitted": "a reading where no bushing was fitted",
    "fitted-without-removal": "a bushing fitted while another had not been removed",
    "kit-wrong-node": "a kit that is made for another place in the spring",
    "kit-wrong-type": "a kit of another bushing type than the line says",
    "kit-holds-more": "a kit for more pivots than the line can have renewed",
    "odometer-off-track": "an odometer that its unit's others contradict: they are used instead",
    "kilometres": "a stretch of odometers that climbs like kilometres",
    "meter-change": "odometers that begin anew: a replaced meter",
    "instrument-offset": "dash and engine computer that do not agree",
    "number-used-twice": "rows of two units under one number",
}
#: Kinds told by stretch on the page; a stretch is one suspicion, whatever its length.
STRETCHES: Final = ("kilometres", "meter-change", "instrument-offset", "number-used-twice")
_MOST_RECORDS: Final = 8


def profile_sentence(profile: pd.DataFrame) -> str:
    """Say in one sentence how much the records hold."""
    rows = profile.loc[profile["topic"] == "rows", "count"].sum()
    parts = [f"{words.number(rows)} rows"]
    for topic in ("units", "pivots"):
        own = profile[profile["topic"] == topic]
        read = own.loc[own["item"] == "with readings", "count"].sum()
        parts.append(
            f"readings of {words.number(read)} of {words.number(own['count'].sum())} {topic}"
        )
    gaps = profile[profile["topic"] == "since the last reading"]
    half = gaps.loc[gaps["item"] == "half within", "value"]
    if len(half):
        days = words.count(half.iloc[0], "day")
        parts.append(f"half of the pivots in service that have a reading were read within {days}")
    return f"The records hold {', '.join(parts)}."


def profile_table(profile: pd.DataFrame) -> Table:
    """List the whole profile."""
    return make_table(
        "profile",
        "What the records hold. A share is of the rows or things that could be: good rows of all, "
        "rows with a position of all good ones, pivots of those on record.",
        (
            Column("About"),
            Column("What"),
            Column("Count", numeric=True),
            Column("Share", numeric=True),
            Column("Note"),
        ),
        [
            (
                words.text(row["topic"]),
                words.text(row["item"]),
                _amount(row["count"], row["value"], words.text(row["unit"])),
                _share(row["share"]),
                words.text(row["detail"]),
            )
            for row in profile.to_dict("records")
        ],
        empty="No row was handed in.",
    )


def _share(share: float) -> str:
    return f"{words.number(100 * share, 1)}\u00a0%" if pd.notna(share) else ""


def _amount(count: float, value: float, unit: str) -> str:
    if pd.notna(count):
        return words.number(count)
    return f"{words.number(value)} {unit}".rstrip() if pd.notna(value) else ""


def suspect_kinds(suspects: pd.DataFrame) -> Table:
    """Count the suspect values by kind, with an example of each."""
    kinds = [kind for kind in MEANINGS if suspects["kind"].eq(kind).any()]
    others = sorted(set(suspects["kind"].map(words.text)) - set(kinds))
    out = int(suspects["excluded"].map(words.is_yes).sum())
    return make_table(
        "suspect-values",
        f"{words.count(len(suspects), 'suspect value')}, {words.number(out)} of them left out; "
        "each stands with its evidence in suspects.csv. A suspicion alone drops nothing but second "
        "entries; judge.exclude_suspect in the settings names kinds to leave out. A danger acts in "
        "any case.",
        (
            Column("Kind"),
            Column("What it is"),
            Column("Values", numeric=True),
            Column("Units", numeric=True),
            Column("Left out", numeric=True),
            Column("For example"),
        ),
        [_kind_row(kind, suspects[suspects["kind"] == kind]) for kind in (*kinds, *others)],
        empty="No value looks suspicious.",
    )


def _kind_row(kind: str, rows: pd.DataFrame) -> tuple[str, ...]:
    first = rows.iloc[0]
    return (
        kind,
        MEANINGS.get(kind, ""),
        words.number(len(rows)),
        words.number(rows["unit_id"].nunique()),
        words.number(rows["excluded"].map(words.is_yes).sum()),
        f"{_record(first)}{_of_unit(first)}: {words.text(first['evidence'])}",
    )


def odometer_stretches(suspects: pd.DataFrame) -> Table:
    """List the suspicious stretches of odometers, one line each."""
    rows = suspects[suspects["kind"].isin(STRETCHES)]
    groups = [
        (tuple(str(part) for part in key), own)
        for key, own in rows.groupby(["unit_id", "kind", "evidence"], sort=True)
        if isinstance(key, tuple)
    ]
    return make_table(
        "odometer-suspicions",
        f"{words.count(len(groups), 'odometer suspicion')}. Nothing was converted or dropped on a "
        "suspicion alone; look at these units' records.",
        (
            Column("Unit"),
            Column("Suspicion"),
            Column("Detail"),
            Column("Values", numeric=True),
            Column("Records"),
        ),
        [
            (unit, kind, evidence, words.number(len(own)), _records(own))
            for (unit, kind, evidence), own in groups
        ],
        empty="No odometer looks suspicious.",
    )


def _records(rows: pd.DataFrame) -> str:
    named = [_record(row) for _, row in rows.head(_MOST_RECORDS).iterrows()]
    more = len(rows) - len(named)
    return ", ".join(named) + (f" and {words.number(more)} more" if more else "")


def _of_unit(row: pd.Series) -> str:
    unit = words.text(row["unit_id"])
    return "" if unit == words.text(row["row_id"]) else f" ({unit})"


def _record(row: pd.Series) -> str:
    return f"{words.text(row['table'])} {words.text(row['row_id'])}"
