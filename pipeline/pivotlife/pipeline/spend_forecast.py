"""The forecast of about a year ago: as it was published then, else made now from what was known.

A run's folder of about a year ago holds its `budget.csv`, and that is what finance was told. Where
there is none the forecast is made as it could have been: the rows known on that day (`past_rows`),
life curves alone (no growth of play, no intervals), the shop working as its records until then say.
That costs a second or two instead of a whole run.

Not here: the comparison (`models.spend_check`).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import pandas as pd

from pivotlife.models.budget import BUDGET_COLUMNS, budget_table
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.demand_months import months_ahead
from pivotlife.models.demand_pivots import demand_pivots
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.growth_table import growth_table
from pivotlife.models.spend_check import SPEND_COLUMNS, spend_check
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline.decision_inputs import curve_book, scale_bounds, sudden_rates
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.histories import Histories, build_histories
from pivotlife.pipeline.known_rows import known_at
from pivotlife.pipeline.past_rows import past_intake, rows_of_export, rows_of_store
from pivotlife.pipeline.publish import WRITING
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.renewal_draws import (
    VISITS_BEYOND,
    gaps_between_visits,
    renewals_ahead,
    shop_habits,
)
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.true_miles import true_miles
from pivotlife.pipeline.visits import next_visits

#: A run this many days old counts as one of a year ago.
_YOUNGEST, _OLDEST = 360, 400
#: Days of readings before that day without which no forecast could have been made.
_LEAST_RECORD: Final = 365
PLANNED: Final = "visits table"
REBUILT: Final = "made now from what was known then"
FROM_STORE: Final = "made now from what the store knew then"


def spend_against_forecast(
    raw: Mapping[str, RawTable],
    placed: Mapping[str, pd.DataFrame],
    costs: CostItems,
    settings: Settings,
    as_of: pd.Timestamp,
    out: Path,
) -> pd.DataFrame:
    """Hold the forecast of about a year ago against the repairs since.

    Parameters
    ----------
    raw : mapping of table name to RawTable
        As read today.
    placed : mapping of table name to DataFrame
        Judged tables with true miles, as known today.
    costs : CostItems
        Today's prices.
    settings : Settings
    as_of : Timestamp
        Today.
    out : Path
        Folder of the runs.

    Returns
    -------
    DataFrame
        `spend_check.SPEND_COLUMNS`; empty where the records do not reach back far enough.
    """
    units = placed["units"].drop_duplicates("unit_id")
    depots = dict(zip(units["unit_id"], units["depot"], strict=True))
    made_on, forecast, origin = published_forecast(out, as_of)
    if forecast is None:
        made_on = as_of - pd.DateOffset(years=1)
        then, origin = rows_then(raw, settings, made_on)
        forecast = rebuilt_forecast(then, costs, settings, made_on)
    if forecast is None:
        return pd.DataFrame(columns=list(SPEND_COLUMNS))
    return spend_check(forecast, placed["repairs"], depots, costs, made_on, as_of, origin)


def published_forecast(
    out: Path, as_of: pd.Timestamp
) -> tuple[pd.Timestamp, pd.DataFrame | None, str]:
    """Find the budget of the run nearest to a year ago, its day, and its name."""
    runs = []
    for file in sorted(out.glob("*/budget.csv")):
        folder = file.parent
        if folder.is_symlink() or folder.name.startswith(WRITING):
            continue
        try:
            day = pd.Timestamp(json.loads((folder / "run.json").read_text("utf-8"))["as_of"])
        except (OSError, ValueError, KeyError, TypeError):
            continue
        age = (as_of - day).days
        if _YOUNGEST <= age <= _OLDEST:
            runs.append((abs(age - 365), day, file))
    for _, day, file in sorted(runs):
        table = _read(file)
        if table is not None:
            return day, table, f"run {file.parent.name}"
    return as_of, None, ""


def _read(file: Path) -> pd.DataFrame | None:
    """Read a published budget; None where it was made by a version that kept less."""
    try:
        table = pd.read_csv(file, dtype={"month": str, "depot": str}, keep_default_na=False)
    except (OSError, ValueError):
        return None
    return table if set(BUDGET_COLUMNS) <= set(table.columns) else None


def rows_then(
    raw: Mapping[str, RawTable], settings: Settings, day: pd.Timestamp
) -> tuple[Mapping[str, pd.DataFrame], str]:
    """Judge the rows that were known on a day, and say where they are from.

    Parameters
    ----------
    raw : mapping of table name to RawTable
        As read today.
    settings : Settings
        They name the store.
    day : Timestamp

    Returns
    -------
    mapping of table name to DataFrame
        Judged tables.
    str
        `FROM_STORE` or `REBUILT`.
    """
    known, begins = rows_of_store(settings, rows_of_export(raw))
    kept = begins is not None and day.date() >= begins
    judged = past_intake(known, day.date()).judged.tables
    return judged, FROM_STORE if kept else REBUILT


def rebuilt_forecast(
    judged: Mapping[str, pd.DataFrame], costs: CostItems, settings: Settings, day: pd.Timestamp
) -> pd.DataFrame | None:
    """Make the budget that could have been made on a past day.

    Parameters
    ----------
    judged : mapping of table name to DataFrame
        Judged tables; rows dated or entered after the day are not used.
    costs : CostItems
    settings : Settings
    day : Timestamp

    Returns
    -------
    DataFrame or None
        `budget.BUDGET_COLUMNS` of twelve months; None with less than a year of readings before
        the day, or no life curve.
    """
    known, _ = known_at(judged, day)
    first = known["readings"]["reading_date"].min()
    if pd.isna(first) or (day - first).days < _LEAST_RECORD:
        return None
    placed = true_miles(known, settings.odometer.daily_maximum)
    histories = build_histories(placed.tables, settings, day)
    visits = next_visits(placed.tables, placed.points, settings, day)
    return _forecast(histories, visits, costs, settings, day)


def _forecast(
    histories: Histories,
    visits: pd.DataFrame,
    costs: CostItems,
    settings: Settings,
    day: pd.Timestamp,
) -> pd.DataFrame | None:
    lives, in_service = histories.lives, histories.in_service
    bounds = scale_bounds(lives, settings.survival.assumed_shape)
    if in_service.empty or not bounds:
        return None
    seed = settings.random.seed
    fits = fit_by_type_and_duty(lives)
    curves = curve_book(lives, fits, settings)
    readings, no_law = growth_readings(histories, seed=seed), GrowthLaws({}, {})
    chances = growth_table(in_service, readings, visits, no_law, curves, VISITS_BEYOND)
    pivots = demand_pivots(in_service, chances, visits, gaps_between_visits(settings), day)
    if pivots.empty:
        return None
    # Stops for grease alone put the next service off in the records, and not on the road.
    planned = visits.loc[visits["visit_source"] == PLANNED, "unit_id"]
    unknown = ~pivots["unit_id"].isin(planned)
    pivots.loc[unknown, ["first_day", "second_day"]] = float("nan")
    habits = shop_habits(histories, visits, settings, day, follows_list=False)
    months = months_ahead(day, 12)
    renewals = renewals_ahead(pivots, curves, sudden_rates(lives), habits, months, seed)
    return budget_table(renewals, pivots, costs, months)
