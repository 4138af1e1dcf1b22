"""Lifetime cost on the finance page: spreads beside figures, downtime apart, defaults named."""

from __future__ import annotations

import html
import json
import re
from types import ModuleType

import pandas as pd
import pytest

from cost_lives import FIGURES
from pivotlife.dashboards.finance import SECTION_MAKERS, finance_context
from pivotlife.dashboards.finance_fleet import (
    best_rows,
    near_sale_table,
    unit_sentence,
    unit_table,
    year_sentence,
)
from pivotlife.dashboards.finance_lifetime import (
    lifetime_sections,
    rate_banner,
    saving_sentences,
    saving_table,
)
from pivotlife.dashboards.finance_what_if import what_if_data, what_if_sections
from pivotlife.dashboards.inputs import COLUMNS, PageInputs
from pivotlife.dashboards.render import render
from pivotlife.dashboards.tables import Table
from pivotlife.models.conversion_verdict import MAY_LOSE, MAY_PAY
from pivotlife.models.cost_lines import COUNTS

TABLES = (
    *("cost_by_type", "cost_quantities", "cost_break_even", "cost_tornado", "cost_of_late"),
    *("fleet_cost_by_year", "conversion_by_unit"),
)


@pytest.fixture
def inputs(factory: ModuleType) -> PageInputs:
    return priced(factory)


def finance_page(inputs: PageInputs) -> str:
    """The page alone, without the others' figures."""
    head = {"fleet_name": "Fleet", "as_of": "2026-12-01", "page_title": "Finance", "doors_bar": ()}
    return render("finance.html", {**head, **finance_context(inputs)})


def cells(table: Table, label: str) -> list[str]:
    place = [column.label for column in table.columns].index(label)
    return [row[place].text for row in table.rows]


def priced(factory: ModuleType, **tables: pd.DataFrame) -> PageInputs:
    """Inputs with every price that lifetime cost multiplies with."""
    figures = FIGURES
    named = {"key": list(figures), "value": list(figures.values())}
    prices = pd.DataFrame(named).assign(unit="", source="a quote", date="2026-11-01")
    made: PageInputs = factory.make_inputs({"prices": prices.assign(is_default=False), **tables})
    return made


def test_the_ten_questions_have_a_place(inputs: PageInputs) -> None:
    headings = [section.heading for make in SECTION_MAKERS for section in make(inputs)]
    for words in ("until it is sold", "saves: cash", "turns round", "moves the saving"):
        assert any(words in heading for heading in headings)
    for words in ("late finds", "fleet will spend", "on this unit", "assumes", "Try other"):
        assert any(words in heading for heading in headings)


def test_savings_stand_with_their_spread_and_downtime_apart(inputs: PageInputs) -> None:
    types = inputs.tables["cost_by_type"]
    table = saving_table(types, "USD")
    assert cells(table, "Cash saved") == ["-120"]
    assert cells(table, "Downtime avoided") == ["300"]
    assert table.rows[0][5].notes == ("-900 to 1,100",)
    assert cells(table, "Paid back") == ["by year 3"]
    told = saving_sentences(types, "USD")[0].replace("\u00a0", " ")
    assert "miles is USD 120 more, its downtime USD 300 less; weighed together USD 180 less" in told
    assert "chance that it is cheaper on the average truck is 70 %" in told


def test_every_figure_says_how_many_cases_it_rests_on(inputs: PageInputs) -> None:
    for make in SECTION_MAKERS:
        for section in make(inputs):
            for drawing in section.drawings:
                assert re.search(r"n = [\d,]+ ", drawing.caption)


def test_rates_left_at_their_defaults_are_named(inputs: PageInputs) -> None:
    (told,) = rate_banner(inputs.tables["cost_assumptions"])
    assert "discount rate" in told
    assert "price escalation" not in told
    mine = inputs.tables["cost_assumptions"].assign(source="settings")
    assert rate_banner(mine) == ()


def test_units_are_listed_by_their_best_conversion(inputs: PageInputs) -> None:
    units = inputs.tables["conversion_by_unit"]
    worse = units.head(1).assign(to_type="rubber-bonded", saving=-50.0)
    both = pd.concat([worse, units], ignore_index=True)
    assert list(best_rows(both)["unit_id"]) == ["MD-014", "MD-033"]
    assert best_rows(both)["to_type"].iloc[0] == "roller"
    assert cells(unit_table(both, "USD"), "Unit") == ["MD-014", "MD-033"]
    assert cells(near_sale_table(both, "USD"), "Unit") == ["MD-033", "MD-014"]
    assert unit_sentence(both) == "The best other type pays on 1 unit; does not pay on 1 unit."


def test_a_saving_that_may_be_a_loss_is_not_said_to_pay(inputs: PageInputs) -> None:
    units = inputs.tables["conversion_by_unit"].assign(verdict=[MAY_LOSE, MAY_PAY])
    assert unit_sentence(units) == (
        "The best other type pays on average but may lose on 1 unit; "
        "loses on average but may pay on 1 unit."
    )
    assert cells(unit_table(units, "USD"), "Verdict") == [MAY_LOSE, MAY_PAY]


def test_the_coming_year_is_told_with_its_range(inputs: PageInputs) -> None:
    told = year_sentence(inputs.tables["fleet_cost_by_year"], "USD").replace("\u00a0", " ")
    assert "50 units are expected to take USD 60,000 in cash (P10 to P90 52,000 to 68,000)" in told
    assert "downtime worth USD 21,000" in told


def test_a_fleet_without_costs_still_has_a_page(factory: ModuleType) -> None:
    empty = {name: pd.DataFrame(columns=list(COLUMNS[name])) for name in TABLES}
    inputs = factory.make_inputs(empty)
    page = finance_page(inputs)
    assert "No type&#39;s lifetime cost could be counted" in page
    assert "data-counts" not in page
    assert what_if_sections(inputs) == ()
    assert len(lifetime_sections(inputs)) == 5


def test_the_page_carries_what_its_script_multiplies(inputs: PageInputs) -> None:
    data = what_if_data(inputs)
    assert [row["type"] for row in data["counts"]] == ["threaded", "roller"]
    assert set(data["counts"][0]["years"][0]) == set(COUNTS)
    assert data["figures"]["discount_rate"] == 0.08
    page = finance_page(inputs)
    written = re.search(r'data-counts="(.*?)"', page)
    assert written is not None
    assert json.loads(html.unescape(written.group(1))) == json.loads(json.dumps(data))


def test_without_every_price_nothing_can_be_tried(factory: ModuleType) -> None:
    assert what_if_sections(factory.make_inputs()) == ()


def test_foreign_text_cannot_leave_the_data(factory: ModuleType) -> None:
    plain = factory.make_inputs()
    bad = '</script><b>"&'
    counts = plain.tables["cost_quantities"].assign(duty=bad)
    units = plain.tables["conversion_by_unit"].assign(unit_id=bad, note=bad)
    page = finance_page(priced(factory, cost_quantities=counts, conversion_by_unit=units))
    assert bad not in page


def test_the_sections_are_part_of_the_page(inputs: PageInputs) -> None:
    context = finance_context(inputs)
    assert len(context["sections"]) == 14
    page = finance_page(inputs)
    for section in context["sections"]:
        assert f">{section.heading}</h2>".replace("'", "&#39;") in page
