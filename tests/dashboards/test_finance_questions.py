"""Every question of the finance page leads to a section that is there."""

from __future__ import annotations

import re
from types import ModuleType

from pivotlife.dashboards.finance_questions import PRICES, questions
from pivotlife.dashboards.pages import build_pages


def test_all_ten_questions_are_answered_on_the_page(factory: ModuleType) -> None:
    page = build_pages(factory.make_inputs())["finance.html"]
    asked = re.search(r'<ol class="questions">.*?</ol>', page, re.DOTALL)
    assert asked
    links = re.findall(r'href="#([a-z0-9_]+)"', asked.group(0))
    assert len(links) == 10
    for link in links:
        assert page.count(f'id="{link}"') == 1


def test_a_question_without_its_section_is_not_asked() -> None:
    assert [asked.anchor for asked in questions([PRICES])] == ["prices_with_source_and_date"]
    assert questions([]) == ()
