"""A work sheet prints on one page, also when everything on it is long."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sheets import build_sheets

pytestmark = pytest.mark.browser

LONG = "Last play 15.24 mm (0.600 in) on 2024-08-19, and so on for a while. " * 4


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_six_pivots_fit_on_one_page(
    browser: Browser, invented: PageInputs, tmp_path: Path, paper: str
) -> None:
    lines = invented.tables["shortlist"]
    unit = lines["unit_id"].iloc[0]
    mine = lines[lines["unit_id"] == unit].assign(
        decision=["park", *["replace"] * 5], mandatory="yes", reason=LONG
    )
    assert len(mine) == 6
    tables = {**invented.tables, "shortlist": mine}
    inputs = PageInputs(invented.as_of, tables, invented.run, invented.fleet_name)
    (page_text,) = build_sheets(inputs).values()
    file = tmp_path / "sheet.html"
    file.write_text(page_text, encoding="utf-8")
    with browser.new_context() as context:
        page = context.new_page()
        page.goto(file.as_uri())
        printed = page.pdf(format=paper)
        page.set_viewport_size({"width": 390, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert {int(n) for n in re.findall(rb"/Count (\d+)", printed)} == {1}
