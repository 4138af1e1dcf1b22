"""The gauges in one table: the study's split of the spread, and repeats from the daily records.

Both versions of a study are listed, with the interaction of parts and inspectors pooled and kept;
``chosen`` marks the one that its test asks for, and only that one has intervals.

A study that cannot be evaluated gives one row without a figure, and the reason.

Not here: the estimates (`gauge`, `gauge_intervals`, `gauge_history`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.gauge import GaugeError, gauge_study
from pivotlife.models.gauge_history import repeatability_from_history
from pivotlife.models.gauge_intervals import component_intervals
from pivotlife.models.gauge_result import COMPONENTS, SPREAD, GaugeComponents, GaugeStudy

COLUMNS: Final = (
    *("source", "version", "chosen", "quantity", "inspector", "tool", "readings"),
    *("standard_deviation_mm", "lower_mm", "upper_mm", "percent_of_total_variation"),
    *("percent_of_tolerance", "distinct_categories", "warning"),
)
STUDY: Final = "study"
HISTORY: Final = "repeats in the records"
#: Below this many groups of parts the gauge is too coarse to follow wear (common practice, no
#: source); below two it cannot tell a worn pivot from a good one.
WANTED_CATEGORIES: Final = 5
NO_LIMITS: Final = {"lower_mm": np.nan, "upper_mm": np.nan}


def gauge_table(
    study: pd.DataFrame,
    readings: pd.DataFrame,
    *,
    limit_mm: float | None = None,
    seed: int = 1,
) -> pd.DataFrame:
    """Tabulate how good the gauges are.

    Parameters
    ----------
    study : DataFrame, one row per reading of the study
        ``part, inspector, trial, free_play_mm``; empty: no study.
    readings : DataFrame, one row per reading
        As `repeatability_from_history` takes them; only marked repeats count.
    limit_mm : float, mm, optional
        The free-play limit that the gauge is held against.
    seed : int
        Of the intervals.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; standard deviations in mm. Empty without study and repeats.
    """
    tables = []
    if len(study):
        try:
            found = gauge_study(study, limit_mm=limit_mm)
        except (GaugeError, NoMaximumError) as error:
            tables.append(pd.DataFrame([{"source": STUDY, "warning": str(error)}]))
        else:
            tables.append(_study_rows(found, len(study) - found.left_out, seed))
    repeats = repeatability_from_history(readings)
    if len(repeats):
        tables.append(_history_rows(repeats, limit_mm))
    if not tables:
        return pd.DataFrame(columns=list(COLUMNS))
    table = pd.concat(tables, ignore_index=True).reindex(columns=list(COLUMNS))
    words = ["source", "version", "quantity", "inspector", "tool", "warning"]
    return table.assign(
        **{name: table[name].fillna("") for name in words},
        chosen=table["chosen"].eq(True),
    )


def _study_rows(found: GaugeStudy, readings: int, seed: int) -> pd.DataFrame:
    """Return the rows of a study: both versions, or one where they are the same."""
    versions = {"interaction pooled": (found.pooled, not found.interaction_kept)}
    if found.with_interaction is not found.pooled:
        versions["interaction kept"] = (found.with_interaction, found.interaction_kept)
    intervals = component_intervals(found, seed=seed)
    limits = {
        str(row.quantity): {"lower_mm": row.lower_mm, "upper_mm": row.upper_mm}
        for row in intervals.itertuples()
    }
    rows = [
        _quantity_row(version, parts, quantity, found.limit_mm)
        | {"chosen": chosen, "readings": readings}
        | (limits[quantity] if chosen else NO_LIMITS)
        for version, (parts, chosen) in versions.items()
        for quantity in (*COMPONENTS, "gauge_rr", "total_variation")
        if not (version == "interaction pooled" and quantity == "interaction")
    ]
    return pd.DataFrame(rows)


def _quantity_row(
    version: str, parts: GaugeComponents, quantity: str, limit_mm: float
) -> dict[str, object]:
    """Return one quantity of one version."""
    spread = float(getattr(parts, quantity))
    is_gauge = quantity == "gauge_rr"
    categories = parts.distinct_categories
    warning = "estimated below 0, set to 0" if quantity in parts.set_to_zero else ""
    if is_gauge and categories < WANTED_CATEGORIES:
        warning = f"tells only {categories} groups of parts apart"
    return {
        "source": STUDY,
        "version": version,
        "quantity": quantity,
        "standard_deviation_mm": spread,
        "percent_of_total_variation": 100.0 * spread / parts.total_variation,
        "percent_of_tolerance": 100.0 * SPREAD * spread / limit_mm,
        "distinct_categories": float(categories) if is_gauge else np.nan,
        "warning": warning,
    }


def _history_rows(repeats: pd.DataFrame, limit_mm: float | None) -> pd.DataFrame:
    """Return the repeatability of marked repeats, by inspector and tool."""
    spread = repeats["repeatability_mm"]
    return pd.DataFrame(
        {
            "source": HISTORY,
            "quantity": "repeatability",
            "chosen": True,
            "inspector": repeats["inspector"],
            "tool": repeats["tool"],
            "readings": repeats["readings"],
            "standard_deviation_mm": spread,
            "lower_mm": repeats["lower_mm"],
            "upper_mm": repeats["upper_mm"],
            "percent_of_tolerance": 100.0 * SPREAD * spread / (limit_mm or np.nan),
            "warning": repeats["warning"],
        }
    )
