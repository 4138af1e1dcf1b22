"""Renewals of the months ahead, drawn for this fleet: its intervals, its habits, how many draws.

Not here: the draws themselves (`models.demand_rounds`), what is made of them (`budget_work`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.demand_lives import prospects
from pivotlife.models.demand_months import Months
from pivotlife.models.demand_rounds import Habits, Renewals, draw_renewals
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.shop_habits import join_shares, look_shares
from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.settings import Settings

#: Visits beyond the next two of which a pivot's chance is asked; later ones follow life curves.
VISITS_BEYOND: Final = 9
#: Laws drawn from what the records allow; draws are a multiple of them.
LAWS: Final = 20
_MOST_DRAWS, _LEAST_DRAWS, _PIVOT_DRAWS = 400, 60, 1_200_000


def gaps_between_visits(settings: Settings) -> dict[str, float]:
    """Miles between services by duty."""
    return {str(duty): interval.pm_miles for duty, interval in settings.intervals.items()}


def shop_habits(
    histories: Histories,
    visits: pd.DataFrame,
    settings: Settings,
    as_of: pd.Timestamp,
    *,
    follows_list: bool,
) -> Habits:
    """Read the shop's habits off its records; who follows the list looks as often as it asks."""
    look = look_shares(
        histories.readings, histories.lives, visits, gaps_between_visits(settings), as_of
    )
    if follows_list:
        asked = {
            str(duty): interval.pm_miles / interval.longest_gap_between_readings
            for duty, interval in settings.intervals.items()
        }
        look = {duty: min(1.0, max(share, asked[duty])) for duty, share in look.items()}
    return Habits(look, join_shares(histories.lives), follows_list=follows_list)


def renewals_ahead(
    pivots: pd.DataFrame,
    curves: CurveBook,
    sudden: Mapping[str, float],
    habits: Habits,
    months: Months,
    seed: int,
) -> Renewals:
    """Draw the renewals of the months ahead; large fleets need fewer draws."""
    fit = _PIVOT_DRAWS // max(len(pivots), 1) // LAWS * LAWS
    draws = int(np.clip(fit, _LEAST_DRAWS, _MOST_DRAWS))
    known = prospects(pivots, curves, dict(sudden), LAWS)
    return draw_renewals(
        pivots,
        known,
        habits,
        horizon_days=months.horizon_days,
        draws=draws,
        laws=LAWS,
        seed=seed,
    )
