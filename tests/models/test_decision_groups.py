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


def partitions(rest: list[int]) -> list[list[list[int]]]:
    """Every way to part pivots into later jobs."""
    if not rest:
        return [[]]
    first, others = rest[0], rest[1:]
    found = []
    for k in range(len(others) + 1):
        for company in itertools.combinations(others, k):
            left = [i for i in others if i not in company]
            found += [[[first, *company], *more] for more in partitions(left)]
    return found


def total(members: set[int], gains: np.ndarray) -> float:
    """What a plan costs: the job now, and the cheapest way to renew the others later on."""
    rest = [i for i in range(6) if i not in members]
    later = min(
        sum(job(set(block)) - len(block) * min(gains[block]) for block in blocks)
        for blocks in partitions(rest)
    )
    return job(members) + later


def test_the_chosen_set_is_the_cheapest_of_all() -> None:
    random = np.random.default_rng(4)
    units = []
    for number in range(40):
        due = tuple(int(i) for i in np.flatnonzero(random.random(6) < 0.15))
        gains = random.uniform(5, 500, 6)
        gains[list(due)] = -random.uniform(0, 100, len(due))
        units.append(axle(gains.tolist(), due, f"MD-{number:03}"))
    table = pd.concat(units, ignore_index=True)
    found = grouped(table, COSTS)
    joined = 0
    for unit, rows in found.groupby("unit_id"):
        before = table[table["unit_id"] == unit]
        must = set(np.flatnonzero(before["decision"] == "replace"))
        gains = before["gain"].to_numpy()
        sets = [
            set(members) | must for k in range(7) for members in itertools.combinations(range(6), k)
        ]
        least = min(total(members, gains) for members in sets)
        chosen = set(np.flatnonzero(rows["decision"] == "replace"))
        assert must <= chosen
        assert total(chosen, gains) == pytest.approx(least)
        assert must or not chosen
        joined += len(chosen - must)
    assert joined > 10


def test_three_jobs_by_hand() -> None:
    """Invented prices: kit 55, hours 2, 0.75, 1.1 at 95, once 250 + 137.50; alone 632.50.

    One: left shackle-lower due, its shackle partner worth 300 of waiting. Now together 632.50 + 55
    + 71.25 = 758.75; apart 632.50 + 632.50 - 300 = 965. It joins and saves 632.50 - 126.25 = 506.25
    of set-up.

    Two: the same with the other five worth 300 each. All six now: 7.7 h x 95 + 6 x 55 + 387.50 =
    1,449. The due one now and the five later in one job: 632.50 + (6.95 h x 95 + 5 x 55 + 387.50) -
    5 x 300 = 455.25. Nobody joins, although each by itself would save more than 300.

    Three: the five worth 100 each: 632.50 + 1,322.75 - 500 = 1,455.25 against 1,449. All join.
    """
    one = grouped(axle([900.0, -5.0, 300.0], due=(1,)), COSTS).iloc[2]
    assert (one["decision"], one["setup_saved"]) == ("replace", pytest.approx(506.25))
    assert job({1, 2}) == pytest.approx(758.75)
    assert job(set(range(6))) == pytest.approx(1_449.0)
    assert job({0, 2, 3, 4, 5}) == pytest.approx(1_322.75)
    for worth, joins in ((300.0, False), (100.0, True)):
        gains = [worth, -5.0, worth, worth, worth, worth]
        found = grouped(axle(gains, due=(1,)), COSTS)
        assert (found["decision"] == "replace").sum() == (6 if joins else 1)


def test_no_axle_is_opened_that_has_no_due_pivot() -> None:
    """Three alike, none due: next visit they are renewed together just as well."""
    found = grouped(axle([40.0, 41.0, 42.0]), COSTS)
    assert found["decision"].eq("leave").all()
    assert found["joined_because"].eq("").all()


def test_a_partner_joins_when_its_miles_are_worth_less_than_the_set_up() -> None:
    saved = ALONE - (55.0 + 0.75 * 95.0)
    for gain, joins in ((saved - 1.0, True), (saved + 1.0, False)):
        found = grouped(axle([5_000.0, -5.0, gain], due=(1,)), COSTS)
        assert (found["decision"].iloc[2] == "replace") == joins
        assert found["decision"].iloc[0] == "leave"
    found = grouped(axle([5_000.0, -5.0, saved - 1.0], due=(1,)), COSTS).iloc[2]
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
