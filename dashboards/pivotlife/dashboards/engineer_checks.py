"""The second half of the engineer's page: modes, checks of the fits, what play missed, gauges.

Not here: the comparison itself and what was left out (`engineer`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.chart_recurrences import recurrence_drawing
from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.check_tables import (
    early_effect,
    early_table,
    early_warnings,
    fit_table,
    sensitivity_table,
)
from pivotlife.dashboards.gauge_tables import gauge_table
from pivotlife.dashboards.mode_tables import incidence_table, missed_table


def checks_context(tables: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    """Prepare what the engineer's page shows of the checks.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The run's tables.
    """
    return {
        "incidence": incidence_table(tables["incidence"]),
        "missed": missed_table(tables["missed_by_play"]),
        "fit_table": fit_table(tables["fit_check"]),
        "early_warnings": (
            *early_warnings(tables["early_failures"]),
            *early_effect(tables["sensitivity"]),
        ),
        "early_table": early_table(tables["early_failures"]),
        "sensitivity": sensitivity_table(tables["sensitivity"]),
        "recurrences": _recurrences(tables["recurrences"]),
        "gauges": gauge_table(tables["gauge"]),
    }


def _recurrences(rows: pd.DataFrame) -> tuple[Drawing, ...]:
    drawings = (
        recurrence_drawing(
            rows[rows["counted"] == counted],
            f"recurrences-{counted}",
            title,
            f"How often a pivot's bushing was {what} by a mileage, on average; bands: 95 % limits "
            f"from the spread between trucks. {_sample(rows[rows['counted'] == counted])}",
        )
        for counted, title, what in (
            ("all", "Replaced for any reason", "replaced"),
            ("failed", "Replaced after a failure", "replaced after it had failed"),
        )
    )
    return tuple(drawing for drawing in drawings if drawing)


def _sample(rows: pd.DataFrame) -> str:
    parts = [
        f"{kind} {words.number(own['replacements'].sum())} from "
        f"{words.life_miles(own['from_miles'].iloc[0])} miles on"
        for kind, own in rows.groupby("bushing_type", sort=True)
    ]
    return f"Replacements counted: {', '.join(parts)}."
