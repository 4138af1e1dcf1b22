"""Budget, kit demand and warranty of a run, and last year's forecast held against its repairs.

Not here: drawing renewals (`renewal_draws`), the forecast of a year ago (`spend_forecast`).
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Final

import pandas as pd

from pivotlife.models.budget import budget_table
from pivotlife.models.demand_months import months_ahead
from pivotlife.models.demand_pivots import demand_pivots, listed_visits
from pivotlife.models.kit_demand import kit_demand
from pivotlife.models.kit_match import match_kits
from pivotlife.models.warranty import warranty_claims
from pivotlife.pipeline.renewal_draws import gaps_between_visits, renewals_ahead, shop_habits
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.spend_forecast import spend_against_forecast
from pivotlife.pipeline.warranty_bushings import fitted_bushings
from pivotlife.pipeline.work import Work

BUDGET_TABLES: Final = ("budget", "kit_demand", "warranty_claims", "spend_against_forecast")


def budget_tables(
    work: Work, settings: Settings, day: dt.date, out: Path
) -> dict[str, pd.DataFrame]:
    """Make the tables of `BUDGET_TABLES`.

    Parameters
    ----------
    work : Work
    settings : Settings
    day : date
        Today.
    out : Path
        Folder of the runs: a run of about a year ago is looked for there.

    Returns
    -------
    dict of DataFrame
    """
    as_of, records, costs = pd.Timestamp(day), work.records, work.decisions.costs
    tables, histories = records.placed.tables, records.histories
    pivots = demand_pivots(
        histories.in_service,
        work.decisions.outlook,
        records.visits,
        gaps_between_visits(settings),
        as_of,
        listed_visits(work.fleet.shortlist),
    )
    pivots["kit_id"] = _kit_of(pivots, work.fleet.unit_sizes, tables["kits"])
    months = months_ahead(as_of)
    renewals = renewals_ahead(
        pivots,
        work.decisions.curves,
        work.decisions.options.sudden_per_mile,
        shop_habits(histories, records.visits, settings, as_of, follows_list=True),
        months,
        settings.random.seed,
    )
    return {
        "budget": budget_table(renewals, pivots, costs, months),
        "kit_demand": kit_demand(
            renewals, pivots, tables["kits"], months, settings.finance.service_level
        ),
        "warranty_claims": warranty_claims(
            fitted_bushings(histories, tables["repairs"], records.visits, work.decisions.growth),
            tables["kits"],
            as_of,
        ),
        "spend_against_forecast": spend_against_forecast(
            work.intake.raw, tables, costs, settings, as_of, out
        ),
    }


def _kit_of(pivots: pd.DataFrame, sizes: pd.DataFrame, kits: pd.DataFrame) -> pd.Series:
    """Kit of each pivot, "" unless exactly one fits."""
    if kits.empty:
        return pd.Series("", pivots.index, dtype=object)
    return match_kits(pivots.merge(sizes, on="unit_id", how="left"), kits)["kit_id"]
