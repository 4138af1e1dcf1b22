"""One past day: what was known, what the list would have said, as forecasts.

The same stages as a run, without what a list does not need: no bootstraps, curves, checks or fair
comparison. A person's word (overrides), kits and room in the shop are left out: they are today's.

Not here: which days (`backtest`), what happened afterwards (`backtest_looks`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from pivotlife.models.growth_cells import GrowthLaws, fit_laws
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline import stages
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Decisions, Intake, Records

_FROM_SHORTLIST = ("pivot_id", "decision", "rule", "mandatory")
_FROM_GROWTH = (
    *("pivot_id", "method", "readings_used", "age_miles"),
    *("chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit"),
)
_FROM_SERVICE = (
    *("pivot_id", "unit_id", "depot", "duty", "axle", "side", "node", "bushing_type"),
    *("limit_mm", "last_reading_miles"),
)
_FROM_VISITS = (
    *("unit_id", "miles_now", "visit_date", "visit_miles", "next_visit_date"),
    "next_visit_miles",
)


@dataclass(frozen=True)
class Standing:
    """A past day's list.

    Attributes
    ----------
    forecasts : DataFrame
        One row per pivot in service that day, as `models.backtest_pairs.pair_up` takes them,
        with `age_miles`.
    laws : GrowthLaws
        The growth laws the list rests on.
    rates : mapping of (bushing type, duty) to currency per mile
        What a mile of a bushing's life was worth.
    """

    forecasts: pd.DataFrame
    laws: GrowthLaws
    rates: Mapping[tuple[str, str], float]


def stand_on(
    day: dt.date, intake: Intake, settings: Settings, laws: GrowthLaws | None = None
) -> Standing:
    """Make the list of a past day.

    Parameters
    ----------
    day : date
    intake : Intake
        What was known then (`past_rows`).
    settings : Settings
        Today's; overrides are not read.
    laws : GrowthLaws, optional
        Of an earlier standing day, to be used again; fitted anew when left out.

    Returns
    -------
    Standing
    """
    quiet = Progress(stages.COUNT, quiet=True)
    records = stages.build(intake, settings, day, quiet)
    lives = records.histories.lives
    readings = growth_readings(records.histories, seed=settings.random.seed)
    if laws is None:
        laws = fit_laws(readings, lives, seed=settings.random.seed)
    made = stages.decided(records, fit_by_type_and_duty(lives), readings, laws, settings)
    return Standing(_forecasts(day, records, made), laws, made.options.rates)


def _forecasts(day: dt.date, records: Records, made: Decisions) -> pd.DataFrame:
    histories = records.histories
    table = histories.in_service[list(_FROM_SERVICE)]
    table = table.merge(made.growth[list(_FROM_GROWTH)], on="pivot_id")
    told = made.shortlist.loc[made.shortlist["pivot_id"] != "", list(_FROM_SHORTLIST)]
    table = table.merge(told.drop_duplicates("pivot_id"), on="pivot_id")
    table = table.merge(records.visits[list(_FROM_VISITS)], on="unit_id")
    unit_orders = made.orders.loc[made.orders["pivot_id"] == "", "unit_id"]
    renewals = histories.renewals[["pivot_id", "date"]].drop_duplicates()
    known = renewals.groupby("pivot_id").size()
    return table.assign(
        standing_date=pd.Timestamp(day),
        held=table["mandatory"] | table["unit_id"].isin(unit_orders),
        renewals_known=table["pivot_id"].map(known).fillna(0).astype(int),
    ).drop(columns="mandatory")
