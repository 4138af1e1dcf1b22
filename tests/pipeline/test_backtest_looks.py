"""What counts as having looked at a pivot."""

from __future__ import annotations

from types import ModuleType, SimpleNamespace
from typing import Any

import pandas as pd
import pytest

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


@pytest.mark.parametrize(("before", "days"), [(0.7, [300, 1_500]), (0.8, [300])])
def test_a_zero_after_a_play_was_not_measured(
    factory: ModuleType, before: float, days: list[int]
) -> None:
    """Play does not shrink from a quarter of the limit (3.2 mm) to nothing."""
    table = found(factory, readings=[factory.reading(300, before), factory.reading(1_500, 0.0)])
    assert table["date"].tolist() == [factory.stamp(day) for day in days]


def test_a_zero_that_nothing_contradicts_is_a_sound_bushing(factory: ModuleType) -> None:
    """At 150,000 miles it is suspect elsewhere; leaving it out would show too much wear."""
    table = found(factory, readings=[factory.reading(1_500, 0.0), factory.reading(1_600, 1.0)])
    assert table["sound"].tolist() == [True, True]


HIDDEN = ({"load_state": "loaded"}, {"greased_before": "yes"})


@pytest.mark.parametrize("hides", HIDDEN)
def test_load_and_fresh_grease_hide_play(factory: ModuleType, hides: dict[str, str]) -> None:
    plain = [factory.reading(300 + day, 1.0, load_state="unloaded") for day in range(10)]
    table = found(factory, readings=[*plain, factory.reading(400, 2.0, **hides)])
    assert table["is_plain"].tolist() == [True] * 10 + [False]


@pytest.mark.parametrize("hides", HIDDEN)
def test_a_type_never_read_otherwise_is_taken_at_face_value(
    factory: ModuleType, hides: dict[str, str]
) -> None:
    rows = [factory.reading(300 + day, 1.0, **hides) for day in range(10)]
    assert found(factory, readings=rows)["is_plain"].all()


def test_what_is_not_judged_by_play_cannot_be_hidden(factory: ModuleType) -> None:
    rows = [factory.reading(300 + day, "", finding="ok") for day in range(10)]
    rows.append(factory.reading(400, "", finding="split", load_state="loaded"))
    pivots = [factory.one_pivot(bushing_type="rubber-bonded")]
    table = found(factory, pivots=pivots, readings=rows)
    assert len(table) == 11
    assert table["is_plain"].all()


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


@pytest.mark.parametrize(
    ("reason", "place", "kind"),
    [
        ("broken", "shop", "failure"),
        ("seized", "roadside", "failure"),
        ("seized", "shop", "tear-down"),
        ("loose-fit", "", "tear-down"),
    ],
)
def test_a_failure_is_one_of_the_road_unless_the_shop_found_it(
    factory: ModuleType, reason: str, place: str, kind: str
) -> None:
    row = found(factory, repairs=[factory.repair(600, reason, place=place)]).iloc[0]
    assert row["kind"] == kind
    assert row["finding"] == ("" if kind == "failure" else reason)


def test_what_the_tear_down_showed_stands_before_the_reason(factory: ModuleType) -> None:
    torn = {"teardown_free_play": 2.0, "free_play_unit": "mm", "place": "shop"}
    table = found(factory, repairs=[factory.repair(600, "seized", **torn)])
    assert table[["kind", "finding", "play_mm"]].to_numpy().tolist() == [["tear-down", "", 2.0]]


def test_a_kit_line_tears_down_the_pivot_it_names_alone(factory: ModuleType) -> None:
    line = factory.repair(300, pivots_in_kit=6, teardown_finding="seized")
    fleet = factory.fleet(pivots=factory.six_pivots(), repairs=[line])
    records: Any = SimpleNamespace(placed=fleet.placed, histories=fleet.histories)
    torn = looks(records)
    assert torn["pivot_id"].tolist() == [factory.PIVOT]
    assert len(renewals(records)) == 6
