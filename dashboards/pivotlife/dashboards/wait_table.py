"""The engineer's table of comparisons under way: what is excluded, and when each is decided.

Not here: the months themselves.
"""

from __future__ import annotations

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import Column, Table, make_table


def wait_table(decidable: pd.DataFrame) -> Table:
    """Tabulate each adjusted ratio of B10 with its state.

    Parameters
    ----------
    decidable : DataFrame
        The table `decidable`.
    """
    return make_table(
        "decidable",
        "When the comparison will be decided: failures go on at the rate that the fitted curves "
        "expect over the coming year, and the ratio is what it seems. That is an even chance, not "
        "a promise. It takes more failures than a verdict counts where one type fails seldom or "
        f"several pairs are compared at once. n = {words.count(len(decidable), 'comparison')}.",
        (
            Column("First / second"),
            Column("Duty"),
            Column("Excluded below", numeric=True),
            Column("Excluded above", numeric=True),
            Column("Failures a month", numeric=True),
            Column("What to expect"),
        ),
        [
            (
                f"{words.text(row['numerator_type'])} / {words.text(row['denominator_type'])}",
                words.text(row["duty"]),
                words.number(row["excluded_below"], 2, "nothing"),
                words.number(row["excluded_above"], 2, "nothing"),
                f"{words.number(row['numerator_failures_per_month'], 1)} / "
                f"{words.number(row['denominator_failures_per_month'], 1)}",
                words.text(row["sentence"]),
            )
            for row in decidable.to_dict("records")
        ],
        empty="No two types could be compared.",
    )
