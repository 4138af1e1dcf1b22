"""Prices tried in the page give what Python gives, to the cent."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from playwright.sync_api import Page

from cost_lives import FIGURES
from pivotlife.dashboards.finance import finance_context
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.render import render
from pivotlife.models.cost_lines import CASH, COUNTS, DOWNTIME, unit_amounts
from pivotlife.models.lifetime_cost import Money

pytestmark = pytest.mark.browser


@pytest.fixture
def page(browser: object) -> object:
    with browser.new_context() as context:  # type: ignore[attr-defined]  a Browser of the fixture
        yield context.new_page()


def by_python(inputs: PageInputs, figures: dict[str, float]) -> list[tuple[float, float]]:
    rates = {name: figures.pop(name) for name in ("discount_rate", "price_escalation")}
    money = Money(figures, **rates)
    table = inputs.tables["cost_quantities"]
    totals = []
    for (_, kind), rows in table.groupby(["duty", "bushing_type"], sort=False):
        counts = rows.pivot_table(index="year", columns="count", values="mean")[list(COUNTS)]
        factors = money.factors(len(counts) - 1)
        cash, downtime = (
            float(np.asarray(counts).T @ factors @ unit_amounts(figures, str(kind), name))
            for name in (CASH, DOWNTIME)
        )
        totals.append((cash, downtime))
    return totals


def shown(page: Page, rows: int) -> list[tuple[float, float]]:
    def number(name: str) -> float:
        exact = float(page.locator(f"#{name}").get_attribute("title") or "nan")
        assert abs(float(page.locator(f"#{name}").inner_text().replace(",", "")) - exact) <= 0.5
        return exact

    return [(number(f"what-if-{n}-cash"), number(f"what-if-{n}-downtime")) for n in range(rows)]


def test_totals_follow_the_fields_to_the_cent(
    page: Page, tmp_path: Path, invented: PageInputs
) -> None:
    figures = dict(FIGURES)
    named = {"key": list(figures), "value": list(figures.values())}
    prices = pd.DataFrame(named).assign(unit="", source="a quote", date="2026-11-01")
    tables = {**invented.tables, "prices": prices.assign(is_default=False)}
    invented = replace(invented, tables=tables)
    head = {"fleet_name": "Fleet", "as_of": "2026-12-01", "page_title": "Finance", "doors_bar": ()}
    file = tmp_path / "finance.html"
    file.write_text(render("finance.html", {**head, **finance_context(invented)}), "utf-8")
    page.goto(file.as_uri())
    rates = invented.tables["cost_assumptions"].set_index("key")["value"]
    figures |= {name: float(rates[name]) for name in ("discount_rate", "price_escalation")}
    plain = by_python(invented, dict(figures))
    assert shown(page, len(plain)) == [(round(c, 2), round(d, 2)) for c, d in plain]
    tried = {"shop_rate": 141.5, "parts.roller": 99.0, "discount_rate": 0.03}
    tried |= {"hours.same_side": 1.75, "chance_roadside_when_over": 0.3}
    for name, value in tried.items():
        page.locator(f'#what-if input[name="{name}"]').fill(str(value))
    changed = by_python(invented, figures | tried)
    assert changed != plain
    assert shown(page, len(changed)) == [(round(c, 2), round(d, 2)) for c, d in changed]
    page.locator('#what-if input[name="shop_rate"]').fill("-5")  # refused, the run's own stays
    assert page.locator('#what-if input[name="shop_rate"]:invalid').count() == 1
    page.locator("#what-if button").click()
    page.wait_for_timeout(50)
    assert shown(page, len(plain)) == [(round(c, 2), round(d, 2)) for c, d in plain]
