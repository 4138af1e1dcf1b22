"""What a mile of a newly fitted bushing costs under the list's own rule, and what that rests on.

Not here: the simulation (`models.decision_rates`), counting readings (`models.reading_shares`).
"""

from __future__ import annotations

from typing import Final

import pandas as pd

from pivotlife.models.decision_costs import CostItems
from pivotlife.models.decision_rates import replacement_rates, simulated_rates
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.reading_shares import SHARE_COLUMNS, reading_shares, share_of
from pivotlife.pipeline.decision_inputs import sudden_rates
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Records

LONG_RUN_COLUMNS: Final = (
    *("bushing_type", "duty", "cost_per_mile", "how"),
    *("share_read", "readings", "visits", "share_source"),
)
SIMULATED: Final = "growth of play, simulated"
BY_AGE: Final = "life curve, renewed by age"


def long_run_costs(
    records: Records,
    curves: CurveBook,
    readings: pd.DataFrame,
    laws: GrowthLaws,
    costs: CostItems,
    settings: Settings,
) -> pd.DataFrame:
    """Find the long-run cost of a mile of every priced type in every duty.

    Parameters
    ----------
    records : Records
    curves : CurveBook
    readings : DataFrame
        From `growth_readings`.
    laws : GrowthLaws
        Where one speaks, the cost comes from the rule itself, simulated with as many readings as
        the fleet takes.
    costs : CostItems
    settings : Settings

    Returns
    -------
    DataFrame
        `LONG_RUN_COLUMNS`; cost_per_mile in currency per mile. Types of which nothing is known
        have no row; the share read is that of the fleet, also where no simulation asks for it.
    """
    lives, here = records.histories.lives, records.histories.in_service
    gaps = {str(duty): interval.pm_miles for duty, interval in settings.intervals.items()}
    given = {
        str(duty): interval.visits_read
        for duty, interval in settings.intervals.items()
        if interval.visits_read is not None
    }
    shares = reading_shares(readings, lives, records.visits, gaps, given)
    by_age = {
        (str(row["bushing_type"]), str(row["duty"])): float(row["cost_per_mile"])
        for row in replacement_rates(curves, costs, gaps).to_dict("records")
    }
    limits = here.groupby("bushing_type")["limit_mm"].median().dropna()
    simulated = simulated_rates(
        laws,
        {str(kind): float(limit) for kind, limit in limits.items()},
        costs,
        sudden_rates(lives),
        gaps,
        by_age,
        share_of(shares),
        seed=settings.random.seed,
    )
    rows = [
        (kind, duty, rate, SIMULATED if (kind, duty) in simulated else BY_AGE)
        for (kind, duty), rate in sorted((by_age | simulated).items())
    ]
    table = pd.DataFrame(rows, columns=list(LONG_RUN_COLUMNS[:4]))
    table = table.merge(shares, on=list(SHARE_COLUMNS[:2]), how="left")
    return table.fillna({"share_source": ""})[list(LONG_RUN_COLUMNS)]
