"""What a run makes of a backtest: nothing without one, no growth law for a type that failed."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.pipeline.backtest_trust import Trust, newest_backtest, trusted_laws, with_sentences

RECORD: dict[str, Any] = {
    "as_of": "2026-06-30",
    "lists": ["2026-02-28"],
    "verdicts": {"threaded": "not calibrated", "roller": "calibrated", "rubber-bonded": "too few"},
    "sentences": {"all": "Of 3 pivots flagged ..."},
}


def laws() -> GrowthLaws:
    # A law is handed through as it is: any object stands for one.
    one: Any = object()
    spoken = {("threaded", "all"): one, ("threaded", "regional"): one, ("roller", "all"): one}
    return GrowthLaws(spoken, {("threaded", "vocational"): "too uncertain"})


def test_only_types_that_failed_are_named() -> None:
    assert set(Trust(RECORD).distrusted) == {"threaded"}
    assert Trust(RECORD).notes() == list(Trust(RECORD).distrusted.values())
    assert Trust().distrusted == {}


def test_a_failed_type_has_no_growth_law_in_any_duty() -> None:
    left = trusted_laws(laws(), Trust(RECORD).distrusted)
    for duty in ("regional", "vocational", "line-haul"):
        law, said = left.law("threaded", duty)
        assert law is None
        assert "did not come true (backtest of 2026-06-30)" in said
    assert ("roller", "all") in left.laws


def test_without_a_backtest_nothing_changes() -> None:
    before = laws()
    assert trusted_laws(before, {}) is before
    lines = pd.DataFrame({"bushing_type": ["threaded"], "mandatory": [False], "reason": ["x"]})
    assert with_sentences(lines, {}) is lines


def test_safety_orders_keep_their_own_words() -> None:
    lines = pd.DataFrame(
        {
            "bushing_type": ["threaded", "threaded", "roller"],
            "mandatory": [True, False, False],
            "reason": ["over its limit", "waiting costs less", "waiting costs less"],
        }
    )
    said = with_sentences(lines, Trust(RECORD).distrusted)["reason"].tolist()
    assert said[0] == "over its limit"
    assert said[1].startswith("waiting costs less Past chances of threaded")
    assert said[2] == "waiting costs less"


@pytest.mark.parametrize("spoilt", ["missing", "no json", "no verdicts", "later", "no page"])
def test_what_cannot_be_read_or_is_later_is_not_looked_at(tmp_path: Path, spoilt: str) -> None:
    folder = tmp_path / "backtest" / "latest"
    folder.mkdir(parents=True)
    for name in ("backtest.html", "backtest.csv", "calibration.csv"):
        (folder / name).write_text("x", encoding="utf-8")
    record = {k: v for k, v in RECORD.items() if spoilt != "no verdicts" or k != "verdicts"}
    text = "{" if spoilt == "no json" else json.dumps(record)
    if spoilt != "missing":
        (folder / "backtest.json").write_text(text, encoding="utf-8")
    if spoilt == "no page":
        (folder / "backtest.html").unlink()
    day = dt.date(2026, 6, 29 if spoilt == "later" else 30)
    assert newest_backtest(tmp_path, day).record == {}
