"""The budget adds up: hours as on the shortlist, cash apart from downtime, sums with own bands."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.budget import BUDGET_COLUMNS, budget_table, renewal_amounts, total
from pivotlife.models.decision_jobs import labour_hours
from pivotlife.models.demand_months import months_ahead
from pivotlife.models.demand_rounds import FOUND_OVER, ON_ROAD, SHORTLIST, Habits, Renewals
from pivotlife.models.planned_cost import planned_work

MONTHS = months_ahead(pd.Timestamp("2026-06-30"))
FOLLOWS = Habits({}, (0.0, 0.0, 0.0), follows_list=True)


def listed_fleet(demand: ModuleType) -> tuple[pd.DataFrame, Renewals]:
    """A list of one unit whole, one with three pivots, one with none; nothing else wears."""
    curve = demand.OneCurve(2.0, 1e12)
    table = demand.pivots(curve, units=3, gap=3_000.0)
    table["listed"] = [0] * 6 + [0, -1, 0, 0, -1, -1] + [-1] * 6
    return table, demand.draw(table, curve, FOLLOWS, draws=4)


def test_the_shortlist_costs_what_it_is_planned_to_cost(
    demand: ModuleType, work: ModuleType
) -> None:
    table, drawn = listed_fleet(demand)
    budget = budget_table(drawn, table, work.COSTS, MONTHS)
    lines = table[table["listed"] == 0].assign(decision="replace", visit_date=pd.NaT)
    lines["labour_hours"] = labour_hours(lines, work.COSTS)
    planned = planned_work(lines, work.COSTS)
    for item in (
        "labour_hours",
        "parts",
        "labour",
        "alignment",
        "cash",
        "downtime_days",
        "downtime",
    ):
        row = total(budget, item, "12 months")
        assert row["expected"] == pytest.approx(planned[item].sum())
        assert row["from_shortlist"] == row["p10"] == row["p90"] == pytest.approx(row["expected"])
    assert total(budget, "kits", "2026-07")["expected"] == 9
    assert total(budget, "jobs", "2026-07")["expected"] == 2


def test_the_lists_part_is_its_own_cost_whoever_joins_its_jobs(
    demand: ModuleType, work: ModuleType
) -> None:
    table, alone = listed_fleet(demand)
    # Unit two's other pivots are found over at the same visit: one opens a side before the list.
    others = np.flatnonzero(table["listed"].iloc[6:12] < 0) + 6
    extra = np.repeat(others, alone.draws)
    draw = np.tile(np.arange(alone.draws), len(others))
    first = alone.pivot == 6
    drawn = Renewals(
        pivot=np.concatenate([extra, alone.pivot]),
        draw=np.concatenate([draw, alone.draw]),
        day=np.concatenate([np.full(len(extra), alone.day[first][0]), alone.day]),
        visit=np.concatenate([np.zeros(len(extra), dtype=int), alone.visit]),
        cause=np.concatenate([np.full(len(extra), FOUND_OVER), alone.cause]),
        miles_over=np.concatenate([np.full(len(extra), 900.0), alone.miles_over]),
        draws=alone.draws,
        laws=alone.laws,
    )
    whole, by_itself = (budget_table(d, table, work.COSTS, MONTHS) for d in (drawn, alone))
    for item in ("jobs", "labour_hours", "alignment", "cash", "downtime_days", "downtime"):
        of_list = total(by_itself, item, "12 months")["expected"]
        row = total(whole, item, "12 months")
        assert row["from_shortlist"] == pytest.approx(of_list)
        assert row["expected"] >= of_list - 1e-9


def test_months_depots_and_sums_have_rows(demand: ModuleType, work: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 80_000.0)
    table = demand.pivots(curve, units=6, gap=5_000.0, age=40_000.0)
    table["depot"] = np.repeat(["Lowfen", "Hightor"], 18)
    budget = budget_table(demand.draw(table, curve), table, work.COSTS, MONTHS)
    assert tuple(budget.columns) == BUDGET_COLUMNS
    kits = budget[budget["item"] == "kits"].set_index(["month", "depot"])
    assert list(kits.index.get_level_values("month").unique()[-2:]) == ["12 months", "24 months"]
    one, other, whole = (kits.loc[("24 months", d)] for d in ("Hightor", "Lowfen", "all"))
    assert one["expected"] + other["expected"] == pytest.approx(whole["expected"])
    # Bands of sums are narrower than sums of bands: not all are unlucky at once.
    assert whole["p90"] - whole["p10"] < one["p90"] - one["p10"] + other["p90"] - other["p10"]
    by_month = kits.xs("all", level="depot")["expected"].drop(["12 months", "24 months"])
    assert by_month.sum() == pytest.approx(whole["expected"])
    cash = budget[budget["item"].isin(["parts", "labour", "alignment", "roadside", "tyres"])]
    assert cash["expected"].sum() == pytest.approx(
        budget.loc[budget["item"] == "cash", "expected"].sum()
    )


def test_money_is_quantity_times_price(demand: ModuleType, work: ModuleType) -> None:
    from dataclasses import replace

    curve = demand.OneCurve(2.0, 80_000.0)
    table = demand.pivots(curve, units=3, gap=5_000.0, age=40_000.0)
    drawn = demand.draw(table, curve, draws=40)
    dearer = replace(work.COSTS, shop_rate=2 * work.COSTS.shop_rate)
    before, after = (budget_table(drawn, table, c, MONTHS) for c in (work.COSTS, dearer))
    figures = ["expected", "p10", "p50", "p90"]
    is_labour = before["item"] == "labour"
    np.testing.assert_allclose(after.loc[is_labour, figures], 2 * before.loc[is_labour, figures])
    rest = ~before["item"].isin(["labour", "cash", "parts_and_labour"])
    pd.testing.assert_frame_equal(before[rest], after[rest])


def test_late_and_roadside_ends_cost_their_extras(demand: ModuleType, work: ModuleType) -> None:
    from dataclasses import replace

    costs = replace(work.COSTS, chance_roadside_when_over=0.1, tyre_loss_per_mile_over=1e-5)
    table = demand.pivots(demand.OneCurve(2.0, 1e5), units=1)
    drawn = Renewals(
        pivot=np.array([0, 1, 2]), draw=np.array([0, 0, 1]), day=np.array([5.0, 5.0, 9.0]),
        visit=np.array([0, 0, -1]), cause=np.array([FOUND_OVER, SHORTLIST, ON_ROAD]),
        miles_over=np.array([2_000.0, 0.0, 0.0]), draws=2, laws=1,
    )  # fmt: skip
    found = renewal_amounts(drawn, table, costs)
    np.testing.assert_allclose(found["tyres"], [2_000 * 1e-5 * 1_000, 0, 0])
    np.testing.assert_allclose(found["roadside"], [0.1 * 2_000, 0, 2_000])
    # One job is late as a whole: one day instead of half; a breakdown adds two days.
    np.testing.assert_allclose(np.sum(found["downtime_days"][:2]), 1.0 + 0.1 * 2.0)
    np.testing.assert_allclose(found["downtime_days"][2], 0.5 + 2.0)
    np.testing.assert_allclose(found["jobs"].sum(), 2)
    # The lower shackle opens the side, the eye joins it.
    np.testing.assert_allclose(found["labour_hours"], [1.1, 2.0, 2.0])


def test_a_row_that_is_not_there_is_empty(demand: ModuleType, work: ModuleType) -> None:
    table, drawn = listed_fleet(demand)
    assert total(budget_table(drawn, table, work.COSTS, MONTHS), "kits", "2020-01") == {}
