"""What a mile of a newly fitted bushing costs, on the finance page: the list's own yardstick.

Not here: what a truck costs until its sale (`finance_lifetime`).
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section
from pivotlife.dashboards.tables import Cell, Column, Table, make_table


def long_run_sections(inputs: PageInputs) -> tuple[Section, ...]:
    """Write the section on the long-run cost of a mile."""
    return (
        Section(
            "What the miles left in a bushing are worth",
            (
                "Renewing early throws miles away. The shortlist prices each at what a mile of a "
                "newly fitted bushing costs in the long run under the same rule, in the same duty.",
                "Who reads play at fewer visits knows less of when a bushing is due and pays more "
                "for the mile. How often this fleet reads is counted over the last two years: "
                "readings against service intervals driven. If that is about to change, set "
                "visits_read of the duty under [intervals].",
            ),
            tables=(long_run_table(inputs.tables["long_run_cost"], inputs.currency),),
            file="long_run_cost.csv",
        ),
    )


def long_run_table(costs: pd.DataFrame, currency: str) -> Table:
    """List the long-run cost by type and duty with the share of visits read.

    Parameters
    ----------
    costs : DataFrame
        The table `long_run_cost`.
    currency : str
    """
    return make_table(
        "long-run-cost",
        f"Long-run cost of 1,000 miles of one newly fitted bushing in {currency}, planned, late "
        f"and roadside work and downtime together; n = {words.count(len(costs), 'row')}. Visits "
        "read are asked for only where growth of play was simulated.",
        (
            *(Column("Duty"), Column("Type"), Column("Cost of 1,000 miles", numeric=True)),
            *(Column("Worked out from"), Column("Visits read", numeric=True), Column("Source")),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                words.number(1_000.0 * row["cost_per_mile"], 2),
                words.text(row["how"]),
                *_read(row),
            )
            for row in costs.sort_values(["duty", "bushing_type"], kind="stable").to_dict("records")
        ],
        empty="No type's life is known.",
    )


def _read(row: dict[Any, Any]) -> tuple[Cell | str, str]:
    """Give the share of visits read with its counts, and where it comes from."""
    if pd.isna(row["share_read"]) or not words.text(row["how"]).startswith("growth"):
        return "not asked", ""
    counted = f"{words.number(row['readings'])} of {words.count(round(row['visits']), 'visit')}"
    return Cell(words.percent(row["share_read"]), (counted,)), words.text(row["share_source"])
