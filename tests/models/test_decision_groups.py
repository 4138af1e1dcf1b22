"""One opened axle: the cheapest set against brute force, and what may never join."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.decision_costs import planned_cost
from pivotlife.models.decision_groups import grouped
from prices import COSTS

SIX = list(itertools.product(("left", "right"), ("fixed-eye", "shackle-lower", "shackle-upper")))
ALONE = planned_cost(COSTS, "threaded")


def axle(gains: list[float], due: tuple[int, ...] = (), unit: str = "MD-001") -> pd.DataFrame:
    frame = pd.DataFrame(SIX, columns=["side", "node"]).iloc[: len(gains)]
    order = range(len(gains))
    return frame.assign(
        unit_id=unit,
        axle=1.0,
        pivot_id=[f"{unit}.1.{side}.{node}" for side, node in SIX[: len(gains)]],
        bushing_type="threaded",
        decision=["replace" if i in due else "leave" for i in order],
        rule=["waiting-costs-more" if i in due else "waiting-costs-less" for i in order],
        mandatory=False,
        gain=gains,
        reason="Because.",
    )


def job(members: set[int]) -> float:
    """Cost of a job as the shop would add it up, without the product's code."""
    if not members:
        return 0.0
    hours = 0.0
    for side in ("left", "right"):
        nodes = [SIX[i][1] for i in sorted(members) if SIX[i][0] == side]
        shackles = sum(node.startswith("shackle") for node in nodes)
        for place, node in enumerate(sorted(nodes, reverse=True)):
            if place == 0:
                hours += 2.0
            elif node.startswith("shackle") and shackles == 2:
                hours += 0.75
            else:
                hours += 1.1
    return hours * 95.0 + 55.0 * len(members) + 250.0 + 0.25 * 550.0


def test_the_chosen_set_is_the_cheapest_of_all() -> None:
    random = np.random.default_rng(4)
    units = []
    for number in range(60):
        due = tuple(int(i) for i in np.flatnonzero(random.random(6) < 0.15))
        gains = random.uniform(50, 700, 6)
        gains[list(due)] = -random.uniform(0, 100, len(due))
        units.append(axle(gains.tolist(), due, f"MD-{number:03}"))
    table = pd.concat(units, ignore_index=True)
    found = grouped(table, COSTS)
    joined_alone = 0
    for unit, rows in found.groupby("unit_id"):
        before = table[table["unit_id"] == unit]
        must = set(np.flatnonzero(before["decision"] == "replace"))
        worth = ALONE - before["gain"].to_numpy()
        sets = [
            set(members) | must for k in range(7) for members in itertools.combinations(range(6), k)
        ]

        def total(members: set[int], must: set[int] = must, worth: np.ndarray = worth) -> float:
            return job(members) - sum(worth[i] for i in members - must)

        least = min(total(members) for members in sets)
        chosen = set(np.flatnonzero(rows["decision"] == "replace"))
        assert must <= chosen
        assert total(chosen) == pytest.approx(least)
        joined_alone += bool(chosen and not must)
    assert joined_alone > 0


def test_a_partner_joins_when_its_miles_are_worth_less_than_the_set_up() -> None:
    saved = ALONE - (55.0 + 0.75 * 95.0)
    for gain, joins in ((saved - 1.0, True), (saved + 1.0, False)):
        found = grouped(axle([900.0, -5.0, gain], due=(1,)), COSTS)
        assert (found["decision"].iloc[2] == "replace") == joins
        assert found["decision"].iloc[0] == "leave"
    found = grouped(axle([900.0, -5.0, saved - 1.0], due=(1,)), COSTS).iloc[2]
    assert found["rule"] == "joins-job"
    assert found["setup_saved"] == pytest.approx(saved)
    assert found["joined_because"] == "joins the job on left shackle-lower"
    assert f"saves USD {saved:,.0f} of set-up against USD {saved - 1:,.0f}" in found["reason"]
    alone = grouped(axle([900.0, -5.0, 900.0], due=(1,)), COSTS)
    assert alone["joined_because"].eq("").all()
    assert alone["setup_saved"].isna().all()


def test_what_is_not_known_enough_never_joins() -> None:
    for rule in ("no-recent-reading", "early-life", "no-estimate", "last-reading-doubted"):
        table = axle([0.0, -5.0, 0.0], due=(1,)).assign(
            rule=["waiting-costs-less", "waiting-costs-more", rule]
        )
        found = grouped(table, COSTS)
        assert found["decision"].tolist() == ["replace", "replace", "leave"]
    unknown = grouped(axle([np.nan, -5.0, 0.0], due=(1,)), COSTS)
    assert unknown["decision"].tolist() == ["leave", "replace", "replace"]


def test_safety_orders_open_the_axle_and_stay_as_they_are() -> None:
    table = axle([1.0, 1.0, 900.0]).assign(
        decision=["park", "measure", "leave"],
        rule=["broken", "refuses-grease", "waiting-costs-less"],
        mandatory=[True, True, False],
    )
    found = grouped(table, COSTS)
    assert found["decision"].tolist() == ["park", "measure", "leave"]
    near = grouped(table.assign(gain=[1.0, 1.0, 10.0]), COSTS)
    assert near["decision"].tolist() == ["park", "measure", "replace"]
    assert near["joined_because"].iloc[2] == "joins the job on left fixed-eye"


def test_axles_and_units_do_not_mix() -> None:
    one = axle([-5.0], due=(0,))
    other = axle([10.0], unit="MD-002")
    second = axle([10.0]).assign(axle=2.0, pivot_id="MD-001.2.left.fixed-eye")
    found = grouped(pd.concat([one, other, second], ignore_index=True), COSTS)
    assert found["decision"].tolist() == ["replace", "leave", "leave"]
