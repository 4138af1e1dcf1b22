"""One unit through the three places that price a conversion, with the same laws and prices.

The shortlist's offer (`conversion_offers`) counts renewals by the renewal function, each at the
cost of an end by itself. Lifetime cost drives trucks from visit to visit: the fleet's as they stand
(`unit_conversion`), or new ones (`lifetime_cost`). Where no set-up is shared, a late finding costs
no more than a planned one and visits are close, the three must agree; what parts them otherwise is
known: later jobs share set-ups, bushings serve on until a visit finds them, and nothing is renewed
at the sale.
"""

from __future__ import annotations

from dataclasses import replace
from math import lgamma
from typing import Any

import numpy as np
import pandas as pd
import pytest

from cost_lives import MONEY, NEVER, WORK, life
from pivotlife.models.conversion_lives import ConversionLives, LifeDraws
from pivotlife.models.conversion_offers import ConversionTerms, Counts, axle_offers
from pivotlife.models.cost_policy import TypeLife
from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost
from pivotlife.models.lifetime_cost import DutyWork, Money, duty_cost
from pivotlife.models.replacement import age_replacement
from pivotlife.models.truck_miles import PLACES
from pivotlife.models.unit_conversion import fleet_cost

MILES = 300_000.0
DRAWS = 1
OWN = life("rubber-bonded", 3.0, 120_000.0, draws=DRAWS, spread=0.0)
OTHER = life("roller", 2.5, 260_000.0, draws=DRAWS, spread=0.0)
TRUCKS = 2_000
PLAIN = replace(MONEY, discount_rate=0.0, price_escalation=0.0)
#: Nothing is shared, and late is no dearer than planned.
BARE = PLAIN.with_figures(
    **{
        "hours.same_shackle": 2.0,
        "hours.same_side": 2.0,
        "alignment": 0.0,
        "downtime_days.planned": 0.0,
        "downtime_days.late": 0.0,
        "tyre_loss_per_mile_over": 0.0,
        "chance_roadside_when_over": 0.0,
    }
)


def items(money: Money) -> CostItems:
    """The same prices as the shortlist has them."""
    figures = money.figures
    types = ("rubber-bonded", "threaded", "roller")
    same = ("shop_rate", "alignment", "downtime_per_day", "roadside", "tow", "tyre_pair")
    return CostItems(
        currency="USD",
        parts={kind: figures[f"parts.{kind}"] for kind in types},
        hours_first_pivot=figures["hours.first_pivot"],
        hours_same_shackle=figures["hours.same_shackle"],
        hours_same_side=figures["hours.same_side"],
        **{name: figures[name] for name in same},
        **{f"downtime_days_{n}": figures[f"downtime_days.{n}"] for n in ("planned", "late")},
        downtime_days_roadside=figures["downtime_days.roadside"],
        tyre_loss_per_mile_over=figures["tyre_loss_per_mile_over"],
        chance_roadside_when_over=figures["chance_roadside_when_over"],
    )


def offered(work: DutyWork, money: Money) -> float:
    """The shortlist's saving: all six pivots are due, the other type goes in instead."""
    costs = items(money)

    def lives(one: TypeLife) -> LifeDraws:
        planned = planned_cost(costs, one.bushing_type)
        late = late_cost(costs, one.bushing_type, work.gap_miles / 2.0)
        rate = age_replacement(one.shape, one.scale, planned, late).practical_cost_per_mile
        mean = float(one.scale * np.exp(lgamma(1.0 + 1.0 / one.shape)))
        return LifeDraws(one.shapes, one.scales, float(np.clip(rate * mean, planned, late)))

    axle = pd.DataFrame(
        {
            "unit_id": "A",
            "pivot_id": [f"A.1.{side}.{node}" for side, node in PLACES],
            "axle": 1,
            "side": [side for side, _ in PLACES],
            "node": [node for _, node in PLACES],
            "bushing_type": OWN.bushing_type,
            "decision": "replace",
            "mandatory": False,
            "postponed": "",
            "duty": work.duty,
            "miles_left": work.horizon_miles,
            "age_miles": 100_000.0,
        }
    )
    known = ConversionLives(
        {(OWN.bushing_type, work.duty): lives(OWN)},
        {(OWN.bushing_type, OTHER.bushing_type, work.duty): lives(OTHER)},
    )
    terms = ConversionTerms(
        money.figures["hours.conversion"],
        money.figures["hours.lube_visit"],
        {work.duty: work.lube_miles},
        {work.duty: work.gap_miles},
        {"A": work.compliance},
    )
    found = axle_offers(axle, axle, Counts(known, work.horizon_miles), costs, terms)
    return float(next(o for o in found if o.kind == OTHER.bushing_type).saving.mean())


def as_it_stands(work: DutyWork, money: Money) -> tuple[float, float]:
    """Lifetime cost's saving for a unit whose six pivots are renewed at its next stop; error."""
    pivots = pd.DataFrame(
        {
            "unit_id": "A",
            "axle": 1,
            "side": [side for side, _ in PLACES],
            "node": [node for _, node in PLACES],
            "bushing_type": OWN.bushing_type,
            "age_miles": 100_000.0,
            "good_miles": 90_000.0,
            "is_over": True,
        }
    )
    state: dict[str, Any] = {"unit_id": "A", "depot": "Northpit", "duty": work.duty}
    state |= {"miles_left": work.horizon_miles, "annual_miles": work.annual_miles}
    made = fleet_cost(
        pivots,
        pd.DataFrame([{**state, "first_visit_miles": 1.0}]),
        {work.duty: work},
        {work.duty: (OWN, OTHER)},
        {work.duty: {OWN.bushing_type: NEVER, OTHER.bushing_type: NEVER}},
        money,
        repetitions_at_most=TRUCKS,
    )
    row = made.conversions.iloc[0]
    # Eight in ten lie between P10 and P90: 2.563 standard deviations of a normal law.
    return float(row["saving"]), (row["saving_p90"] - row["saving_p10"]) / 2.563 / TRUCKS**0.5


def on_new(work: DutyWork, money: Money) -> tuple[float, float]:
    """Lifetime cost's saving for trucks that begin with six new bushings; error."""
    held = {OWN.bushing_type: NEVER, OTHER.bushing_type: NEVER}
    made = duty_cost(work, (OWN, OTHER), money, held=held, trucks_per_draw=TRUCKS)
    whole = made.whole(money)
    saved = whole[0] - whole[1]
    return float(saved.mean()), float(saved.std() / TRUCKS**0.5)


def work_of(gap: float) -> DutyWork:
    return replace(
        WORK, gap_miles=gap, horizon_miles=MILES, reference_type=OWN.bushing_type, lube_miles=500.0
    )


def test_the_three_agree_where_nothing_is_shared_and_visits_are_close() -> None:
    """Visits every 2,000 miles; grease due every 500, so that the stops' sum is in it as well."""
    work = work_of(2_000.0)
    money = BARE.with_figures(**{"hours.lube_visit": 0.02})
    offer = offered(work, money)
    stands, error = as_it_stands(work, money)
    new, new_error = on_new(work, money)
    assert stands == pytest.approx(new, abs=4 * np.hypot(error, new_error))
    # Half a gap is served beyond each end and none is renewed in the last one: 1 % of renewals.
    assert offer == pytest.approx(stands, abs=4 * error + 0.01 * abs(offer))


def apart(gap: float, **prices: float) -> tuple[float, float]:
    """How much more the unit's own saving is than the offer's, and the error of that."""
    work, money = work_of(gap), BARE.with_figures(**{"hours.lube_visit": 0.0}, **prices)
    stands, error = as_it_stands(work, money)
    return stands - offered(work, money), error


def test_each_reason_parts_them_in_its_own_direction() -> None:
    """From the case in which they agree, one thing is made real at a time.

    Lifetime cost is right on the first two, which the offer leaves out and says so. The third is
    the marks: renewed when found over, as here, every end of the shorter life is a late one; the
    offer prices ends as a rule has them that renews in time, as chosen marks have.
    """
    shared = {"hours.same_shackle": 0.5, "hours.same_side": 1.0, "alignment": 240.0}
    more, error = apart(2_000.0, **shared)
    assert more < -4 * error
    more, error = apart(30_000.0)
    assert more < -4 * error
    more, error = apart(2_000.0, chance_roadside_when_over=0.2)
    assert more > 4 * error


def test_two_sums_of_lifetime_cost_agree_at_full_prices() -> None:
    """Converted at once or new from the start: the same trucks, whatever is shared or late."""
    work, money = work_of(15_000.0), PLAIN.with_figures(**{"hours.lube_visit": 0.02})
    (stands, error), (new, new_error) = as_it_stands(work, money), on_new(work, money)
    assert stands == pytest.approx(new, abs=4 * np.hypot(error, new_error))
    assert offered(work, money) > stands > 0.0
