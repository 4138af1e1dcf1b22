"""What a mile on a freshly fitted bushing costs in the long run, by type and duty.

This is the price of using up the bushing that is fitted next: the yardstick that a visit's choice
is held against. It is the age-replacement rate of the life curve where renewing by age saves at
least 2 %, else the rate of running to failure, failing meaning found late at a visit.

Not here: the choice itself; rates under inspections, which a simulation would give.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost
from pivotlife.models.life_curves import FittedCurve, choose_curve
from pivotlife.models.replacement import age_replacement

RATE_COLUMNS: Final = (
    "bushing_type",
    "duty",
    "cost_per_mile",
    "optimal_miles",
    "saving",
    "curve",
    "note",
)


def replacement_rates(
    fits: Mapping[tuple[str, str], FittedCurve],
    bounds: Mapping[str, tuple[float, float]],
    costs: CostItems,
    visit_gap_miles: Mapping[str, float],
) -> pd.DataFrame:
    """Find the long-run cost per mile of every priced type in every duty.

    Parameters
    ----------
    fits : mapping of (bushing type, duty or "all") to a Weibull fit
    bounds : mapping of bushing type to (assumed shape, lowest scale in miles)
        Asked where fewer than five failures stand behind a fit.
    costs : CostItems
    visit_gap_miles : mapping of duty to miles between visits
        Half of it is driven over the limit, on average, before a visit finds it.

    Returns
    -------
    DataFrame
        `RATE_COLUMNS`; cost_per_mile in currency per mile, optimal_miles infinity and a note
        where no practical interval exists. Types without a curve have no row.
    """
    rows = []
    for bushing_type in sorted(costs.parts):
        planned = planned_cost(costs, bushing_type)
        for duty in sorted(visit_gap_miles):
            curve = choose_curve(fits, bounds, bushing_type, duty, draws=1, seed=0)
            if curve is None:
                continue
            late = late_cost(costs, bushing_type, visit_gap_miles[duty] / 2)
            best = age_replacement(curve.shape, curve.scale, planned, late)
            note = "" if best.is_practical else "no practical interval: run to the limit"
            rows.append(
                {
                    "bushing_type": bushing_type,
                    "duty": duty,
                    "cost_per_mile": best.practical_cost_per_mile,
                    "optimal_miles": best.optimal_miles if best.is_practical else float("inf"),
                    "saving": best.saving,
                    "curve": curve.name,
                    "note": "; ".join(filter(None, [note, curve.warning])),
                }
            )
    return pd.DataFrame(rows, columns=list(RATE_COLUMNS))
