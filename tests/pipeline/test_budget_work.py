"""Budget, kit demand and warranty of a run agree with its other tables."""

from __future__ import annotations

import pandas as pd
import pytest

from pivotlife.pipeline.budget_work import BUDGET_TABLES
from pivotlife.pipeline.results import RunResult


def rows(run: RunResult, item: str) -> pd.DataFrame:
    budget = run.tables["budget"]
    return budget[budget["item"] == item].set_index(["month", "depot"])


def test_the_shortlist_in_the_budget_is_the_planned_cost(small_run: RunResult) -> None:
    # The small fleet has room in the shop or it has not: what is put off is a visit later.
    shortlist, planned = small_run.tables["shortlist"], small_run.tables["planned_cost"]
    now = shortlist[shortlist["decision"].isin(["replace", "park"])]
    now = now[
        (now["pivot_id"] != "") & now["pivot_id"].isin(small_run.tables["growth"]["pivot_id"])
    ]
    listed = rows(small_run, "kits").loc[("24 months", "all"), "from_shortlist"]
    assert listed == len(now)
    early = planned["visit_date"].dt.strftime("%Y-%m").value_counts()
    assert early.size
    parts = rows(small_run, "parts").loc[("24 months", "all"), "from_shortlist"]
    prices = {"rubber-bonded": 45.0, "threaded": 55.0, "roller": 220.0}
    assert parts == pytest.approx(now["bushing_type"].map(prices).sum())


def test_kits_of_the_budget_are_the_kits_of_the_demand(small_run: RunResult) -> None:
    demand = small_run.tables["kit_demand"]
    by_month = demand.groupby(["month", "depot"])["mean"].sum()
    expected = rows(small_run, "kits")["expected"]
    for key, mean in by_month.items():
        if "Q" not in str(key):
            assert mean == pytest.approx(expected[key], abs=1e-6), key


def test_bands_hold_their_middle(small_run: RunResult) -> None:
    budget = small_run.tables["budget"]
    assert (budget["p10"] <= budget["p50"]).all()
    assert (budget["p50"] <= budget["p90"]).all()
    assert (budget["from_shortlist"] <= budget["expected"] + 1e-9).all()


def test_last_year_is_held_against_its_repairs(small_run: RunResult) -> None:
    spend = small_run.tables["spend_against_forecast"]
    year = spend[(spend["month"] == "12 months") & (spend["item"] == "kits")].set_index("depot")
    assert year.loc["all", "actual"] > 0
    assert year.loc["all", "actual"] == year.drop("all")["actual"].sum()
    assert set(spend["forecast_from"]) == {"made now from what was known then"}


def test_claims_name_a_repair_and_a_kit(small_run: RunResult) -> None:
    claims = small_run.tables["warranty_claims"]
    assert len(claims)
    assert claims["source_row"].str.startswith("repairs:").all()
    assert (claims["kit_id"] != "").all()
    # Rubber kits carry no warranty in the invented fleet.
    assert "rubber-bonded" not in set(claims["bushing_type"])


@pytest.mark.parametrize("name", BUDGET_TABLES)
def test_every_table_is_published(small_run: RunResult, name: str) -> None:
    assert (small_run.folder / f"{name}.csv").exists()
