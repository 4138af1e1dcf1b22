"""The page on earlier lists: complete, escaped, asks for nothing."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from backtest_factory import many
from pivotlife.dashboards.backtest import backtest_page, earlier_lists, rules_table
from pivotlife.dashboards.pages import build_pages
from pivotlife.models.backtest_calibration import calibration_bins
from pivotlife.models.backtest_counts import backtest_table
from pivotlife.models.backtest_rules import RulePrices, compare_rules

PRICES = RulePrices({("threaded", "regional"): 0.01}, {"threaded": 300.0}, 0.002, {"regional": 1e4})


@pytest.fixture(scope="module")
def tables() -> dict[str, pd.DataFrame]:
    pairs = many(1, pairs=400, units=40)
    return {
        "backtest": backtest_table(pairs, draws=40),
        "calibration": calibration_bins(pairs, draws=40),
        "backtest_costs": compare_rules(pairs.assign(duty="regional"), PRICES, draws=40),
    }


def record(**over: Any) -> dict[str, Any]:
    return {
        "as_of": "2026-06-30",
        "lists": ["2025-12-30", "2026-03-30"],
        "currency": "USD",
        "verdicts": {"threaded": "calibrated"},
        "sentences": {"all": "Of 3 pivots flagged, 2 were found worn.", "threaded": "The same."},
        "notes": ["Limits are today's."],
        **over,
    }


def test_the_page_says_what_was_found(tables: dict[str, pd.DataFrame]) -> None:
    page = backtest_page(tables, record(), "Demo")
    assert "2 lists, 2025-12-30 to 2026-03-30" in page
    assert "All types:" in page
    assert "Of 3 pivots flagged, 2 were found worn." in page
    assert "Limits are today&#39;s." in page
    assert "<svg" in page
    assert "http://www.w3.org" not in page.split("</style>")[0]
    assert "judged by their life curve" not in page
    assert page == backtest_page(tables, record(), "Demo")


def test_a_failed_type_is_said_in_bold(tables: dict[str, pd.DataFrame]) -> None:
    page = backtest_page(tables, record(verdicts={"threaded": "not calibrated"}), "Demo")
    assert "threaded bushings are judged by their life curve and findings" in page


def test_text_is_escaped(tables: dict[str, pd.DataFrame]) -> None:
    page = backtest_page(tables, record(sentences={"all": "<script>x</script>"}), "<b>")
    assert "<script>x" not in page
    assert "<b>&" not in page


def test_a_page_without_any_look_still_stands(tables: dict[str, pd.DataFrame]) -> None:
    bare = {
        "backtest": tables["backtest"].assign(ratio=np.nan, skill=np.nan, brier=np.nan),
        "calibration": tables["calibration"].assign(verified=0, found=np.nan),
        "backtest_costs": tables["backtest_costs"].iloc[:0],
    }
    page = backtest_page(bare, record(), "Demo")
    assert "Nobody looked at any pivot" in page
    assert "No bushing of these lists was looked at." in page


def test_rules_name_their_best_setting(tables: dict[str, pd.DataFrame]) -> None:
    rows = rules_table(tables["backtest_costs"], "USD").rows
    names = [row[1].text for row in rows]
    assert "the list" in names
    assert any(name.startswith("at fixed miles (best:") for name in names)
    assert rows[0][7].text == "itself"


def test_a_run_without_a_backtest_says_nothing() -> None:
    assert earlier_lists({}) == ()
    assert earlier_lists({"backtest": {}}) == ()
    assert earlier_lists({"backtest": record()})[0].startswith("All types: Of 3")


def test_a_runs_pages_tell_of_earlier_lists_only_where_there_are_any(factory: ModuleType) -> None:
    plain = factory.make_inputs()
    told = replace(plain, run={**plain.run, "backtest": record()})
    without, with_one = build_pages(plain), build_pages(told)
    assert "How earlier lists did" not in without["engineer.html"]
    assert "How earlier lists did" in with_one["engineer.html"]
    assert "All types: Of 3 pivots flagged" in with_one["engineer.html"]
    assert "backtest.html" in with_one["index.html"]
    assert "backtest.html" not in without["index.html"]
