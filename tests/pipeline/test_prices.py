"""Every price is listed with its unit, origin and day."""

from __future__ import annotations

import datetime as dt

from pivotlife.pipeline.prices import PRICE_COLUMNS, price_table
from pivotlife.pipeline.settings import Costs, Price


def test_every_price_has_a_unit_and_a_source() -> None:
    table = price_table(Costs(currency="EUR"))
    assert list(table.columns) == PRICE_COLUMNS
    assert {"shop_rate", "parts.rubber-bonded", "hours.same_side", "downtime_days.late"} <= set(
        table.key
    )
    assert table.key.is_unique
    assert table.is_default.all()
    assert table.source.str.contains("invented").all()
    assert table.set_index("key").unit["alignment"] == "EUR per axle"


def test_a_users_price_is_marked_as_theirs() -> None:
    given = Price(value=88.0, source="shop contract", date=dt.date(2026, 3, 1))
    row = price_table(Costs(shop_rate=given)).set_index("key").loc["shop_rate"]
    assert not row.is_default
    assert (row["value"], row["source"], row["date"]) == (88.0, "shop contract", "2026-03-01")
