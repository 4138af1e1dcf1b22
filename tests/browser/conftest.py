from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

import big_fleet
import page_factory
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.pages import build_pages

QUIET = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's chromium; tests are skipped where it is not installed."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no chromium on this machine: install Debian's package to run these tests")
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=program, args=list(QUIET))
        yield running
        running.close()


@pytest.fixture(scope="session")
def invented() -> PageInputs:
    """An invented fleet of 40 units, finished for the pages."""
    inputs: PageInputs = big_fleet.big_inputs(page_factory, 40)
    return inputs


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory, invented: PageInputs) -> Path:
    """The pages of an invented fleet of 40 units, as files."""
    out = tmp_path_factory.mktemp("pages")
    (out / "sheets").mkdir()
    for name, text in build_pages(invented).items():
        (out / name).write_text(text, encoding="utf-8")
    return out
