"""What the fleet's own records tell a trial: curves, looks, likeness, sales, miles to come.

Not here: the trial itself (`models.trial`), the command (`trial_plan`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.decidable import decidable, failures_per_month
from pivotlife.models.fair_comparison import FairComparison
from pivotlife.models.redrawn_lives import likeness, usual_gap
from pivotlife.models.weibull import WeibullFit
from pivotlife.pipeline.work import Records

DAYS_A_MONTH: Final = 365.25 / 12.0


@dataclass(frozen=True)
class FleetHabits:
    """How this fleet runs, looks and sells.

    Attributes
    ----------
    pivots : int
        Pivots in service on a typical unit.
    miles_per_month : float
        Of a typical unit.
    visit_miles : float
        Miles between the look that found a failure and the one before, typically.
    likeness : float
        How alike lives of one truck are, 0 to 0.9.
    sold_per_mile : float
        Units that left the fleet for each mile on record.
    """

    pivots: int
    miles_per_month: float
    visit_miles: float
    likeness: float
    sold_per_mile: float


def bushings_in_service(records: Records) -> pd.DataFrame:
    """List the bushings in service of known age with the pace of their unit.

    Returns
    -------
    DataFrame
        `unit_id, bushing_type, duty, age_miles, miles_per_month`; NaN where not known.
    """
    here = records.histories.in_service
    visits = records.visits.set_index("unit_id").reindex(here["unit_id"])
    return pd.DataFrame(
        {
            "unit_id": here["unit_id"].to_numpy(),
            "bushing_type": here["bushing_type"].to_numpy(),
            "duty": here["duty"].to_numpy(),
            "age_miles": visits["miles_now"].to_numpy(dtype=np.float64)
            - here["fitted_miles"].to_numpy(dtype=np.float64),
            "miles_per_month": visits["miles_per_day"].to_numpy(dtype=np.float64) * DAYS_A_MONTH,
        }
    )


def decidable_table(
    records: Records, fits: Mapping[tuple[str, str], WeibullFit], fair: FairComparison
) -> pd.DataFrame:
    """Say of each comparison under way what it excludes already and when it will be decided."""
    rates = failures_per_month(bushings_in_service(records), fits)
    return decidable(fair.ratios, fair.balance, rates)


def fleet_habits(records: Records, fits: tuple[WeibullFit, WeibullFit], duty: str) -> FleetHabits:
    """Read off the records how trucks of a trial would run.

    Parameters
    ----------
    records : Records
    fits : tuple of WeibullFit
        Of the two types; how alike lives of a truck are is their mean, weighted by failures.
    duty : str
        A duty, or "all".
    """
    here = bushings_in_service(records)
    own = here if duty == "all" else here[here["duty"] == duty]
    failures = np.array([fit.n_failures for fit in fits], dtype=np.float64)
    gaps = np.array([usual_gap(fit.lives) for fit in fits])
    alike = np.array([likeness(fit) for fit in fits])
    pace = own.drop_duplicates("unit_id")["miles_per_month"].median()
    return FleetHabits(
        pivots=int(own.groupby("unit_id").size().median()) if len(own) else 1,
        miles_per_month=float(pace),
        visit_miles=float(np.average(gaps, weights=failures)),
        likeness=float(np.average(alike, weights=failures)),
        sold_per_mile=_sold_per_mile(records, duty),
    )


def _sold_per_mile(records: Records, duty: str) -> float:
    """Return how many units left the fleet for each mile that units ran on record."""
    units = records.placed.tables["units"].drop_duplicates("unit_id")
    if duty != "all":
        units = units[units["duty"] == duty]
    points = records.placed.points
    ran = points[points["unit_id"].isin(units["unit_id"])].groupby("unit_id")["true_miles"]
    miles = float((ran.max() - ran.min()).sum())
    return float(units["left_fleet_date"].notna().sum()) / miles if miles > 0.0 else 0.0
