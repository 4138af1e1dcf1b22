"""The pages in a real browser: no overflow, no request, filter, unfold, sort, download, print."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

PAGES = ("index.html", "fleet.html", "engineer.html", "finance.html")


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with browser.new_context(accept_downloads=True) as context:
        yield context.new_page()


def shown_lines(page: Page) -> int:
    return int(
        page.evaluate(
            "[...document.querySelectorAll('tr[data-order]')]"
            ".filter((row) => !row.hidden && !row.parentElement.hidden).length"
        )
    )


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_its_window_and_asks_for_nothing(
    page: Page, folder: Path, name: str, width: int
) -> None:
    asked: list[str] = []
    faults: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: faults.append(message.text))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.set_viewport_size({"width": width, "height": 900})
    page.goto((folder / name).as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert asked == [(folder / name).as_uri()]
    assert faults == []


@pytest.mark.parametrize("name", PAGES)
def test_no_table_hides_a_column_on_a_desk(page: Page, folder: Path, name: str) -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto((folder / name).as_uri())
    hidden = page.evaluate(
        "[...document.querySelectorAll('.box')]"
        ".filter((box) => box.scrollWidth > box.clientWidth + 1).map((box) => box.innerText)"
    )
    assert hidden == []


def test_rows_become_cards_on_a_telephone(page: Page, folder: Path) -> None:
    page.set_viewport_size({"width": 390, "height": 900})
    page.goto((folder / "fleet.html").as_uri())
    assert (
        page.locator("tr[data-order]").first.evaluate("(e) => getComputedStyle(e).display")
        == "block"
    )
    widest = page.evaluate(
        "Math.max(...[...document.querySelectorAll('td, th')]"
        ".map((cell) => cell.getBoundingClientRect().right))"
    )
    assert widest <= 390


def test_a_long_list_shows_its_head_on_a_telephone(page: Page, folder: Path) -> None:
    page.goto((folder / "engineer.html").as_uri())
    rows = page.locator("#by-duty tbody tr:visible")
    page.set_viewport_size({"width": 1280, "height": 900})
    assert rows.count() == 9
    page.set_viewport_size({"width": 390, "height": 900})
    assert rows.count() == 5
    page.locator("p", has=page.locator("[data-csv=by-duty]")).locator(".rest").click()
    assert rows.count() == 9


def test_orders_never_fold_and_a_filter_unfolds_the_rest(page: Page, folder: Path) -> None:
    page.set_viewport_size({"width": 390, "height": 900})
    page.goto((folder / "fleet.html").as_uri())
    for chapter in ("park", "must"):
        lines = page.locator(f"#{chapter}-list tr[data-order]")
        assert lines.count() == page.locator(f"#{chapter}-list tr[data-order]:visible").count() > 0
    assert page.locator("table.jobs.long:not(.whole)").count() > 0
    page.fill("input[name=words]", "md-0")
    assert page.locator("table.jobs.long:not(.whole)").count() == 0


def test_filters_by_depot_order_and_word(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    everything = shown_lines(page)
    page.select_option("select[name=depot]", "Northpit")
    northpit = shown_lines(page)
    assert 0 < northpit < everything
    page.select_option("select[name=order]", "replace")
    assert 0 < shown_lines(page) < northpit
    assert page.locator("#shown").inner_text() == f"{shown_lines(page)} of {everything} lines shown"
    shown = page.locator("tr.job:visible span:first-of-type").all_inner_texts()
    assert set(shown) == {"Northpit"}
    page.select_option("select[name=depot]", "")
    page.select_option("select[name=order]", "")
    page.fill("input[name=words]", "md-007")
    assert shown_lines(page) == 6
    page.fill("input[name=words]", "")
    assert shown_lines(page) == everything


def test_a_part_without_a_fitting_line_says_so(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    page.select_option("select[name=order]", "measure")
    assert not page.locator("#park-list").is_visible()
    assert "hidden, not gone" in page.locator("#park-list + p").inner_text()
    page.select_option("select[name=order]", "")
    assert page.locator("#park-list").is_visible()
    assert not page.locator("#park-list + p").is_visible()


def test_choosing_what_is_left_opens_its_list(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    assert not page.locator("#left-list").is_visible()
    page.select_option("select[name=order]", "leave")
    assert page.locator("#left-list").is_visible()


def test_a_line_unfolds_to_its_evidence(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    line = page.locator("tr[data-order=replace]").first
    evidence = line.locator("details p").last
    assert not evidence.is_visible()
    line.locator("summary").click()
    assert evidence.is_visible()
    assert "Records: readings:" in evidence.inner_text()


def test_all_shown_lines_unfold_at_once(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    page.select_option("select[name=order]", "measure")
    page.click("[data-unfold]")
    assert page.locator("tr[data-order=measure] details:not([open])").count() == 0
    assert page.locator("tr[data-order=replace] details[open]").count() == 0


def test_sorting_orders_by_size_and_turns_round(page: Page, folder: Path) -> None:
    page.goto((folder / "engineer.html").as_uri())
    heading = page.locator("#by-duty thead th", has_text="B10")
    cells = page.locator("#by-duty tbody tr td:nth-child(8) span")
    heading.locator("[data-sort]").click()
    assert heading.get_attribute("aria-sort") == "ascending"
    rising = [int(re.sub(r"\D", "", text.split()[0])) for text in cells.all_inner_texts()[:-1]]
    assert rising == sorted(rising)
    assert cells.all_inner_texts()[-1].startswith("too few failures")
    heading.locator("[data-sort]").press("Enter")
    assert heading.get_attribute("aria-sort") == "descending"
    assert cells.all_inner_texts()[-1].startswith("too few failures")


def test_the_shown_lines_download_as_csv(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    page.select_option("select[name=depot]", "Lowfen")
    shown = page.locator("#must-list tr[data-order]:visible").count()
    with page.expect_download() as waiting:
        page.click("[data-csv=must-list]")
    text = Path(waiting.value.path()).read_text(encoding="utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    assert rows[0][:4] == ["Unit", "Depot", "Visit", "Pivot"]
    assert len(rows) == shown + 1
    assert {row[1] for row in rows[1:]} == {"Lowfen"}
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\d", row[2]) for row in rows[1:])


def test_print_holds_the_filtered_list_under_headings(page: Page, folder: Path) -> None:
    page.goto((folder / "fleet.html").as_uri())
    page.select_option("select[name=order]", "replace")
    page.emulate_media(media="print")
    assert page.locator("tr[data-order=park]:visible").count() == 0
    assert page.locator("tr[data-order=replace]:visible").count() == shown_lines(page)
    assert not page.locator("#filter").is_visible()
    assert not page.locator("#left-list").is_visible()
    heads = page.locator("thead")
    displays = heads.evaluate_all("(all) => all.map((head) => getComputedStyle(head).display)")
    assert set(displays) == {"table-header-group"}
    # A button inside a heading would keep Chromium from repeating it on every sheet.
    assert page.locator("thead button").count() == 0


def test_the_page_speaks_without_script(browser: Browser, folder: Path) -> None:
    with browser.new_context(java_script_enabled=False) as context:
        page = context.new_page()
        page.goto((folder / "fleet.html").as_uri())
        assert page.locator("tr[data-order=replace]").first.is_visible()
        assert not page.locator("#filter").is_visible()
        assert not page.locator(".tools").first.is_visible()
