"""Whole pages: complete, self-contained, escaped, equal for equal inputs, small enough to mail."""

from __future__ import annotations

import html.parser
import re
from types import ModuleType

import numpy as np
import pytest

from pivotlife.dashboards.inputs import COLUMNS
from pivotlife.dashboards.pages import build_pages
from pivotlife.dashboards.render import tied

HOSTILE = "<b>&\"'|</td></script><script>alert(1)</script>"
VOID = {"meta", "input", "br", "link", "img", "col"}


class Outline(html.parser.HTMLParser):
    """Checks that tags close in order, and collects what the page would load."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.loads: list[str] = []
        self.links: list[str] = []
        self.scripts = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.scripts += tag == "script"
        if tag == "a":
            self.links.append(given.get("href") or "")
        elif tag in {"link", "img", "iframe"} or (tag == "script" and "src" in given):
            self.loads.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Tags inside figures that close themselves."""

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    return parser


@pytest.fixture(scope="module")
def pages(factory: ModuleType) -> dict[str, str]:
    return build_pages(factory.make_inputs())


def test_there_are_four_pages(pages: dict[str, str]) -> None:
    drawn = sorted(name for name in pages if "/" not in name)
    assert drawn == ["engineer.html", "finance.html", "fleet.html", "index.html"]
    assert sorted(pages.keys() - set(drawn)) == [
        "sheets/MD-014.html",
        "sheets/MD-077.html",
        "sheets/MD-090.html",
    ]


def test_pages_load_nothing_and_link_only_beside_themselves(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        found = outline(page)
        assert found.loads == []
        assert found.scripts == (0 if name.startswith("sheets/") else 1)
        beside = r"((\.\./)?[\w-]+\.(html|csv|json|xlsx))?(#\w+)?|sheets/[\w.-]+\.html"
        assert all(re.fullmatch(beside, link) for link in found.links)
        bare = re.sub(r'xmlns(:xlink)?="[^"]*"', "", page)
        assert "http://" not in bare
        assert "https://" not in bare
        assert "@import" not in bare
        assert not re.search(r"url\((?!#)", bare)


def test_equal_inputs_give_equal_bytes(pages: dict[str, str], factory: ModuleType) -> None:
    assert build_pages(factory.make_inputs()) == pages


def test_no_page_shows_a_bare_nan(pages: dict[str, str]) -> None:
    for page in pages.values():
        shown = re.sub(r"<(script|style|svg).*?</\1>", "", page, flags=re.DOTALL)
        assert not re.search(r"\b(nan|NaT|inf|None)\b", shown)


def test_each_page_names_fleet_and_day(pages: dict[str, str]) -> None:
    for page in pages.values():
        assert "Meridell Demo Fleet" in page
        assert "2026-11-25" in page


def test_hostile_text_is_shown_not_run(factory: ModuleType) -> None:
    tables = {
        name: frame.apply(lambda c: c.map(lambda v: HOSTILE if isinstance(v, str) and v else v))
        for name, frame in factory.small_tables().items()
    }
    tables["shortlist"]["decision"] = factory.small_tables()["shortlist"]["decision"]
    inputs = factory.make_inputs(
        tables,
        run={"notes": [HOSTILE], "currency": HOSTILE, "counts": {HOSTILE: HOSTILE}},
        fleet_name=HOSTILE,
    )
    for page in build_pages(inputs).values():
        found = outline(page)
        assert found.scripts <= 1
        assert "alert(1)</script>" not in page
        assert "&lt;b&gt;&amp;" in page


def test_empty_tables_give_pages_that_say_so(factory: ModuleType) -> None:
    pages = build_pages(
        factory.make_inputs({name: factory.empty(name) for name in COLUMNS}, run={})
    )
    for page in pages.values():
        outline(page)
    assert "No unit has to be parked on the records given." in pages["index.html"]
    assert "No mandatory work on the records given." in pages["fleet.html"]
    assert "No curve could be drawn" in pages["engineer.html"]
    assert "No work is planned at the coming visits." in pages["finance.html"]


def test_missing_numbers_everywhere_break_nothing(factory: ModuleType) -> None:
    tables = {
        name: frame.assign(**dict.fromkeys(frame.select_dtypes("float").columns, np.nan))
        for name, frame in factory.small_tables().items()
    }
    for page in build_pages(factory.make_inputs(tables)).values():
        outline(page)


def test_invented_prices_are_said_aloud(pages: dict[str, str]) -> None:
    assert "Invented prices." in pages["finance.html"]


def test_two_thousand_lines_stay_small_enough_to_mail(
    factory: ModuleType, big_fleet: ModuleType
) -> None:
    inputs = big_fleet.big_inputs(factory, units=334)
    assert len(inputs.tables["shortlist"]) >= 2_000
    page = build_pages(inputs)["fleet.html"]
    assert page.count("<tr data-order=") == len(inputs.tables["shortlist"])
    assert len(page.encode()) < 1_500_000


def test_dates_and_units_stay_on_one_line_and_text_stays_escaped() -> None:
    told = str(tied("<b>Read 3.2 mm on 2026-07-02: 21 %, USD 473, 70 mi, 5 minutes"))
    assert told == (
        "&lt;b&gt;Read 3.2\u00a0mm on <time>2026-07-02</time>: 21\u00a0%, "
        "USD\u00a0473, 70\u00a0mi, 5 minutes"
    )
