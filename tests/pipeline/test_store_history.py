"""One row over time: every content it had, with its days."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import store_factory as exports
from pivotlife.pipeline.store import Store, keep
from pivotlife.pipeline.store_history import row_history

DAYS = [dt.date(2026, 3, day) for day in (1, 2, 3, 4)]


def test_versions_of_one_row(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "store"))
    others = [("RD-1", "MD-1", "100", ""), ("RD-3", "MD-1", "300", "")]
    first, second = ("RD-2", "MD-2", "200", ""), ("RD-2", "MD-2", "210", "")
    for day, row in zip(DAYS, ([first], [second], [], [first]), strict=True):
        keep(store, {"readings": exports.export([others[0], *row, others[1]])}, day)
    history = row_history(store, "readings", "RD-2")
    assert history["odometer"].tolist() == ["200", "210", "200"]
    assert history["known_on"].tolist() == [DAYS[0], DAYS[1], DAYS[3]]
    assert history["gone_on"].tolist() == [DAYS[1], DAYS[2], None]
    assert history["superseded_by"].tolist() == [history["row_key"][1], None, None]
    assert history["row_key"][0] == history["row_key"][2]
    still = row_history(store, "readings", "RD-3")
    assert (still["known_on"].tolist(), still["gone_on"].tolist()) == ([DAYS[0]], [None])
    assert row_history(store, "readings", "RD-9").empty


def test_without_a_store(tmp_path: Path) -> None:
    assert row_history(Store(str(tmp_path / "none")), "readings", "RD-1").empty
