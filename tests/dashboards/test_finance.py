"""The finance page: sums agree, cash stays apart from downtime, invented prices are shouted."""

from __future__ import annotations

from types import ModuleType

import pandas as pd

from pivotlife.dashboards.finance import (
    by_kind,
    by_month,
    cost_headline,
    items_by_type,
    price_banner,
    price_table,
)
from pivotlife.dashboards.tables import Table


def column(table: Table, label: str) -> list[str]:
    place = [column.label for column in table.columns].index(label)
    return [row[place].text for row in (*table.rows, *table.footer)]


def planned(factory: ModuleType) -> pd.DataFrame:
    row = dict(zip(factory.COLUMNS["planned_cost"], range(11), strict=True))
    amounts = {"cash": 700.0, "downtime": 200.0, "parts": 100.0}
    keys = [
        ("MD-1", "Lowfen", "2026-12-03"),
        ("MD-2", "Lowfen", "2026-12-30"),
        ("MD-3", "Hightor", ""),
    ]
    return pd.DataFrame(
        [
            {**row, **amounts, "unit_id": unit, "depot": depot, "visit_date": pd.to_datetime(date)}
            for unit, depot, date in keys
        ]
    )


def test_visits_add_up_by_month_and_depot(factory: ModuleType) -> None:
    table = by_month(planned(factory), "USD")
    assert column(table, "Month") == ["2026-12", "no date", "Total"]
    assert column(table, "Cash") == ["1,400", "700", "2,100"]
    assert column(table, "Downtime") == ["400", "200", "600"]
    assert column(table, "Visits") == ["2", "1", "3"]


def test_a_visit_counts_under_its_gravest_line(factory: ModuleType) -> None:
    shortlist = pd.DataFrame(
        [
            factory.shortlist_row(unit_id="MD-1", decision="park"),
            factory.shortlist_row(unit_id="MD-1", mandatory="no"),
            factory.shortlist_row(unit_id="MD-2", mandatory="no"),
            factory.shortlist_row(unit_id="MD-2", decision="measure", mandatory="yes"),
            factory.shortlist_row(unit_id="MD-3", mandatory="no"),
        ]
    )
    table = by_kind(planned(factory), shortlist, "USD")
    assert column(table, "Opened for") == [
        "a unit to park",
        "mandatory work",
        "work by choice",
        "Total",
    ]
    assert column(table, "Cash") == ["700", "700", "700", "2,100"]


def test_the_headline_keeps_cash_apart_from_downtime(factory: ModuleType) -> None:
    told = cost_headline(planned(factory), "USD").replace("\u00a0", " ")
    assert "3 visits with renewals: USD 2,100 in cash" in told
    assert "downtime worth USD 600" in told
    assert cost_headline(factory.empty("planned_cost"), "USD").startswith("No work is planned")


def test_invented_prices_raise_a_banner(factory: ModuleType) -> None:
    prices = factory.small_tables()["prices"]
    assert price_banner(prices)[0].startswith("3 of 4 prices are invented defaults")
    assert price_banner(prices.assign(is_default=False)) == ()
    assert column(price_table(prices), "Whose") == ["yours", *["invented default"] * 3]
    assert "0.0000015" in column(price_table(prices), "Value")


def test_items_stand_by_case_with_their_sum(factory: ModuleType) -> None:
    tables = items_by_type(factory.small_tables()["cost_items"], "USD")
    assert len(tables) == 3
    assert column(tables[0], "Planned") == ["220", "190", "250", "138", "none", "none", "798"]
    assert next(cell.text for cell in tables[0].footer[0]) == "Sum"


def test_lines_of_one_item_are_added_and_an_unknown_case_is_kept(factory: ModuleType) -> None:
    rows = [("roller", "road", "labour", 1.0), ("roller", "road", "labour", 2.0)]
    rows += [("roller", "planned", "labour", 1.0), ("roller", "warranty", "labour", 4.0)]
    items = pd.DataFrame(rows, columns=list(factory.COLUMNS["cost_items"]))
    (table,) = items_by_type(items, "USD")
    labels = [column.label for column in table.columns]
    assert labels == ["Item", "Planned", "At the roadside", "warranty"]
    assert [cell.text for cell in table.rows[0]] == ["labour", "1", "3", "4"]
    assert [cell.text for cell in table.footer[0]] == ["Sum", "1", "3", "4"]


def test_a_given_total_is_not_added_again(factory: ModuleType) -> None:
    items = pd.DataFrame(
        [("roller", "planned", "parts", 1.0), ("roller", "planned", "total", 1.0)],
        columns=list(factory.COLUMNS["cost_items"]),
    )
    assert items_by_type(items, "USD")[0].footer == ()
