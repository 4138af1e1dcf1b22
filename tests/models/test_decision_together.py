"""Axles opened early: one by hand, what never is, and whole futures of a small axle."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from axle_futures import Futures, ageing, wearing
from axle_rules import long_run, renewed
from pivotlife.models.decision_costs import late_cost, planned_cost
from pivotlife.models.decision_groups import grouped
from pivotlife.models.decision_together import RULE, opened_together
from prices import COSTS

ALONE = planned_cost(COSTS, "threaded")
LATE = late_cost(COSTS, "threaded", 12_500.0) - ALONE
SHACKLE = (("left", "shackle-lower"), ("left", "shackle-upper"))


def pair(wait: float, kept: float, **over: Any) -> pd.DataFrame:
    """Two pivots of a shackle that would each wait one visit more."""
    rows = {
        "unit_id": "MD-001",
        "axle": 1.0,
        "side": ["left", "left"],
        "node": ["shackle-lower", "shackle-upper"],
        "pivot_id": ["MD-001.1.left.shackle-lower", "MD-001.1.left.shackle-upper"],
        "bushing_type": "threaded",
        "decision": "leave",
        "rule": "waiting-costs-less",
        "mandatory": False,
        "wait_cost": wait,
        "kept_value": kept,
        "gain": kept - wait,
        "visits_waited": 1,
        "visit_miles": 300_000.0,
        "next_visit_miles": 325_000.0,
        "reason": "Because.",
    }
    return pd.DataFrame(rows | over)


def test_two_that_share_a_set_up_by_hand() -> None:
    """Alone 632.50, both 758.75: of 632.50 + late a pivot's part is 379.38 + late."""
    share = (758.75 + 2 * LATE) / (2 * ALONE + 2 * LATE)
    assert opened_together(pair(share * 100.0 + 1.0, 100.0), COSTS)["rule"].eq(RULE).all()
    assert opened_together(pair(share * 100.0 - 1.0, 100.0), COSTS)["decision"].eq("leave").all()
    found = opened_together(pair(share * 100.0 + 1.0, 100.0), COSTS).iloc[0]
    assert found["decision"] == "replace"
    assert found["setup_saved"] == pytest.approx((1.0 - share) * 100.0)
    assert found["joined_because"] == "opens the axle with left shackle-upper"
    told = f"in one job their miles are worth USD {200 * share:,.0f} and not USD 200"
    assert told in found["reason"]


@pytest.mark.parametrize(
    "over",
    [
        {"rule": ["waiting-costs-less", "uncertain"]},
        {"rule": ["no-recent-reading", "waiting-costs-less"]},
        {"visits_waited": [1, 3]},
        {"gain": [5.0, float("nan")]},
        {"pivot_id": ["MD-001.1.left.shackle-lower", ""]},
        {"axle": [1.0, 2.0]},
        {"mandatory": [False, True]},
    ],
)
def test_what_is_not_known_enough_opens_nothing(over: dict[str, Any]) -> None:
    found = opened_together(pair(99.0, 100.0, **over), COSTS)
    assert found["decision"].eq("leave").all()
    assert found["joined_because"].eq("").all()


def test_an_axle_with_a_due_pivot_is_left_to_the_joining_rule() -> None:
    rules = ["waiting-costs-more", "waiting-costs-less"]
    table = pair(99.0, 100.0, decision=["replace", "leave"], rule=rules)
    opened = opened_together(table, COSTS)
    assert opened["rule"].tolist() == table["rule"].tolist()
    assert grouped(opened, COSTS).iloc[1]["rule"] == "joins-job"


def test_whole_futures_of_a_pair_cost_no_more_for_opening_early() -> None:
    """Exact long-run cost of two pivots of a shackle, all futures, against the best rule there is.

    On a life curve alone (shape 3) waiting for one to be due by itself costs 0.7 % more than the
    best rule; with wear read at each visit nothing to speak of.
    """
    for moves, gained in ((ageing(3.0, 400_000.0, 25), 0.005), (wearing(2.0, 0.8, 20), -0.0005)):
        futures = Futures(moves, SHACKLE, COSTS)
        rate = long_run(moves, COSTS)
        late, early = (
            futures.rate(renewed(moves, SHACKLE, COSTS, rate, early=early))
            for early in (False, True)
        )
        best = futures.rate()
        assert best <= early * (1 + 1e-9)
        assert early <= late * (1.0 - gained)
        assert early < 1.02 * best
