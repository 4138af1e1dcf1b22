"""Budget, stock, warranty and spend on the page: figures as given, bands beside them."""

from __future__ import annotations

import math
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.dashboards.finance_budget import (
    budget_by_depot,
    budget_by_month,
    budget_sections,
    budget_sentence,
    claims_table,
    spend_by_depot,
    spend_by_month,
    spend_sentence,
    stock_table,
    warranty_sentence,
)
from pivotlife.dashboards.tables import Table

TIED = "\u00a0"


def column(table: Table, label: str) -> list[str]:
    place = [column.label for column in table.columns].index(label)
    return [row[place].text for row in (*table.rows, *table.footer)]


def test_the_year_is_told_with_its_band_and_downtime_apart(factory: ModuleType) -> None:
    budget = factory.small_tables()["budget"]
    told = budget_sentence(budget, math.nan, "USD").replace(TIED, " ")
    assert told == (
        "The next 12 months are expected to take about USD 50,400 in cash; in 8 of 10 such years "
        "it would be 35,300 to 70,600. USD 4,200 of it is the shortlist. Apart from that, 36 days "
        "off the road in the next 12 months, worth about USD 19,800."
    )
    nothing = budget_sentence(factory.empty("budget"), math.nan, "USD")
    assert nothing.startswith("No renewal can be foreseen")


def test_the_lists_part_is_the_plan_and_what_is_put_off(factory: ModuleType) -> None:
    budget = factory.small_tables()["budget"]
    told = budget_sentence(budget, 3_000.0, "USD").replace(TIED, " ")
    assert (
        "USD 4,200 of it is the shortlist: USD 3,000 at the coming visits, as planned above, and "
        "USD 1,200 for lines put off to the visits after."
    ) in told
    both = budget[budget["month"] == "12 months"].assign(month="24 months")
    both["expected"] *= 1.5
    longer = budget_sentence(pd.concat([budget, both]), math.nan, "USD").replace(TIED, " ")
    assert "The 12 months after take about USD 25,200." in longer


def test_months_stand_above_their_sums(factory: ModuleType) -> None:
    table = budget_by_month(factory.small_tables()["budget"], "USD")
    assert column(table, "Month") == ["2026-11", "2026-12", "2027-01", "12 months"]
    assert column(table, "Cash") == ["4,200", "4,200", "4,200", "50,400"]
    assert column(table, "Of it on the shortlist") == ["4,200", "0", "0", "4,200"]
    assert table.rows[0][3].notes == ("2,940 to 5,880",)
    assert len(table.footer) == 1
    depots = budget_by_depot(factory.small_tables()["budget"], "USD")
    assert column(depots, "Depot") == ["Hightor", "Northpit", "All depots"]
    assert column(depots, "Kits") == ["72", "72", "144"]


def test_stock_is_told_for_all_depots_with_what_is_short(factory: ModuleType) -> None:
    table = stock_table(factory.small_tables()["kit_demand"])
    assert len(table.rows) == 1
    assert column(table, "Stock to keep") == ["8"]
    assert column(table, "Order now") == ["3"]
    assert column(table, "Kits 2026-Q4") == ["7.1"]
    assert table.rows[0][-1].notes == ("at most 11",)
    assert "3 kits are missing from the stock" in table.caption
    assert stock_table(factory.empty("kit_demand")).rows == ()


def test_claims_are_counted_apart_from_bushings_to_read(factory: ModuleType) -> None:
    claims = factory.small_tables()["warranty_claims"]
    told = warranty_sentence(claims, "USD").replace(TIED, " ")
    assert told.startswith("1 bushing failed inside their warranty, USD 62 at the price paid; 1 of")
    assert "1 bushing in service should be looked at" in told
    table = claims_table(claims, "USD")
    assert column(table, "Over now") == ["found bad", f"30{TIED}%"]
    assert column(table, "Ends") == ["2026-12-20", "by miles only"]
    assert "No bushing on record" in warranty_sentence(factory.empty("warranty_claims"), "USD")


def test_last_year_is_inside_or_outside_its_band(factory: ModuleType) -> None:
    spend = factory.small_tables()["spend_against_forecast"]
    told = spend_sentence(spend, "USD").replace(TIED, " ")
    assert "Forecast of 2025-11-25 (run 2025-11-25)" in told
    assert "The year: USD 13 spent, USD 10 foreseen; that lies inside the band of 6 to 14." in told
    assert "By month and depot 1 of 2 lay inside" in told
    assert column(spend_by_month(spend, "USD"), "Month") == ["2025-12", "12 months"]
    assert column(spend_by_depot(spend, "USD"), "Depot") == ["Northpit", "all"]
    nothing = factory.empty("spend_against_forecast")
    assert spend_sentence(nothing, "USD").startswith("There is no forecast of a year ago")
    assert spend_by_month(nothing, "USD").rows == ()


@pytest.mark.parametrize("gone", [(), ("budget", "kit_demand", "warranty_claims")])
def test_sections_name_the_file_with_all_rows(factory: ModuleType, gone: tuple[str, ...]) -> None:
    inputs = factory.make_inputs({name: factory.empty(name) for name in gone})
    parts = budget_sections(inputs)
    assert [part.file for part in parts] == [
        "budget.csv",
        "kit_demand.csv",
        "warranty_claims.csv",
        "spend_against_forecast.csv",
    ]
    assert len(parts[0].drawings) == (0 if gone else 1)
