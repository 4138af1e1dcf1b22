"""Kits by month: Poisson stock, pooled depots, quarters, what is short."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pivotlife.models.budget import budget_table
from pivotlife.models.demand_months import months_ahead
from pivotlife.models.demand_rounds import Habits
from pivotlife.models.kit_demand import KIT_DEMAND_COLUMNS, kit_demand

MONTHS = months_ahead(pd.Timestamp("2026-06-30"), 12)


def kits(**over: object) -> pd.DataFrame:
    row = {"kit_id": "K", "on_hand": 3.0, "on_order": 2.0, "lead_time_days": 30.0}
    return pd.DataFrame([{**row, **over}])


@pytest.fixture(scope="module")
def poisson(demand: ModuleType) -> tuple[pd.DataFrame, object]:
    """Forty units whose pivots fail as a Poisson process and are renewed within days."""
    curve = demand.OneCurve(1.0, 200_000.0)
    table = demand.pivots(curve, units=40, gap=300.0, age=10_000.0, kit_id="K")
    table["depot"] = np.repeat(["Lowfen", "Hightor"], 120)
    return table, demand.draw(table, curve, horizon=500.0, draws=200)


def test_demand_and_stock_are_those_of_a_poisson_process(
    poisson: tuple[pd.DataFrame, object],
) -> None:
    table, drawn = poisson
    found = kit_demand(drawn, table, kits(), MONTHS, 0.95)
    assert tuple(found.columns) == KIT_DEMAND_COLUMNS
    row = found[(found["month"] == "2026-08") & (found["depot"] == "all")].iloc[0]
    mean = 240 * 31 * 100 / 200_000
    assert row["mean"] == pytest.approx(mean, rel=0.04)
    assert row["p90"] == pytest.approx(stats.poisson.ppf(0.9, mean), abs=1)
    # The month and the lead time of 30 days after it.
    covered = stats.poisson.ppf(0.95, mean * 61 / 31)
    assert row["stock_for_service_level"] == pytest.approx(covered, abs=2)


def test_depots_together_need_less_than_each_by_itself(
    poisson: tuple[pd.DataFrame, object],
) -> None:
    table, drawn = poisson
    found = kit_demand(drawn, table, kits(), MONTHS, 0.95)
    month = found[found["month"] == "2026-09"].set_index("depot")
    assert month.loc[["Lowfen", "Hightor"], "mean"].sum() == pytest.approx(month.loc["all", "mean"])
    stock = month["stock_for_service_level"]
    assert stock["all"] < stock["Lowfen"] + stock["Hightor"]
    # The shelf is known for all depots together.
    assert month.loc["all", "on_hand"] == 3
    assert np.isnan(month.loc["Lowfen", "on_hand"])


def test_quarters_add_up_and_what_is_short_stands_once(
    poisson: tuple[pd.DataFrame, object],
) -> None:
    table, drawn = poisson
    found = kit_demand(drawn, table, kits(), MONTHS, 0.95)
    whole = found[found["depot"] == "all"].set_index("month")
    third = ["2026-07", "2026-08", "2026-09"]
    assert whole.loc[third, "mean"].sum() == pytest.approx(whole.loc["2026-Q3", "mean"])
    assert whole.loc["2026-Q3", "p90"] < whole.loc[third, "p90"].sum()
    short = found["short_by"].dropna()
    assert len(short) == 1
    assert short.iloc[0] == whole.loc["2026-07", "stock_for_service_level"] - 5
    assert np.isnan(whole.loc["2026-Q3", "stock_for_service_level"])


def test_axles_done_whole_need_more_stock_for_the_same_mean(demand: ModuleType) -> None:
    # One list of whole axles or none: a unit's six kits go together.
    curve = demand.OneCurve(3.0, 120_000.0)
    table = demand.pivots(curve, units=60, gap=3_000.0, age=50_000.0, kit_id="K")
    alone = demand.draw(table, curve, draws=200)
    whole = demand.draw(table, curve, Habits({}, (1.0, 1.0, 1.0), follows_list=False), draws=200)
    months = []
    for drawn in (alone, whole):
        found = kit_demand(drawn, table, kits(lead_time_days=0.0), MONTHS, 0.95)
        months.append(found[(found["depot"] == "all") & (found["month"] == "2026-12")].iloc[0])
    extra = [row["stock_for_service_level"] - row["mean"] for row in months]
    assert extra[1] / np.sqrt(months[1]["mean"]) > 1.5 * extra[0] / np.sqrt(months[0]["mean"])


def test_a_higher_service_level_never_needs_less(poisson: tuple[pd.DataFrame, object]) -> None:
    table, drawn = poisson
    stocks = [
        kit_demand(drawn, table, kits(), MONTHS, level)["stock_for_service_level"].fillna(0)
        for level in (0.8, 0.95, 0.99)
    ]
    assert (stocks[0] <= stocks[1]).all()
    assert (stocks[1] <= stocks[2]).all()
    assert (stocks[2] > stocks[0]).any()


def test_pivots_without_a_kit_count_by_type_and_node(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 40_000.0)
    table = demand.pivots(curve, units=2, gap=5_000.0, age=30_000.0)
    none = pd.DataFrame(columns=["kit_id", "on_hand", "on_order", "lead_time_days"])
    found = kit_demand(demand.draw(table, curve, draws=40), table, none, MONTHS, 0.95)
    assert set(found["kit_id"]) == {""}
    assert set(found["node"]) == {"fixed-eye", "shackle-lower", "shackle-upper"}
    assert found["short_by"].isna().all()


def test_a_fleet_without_a_visit_asks_for_nothing(demand: ModuleType, work: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 40_000.0)
    table = demand.pivots(curve).iloc[:0]
    drawn = demand.draw(table, curve)
    assert kit_demand(drawn, table, kits(), MONTHS, 0.95).empty
    assert (budget_table(drawn, table, work.COSTS, MONTHS)["expected"] == 0).all()
