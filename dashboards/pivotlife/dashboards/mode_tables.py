"""The engineer's tables of failure modes: what each takes, and what free play did not announce.

Not here: lives by mode (`comparison_tables`), any estimate.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import Cell, Column, Table, estimate, make_table

#: Ages at which the page says what each mode has taken; incidence.csv has more.
AGES_SHOWN: Final = (100_000.0, 200_000.0, 400_000.0)


def incidence_table(incidence: pd.DataFrame) -> Table:
    """Tabulate the share that each mode takes, with the share if it were the only one below."""
    groups = incidence.groupby(["bushing_type", "mode"], sort=True)
    return make_table(
        "modes-together",
        "Of 100 new bushings, how many each mode takes by an age while the other modes are at "
        "work; in small print, how many it would take if it were the only mode. "
        f"n = {words.count(len(groups), 'mode')}, fitted together; a mode with fewer than five "
        "failures is carried at a constant rate. That modes are independent cannot be tested.",
        (
            Column("Bushing"),
            Column("Mode"),
            Column("Failures", numeric=True),
            Column("Curve"),
            *(Column(f"By {words.number(age)} miles", numeric=True) for age in AGES_SHOWN),
        ),
        [_incidence_row(rows) for _, rows in groups],
        empty="No type has a mode with enough failures for a curve.",
    )


def _incidence_row(rows: pd.DataFrame) -> tuple[str | Cell, ...]:
    first = rows.iloc[0]
    return (
        words.text(first["bushing_type"]),
        words.text(first["mode"]),
        words.number(first["failures"]),
        words.text(first["curve"]),
        *(_shares(rows[rows["miles"] == age]) for age in AGES_SHOWN),
    )


def _shares(rows: pd.DataFrame) -> Cell:
    if rows.empty:
        return Cell("older than any seen")
    row = rows.iloc[0]
    return estimate(
        words.percent(row["share_taken"]), f"alone {words.percent(row['share_if_only_mode'])}"
    )


def missed_table(missed: pd.DataFrame) -> Table:
    """Tabulate the failures that free play did not announce."""
    return make_table(
        "missed-by-play",
        "Failures whose last free play, read no longer before than one planned measuring distance, "
        "was under its limit: a list that looks at play alone would have called them good. "
        f"n = {words.count(missed['failures'].sum(), 'failure')}; the share is of those with such "
        "a reading.",
        (
            Column("Bushing"),
            Column("Mode"),
            Column("Failures", numeric=True),
            Column("With a reading", numeric=True),
            Column("Missed", numeric=True),
            Column("Share missed", numeric=True),
            Column("Median last play", numeric=True),
            Column("Last play / limit", numeric=True),
            Column("Note"),
        ),
        [_missed_row(row) for row in missed.to_dict("records")],
        empty="No failure is on record.",
    )


def _missed_row(row: Mapping[Any, Any]) -> tuple[str | Cell, ...]:
    return (
        words.text(row["bushing_type"]),
        words.text(row["mode"]),
        words.number(row["failures"]),
        words.number(row["with_reading"]),
        words.number(row["missed"], 0, "not judged"),
        estimate(
            "not judged"
            if pd.isna(row["share_missed"])
            else words.counted_share(row["missed"], row["with_reading"]),
            words.percent_band(row["share_missed_lower"], row["share_missed_upper"]),
        ),
        words.play(row["median_last_play_mm"]),
        words.number(row["median_last_play_over_limit"], 2, "no limit or no reading"),
        words.text(row["warning"]) or "none",
    )
