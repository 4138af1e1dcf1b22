"""What a mile on a freshly fitted bushing costs in the long run, by type and duty.

This is the price of using up the bushing that is fitted next: the yardstick that a visit's choice
is held against. Where growth of play speaks, it is what the rule itself costs on bushings of that
law, with visits of which as many bring a reading as the fleet's do (`policy_rates`,
`reading_shares`): a fleet that hardly reads cannot know when a bushing is due, and each of its
miles is dearer for it. Elsewhere it is the age-replacement rate of the life curve where renewing by
age saves at least 2 %, else the rate of running to failure, failing meaning found late at a visit;
the simulation starts from that rate, too.

Not here: the choice itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost, road_cost
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.policy_paths import draw_paths
from pivotlife.models.policy_rates import Prices, limit_rate, rule_rate
from pivotlife.models.replacement import age_replacement

#: Bushings drawn for the long-run cost of one type in one duty.
DRAWN_BUSHINGS: Final = 200
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
    curves: CurveBook,
    costs: CostItems,
    visit_gap_miles: Mapping[str, float],
) -> pd.DataFrame:
    """Find the long-run cost per mile of every priced type in every duty.

    Parameters
    ----------
    curves : CurveBook
        The same that the chances go by.
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
            curve = curves.curve(bushing_type, duty)
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


def simulated_rates(
    laws: GrowthLaws,
    limits: Mapping[str, float],
    costs: CostItems,
    sudden: Mapping[str, float],
    visit_gap_miles: Mapping[str, float],
    start: Mapping[tuple[str, str], float],
    share_read: Mapping[tuple[str, str], float],
    *,
    seed: int = 0,
) -> dict[tuple[str, str], float]:
    """Find the long-run cost per mile under the rule, for types and duties with a growth law.

    Parameters
    ----------
    laws : GrowthLaws
    limits : mapping of bushing type to mm
        Types without one are left out.
    costs : CostItems
    sudden : mapping of bushing type to rate per mile
        Of failing without warning.
    visit_gap_miles : mapping of duty to miles between visits
    start : mapping of (bushing type, duty) to currency per mile
        Where the rounds begin; a cell without one begins at running to the limit.
    share_read : mapping of (bushing type, duty) to share
        Visits at which play is read; a cell without one is read at all.
    seed : int

    Returns
    -------
    dict of (bushing type, duty) to currency per mile
    """
    found = {}
    for kind in sorted(costs.parts):
        for duty in sorted(visit_gap_miles):
            law, _ = laws.law(kind, duty)
            limit = limits.get(kind, float("nan"))
            if law is None or not limit > 0:
                continue
            gap = visit_gap_miles[duty]
            prices = Prices(
                planned=planned_cost(costs, kind),
                late=late_cost(costs, kind, gap / 2),
                road=road_cost(costs, kind),
                sudden_per_mile=sudden.get(kind, 0.0),
            )
            read = share_read.get((kind, duty), 1.0)
            begin = start.get((kind, duty))
            found[kind, duty] = simulated_rate(
                law.growth.law_, limit, gap, prices, read, start=begin, seed=seed
            )
    return found


def simulated_rate(
    law: GrowthLaw,
    limit_mm: float,
    gap_miles: float,
    prices: Prices,
    share_read: float,
    *,
    start: float | None = None,
    width_mm: float = 0.0254,
    seed: int = 0,
) -> float:
    """Find the long-run cost per mile under the rule on bushings of one law.

    Parameters
    ----------
    law : GrowthLaw
    limit_mm : float, mm
    gap_miles : float, miles
        Between visits.
    prices : Prices
    share_read : float, 0 to 1
        Share of visits at which play is read.
    start : float, currency per mile, optional
        Where the rounds begin; left out: at running to the limit.
    width_mm : float, mm
        To which readings are rounded.
    seed : int

    Returns
    -------
    float, currency per mile
    """
    drawn = draw_paths(
        *(law, limit_mm, gap_miles),
        paths=DRAWN_BUSHINGS,
        width_mm=width_mm,
        seed=seed,
        share_read=share_read,
    )
    return rule_rate(drawn, prices, start or limit_rate(drawn, prices))
