"""What counts as having looked at a pivot."""

from __future__ import annotations

from types import ModuleType, SimpleNamespace
from typing import Any

import pandas as pd

from pivotlife.pipeline.backtest_looks import LOOK_COLUMNS, looks, renewals


def found(factory: ModuleType, **tables: list[dict[str, Any]]) -> pd.DataFrame:
    fleet = factory.fleet(**tables)
    records: Any = SimpleNamespace(placed=fleet.placed, histories=fleet.histories)
    table = looks(records)
    assert list(table.columns) == list(LOOK_COLUMNS)
    return table


def test_readings_speak_with_one_voice_a_stop(factory: ModuleType) -> None:
    readings = [
        factory.reading(300, 1.0, direction="vertical"),
        factory.reading(300, 3.5, direction="lateral"),
        factory.reading(400, 3.6),
    ]
    table = found(factory, readings=readings)
    assert table[["worn", "sound"]].to_numpy().tolist() == [[True, False], [True, False]]
    assert table["kind"].eq("reading").all()


def test_a_zero_that_may_mean_not_measured_says_nothing(factory: ModuleType) -> None:
    assert found(factory, readings=[factory.reading(1_500, 0.0)]).empty


def test_a_play_far_over_beside_the_word_ok_contradicts_itself(factory: ModuleType) -> None:
    readings = [factory.reading(300, 5.0, finding="ok"), factory.reading(310, 3.3, finding="ok")]
    table = found(factory, readings=readings)
    assert table["play_mm"].tolist() == [3.3]
    assert table["worn"].tolist() == [True]


def test_tear_downs_and_failures_of_the_named_pivot(factory: ModuleType) -> None:
    repairs = [
        factory.repair(300, "preventive", teardown_free_play=2.0, free_play_unit="mm"),
        factory.repair(600, "broken", place="roadside"),
        factory.repair(900, "wear"),
    ]
    table = found(factory, repairs=repairs)
    assert table["kind"].tolist() == ["tear-down", "failure"]
    assert table["play_mm"].iloc[0] == 2.0
    assert table["true_miles"].tolist() == [30_000.0, 60_000.0]
    assert table["worn"].tolist() == [False, True]


def test_a_kit_line_tears_down_the_pivot_it_names_alone(factory: ModuleType) -> None:
    line = factory.repair(300, pivots_in_kit=6, teardown_finding="seized")
    fleet = factory.fleet(pivots=factory.six_pivots(), repairs=[line])
    records: Any = SimpleNamespace(placed=fleet.placed, histories=fleet.histories)
    torn = looks(records)
    assert torn["pivot_id"].tolist() == [factory.PIVOT]
    assert len(renewals(records)) == 6
