"""Each suspicion about a play is raised in a made case and not in its near-miss."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest

Rows = list[dict[str, Any]]


def kinds(fleet: Any) -> set[str]:
    return set(fleet.suspects()["kind"])


def inches(factory: ModuleType, day: int, play: str, **over: Any) -> dict[str, Any]:
    row: dict[str, Any] = factory.reading(day, play, free_play_unit="in", **over)
    return row


def test_a_zero_on_old_metal_is_suspect(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(600, 0)])
    (row,) = fleet.suspects().to_dict("records")
    assert row["kind"] == "zero-not-measured"
    assert (row["table"], row["row_id"], row["column"]) == ("readings", "RD-0", "free_play")
    assert row["evidence"] == "0 on a metal bushing of 60,000 miles"
    assert row["excluded"] == "no"


def test_a_zero_on_metal_of_unknown_age_is_suspect_where_it_may_be_old(factory: ModuleType) -> None:
    pivots = [factory.one_pivot(fitted_odometer="")]
    fleet = factory.fleet(pivots=pivots, readings=[factory.reading(600, 0)])
    (row,) = fleet.suspects().to_dict("records")
    assert row["evidence"] == "0 on a metal bushing of unknown miles"
    assert fleet.histories.readings["is_suspect"].all()
    assert kinds(factory.fleet(pivots=pivots, readings=[factory.reading(400, 0)])) == set()


@pytest.mark.parametrize(
    "near",
    [
        {"day": 400},
        {"day": 600, "finding": "seized"},
        {"day": 600, "takes_grease": "no"},
        {"day": 600, "play": 0.1},
    ],
)
def test_zeros_that_are_explained_are_not(factory: ModuleType, near: dict[str, Any]) -> None:
    row = {"play": 0} | near
    assert kinds(factory.fleet(readings=[factory.reading(**row)])) == set()


def test_a_zero_after_a_clear_play_is_suspect_on_any_bushing(factory: ModuleType) -> None:
    pivots = [factory.one_pivot(bushing_type="rubber-bonded")]
    readings = [factory.reading(100, 1.4, finding="ok"), factory.reading(200, 0, finding="ok")]
    fleet = factory.fleet(pivots=pivots, readings=readings)
    assert fleet.suspects()["evidence"].tolist() == ["0 after 1.40 mm on the same bushing"]
    readings[0] = factory.reading(100, 1.1, finding="ok")
    assert kinds(factory.fleet(pivots=pivots, readings=readings)) == set()


def test_a_zero_after_a_new_bushing_is_not(factory: ModuleType) -> None:
    readings = [factory.reading(100, 1.4), factory.reading(200, 0)]
    fleet = factory.fleet(readings=readings, repairs=[factory.repair(150)])
    assert kinds(fleet) == set()


def sheet(factory: ModuleType, plays: list[float], **over: Any) -> Rows:
    return [
        factory.reading(100, play, side=side, node=node, **over)
        for play, (side, node) in zip(plays, factory.SIX, strict=False)
    ]


def test_a_sheet_of_zeros_is_suspect_and_one_play_ends_it(factory: ModuleType) -> None:
    pivots = factory.six_pivots()
    fleet = factory.fleet(pivots=pivots, readings=sheet(factory, [0, 0, 0, 0]))
    assert fleet.suspects("sheet-of-zeros")["row_id"].tolist() == ["RD-0", "RD-1", "RD-2", "RD-3"]
    assert "all 4 metal pivots" in fleet.suspects()["evidence"].iloc[0]
    assert kinds(factory.fleet(pivots=pivots, readings=sheet(factory, [0, 0, 0, 0.3]))) == set()
    assert kinds(factory.fleet(pivots=pivots, readings=sheet(factory, [0, 0]))) == set()
    rubber = factory.six_pivots(bushing_type="rubber-bonded")
    assert kinds(factory.fleet(pivots=rubber, readings=sheet(factory, [0, 0, 0, 0]))) == set()


def by(factory: ModuleType, plays: list[float]) -> Any:
    readings = [
        factory.reading(10 * n, play, inspector="Northpit Z") for n, play in enumerate(plays, 1)
    ]
    return factory.fleet(readings=readings)


def test_an_inspector_who_always_reports_one_number(factory: ModuleType) -> None:
    fleet = by(factory, [1.2] * 14 + [1.3, 1.4])
    told = fleet.suspects("same-number")
    assert len(told) == 14
    assert told["evidence"].iloc[0] == ("Northpit Z wrote 1.20 mm in 14 of 16 readings on 14 days")
    assert kinds(by(factory, [1.2] * 12 + [1.3, 1.4, 1.5, 1.6])) == set()
    assert kinds(by(factory, [1.2] * 14)) == set()


def test_one_long_day_is_no_habit(factory: ModuleType) -> None:
    rows = [
        factory.reading(100, 1.2, inspector="Z", repeat=str(n), node=node, side=side)
        for n in range(3)
        for side, node in factory.SIX
    ]
    assert kinds(factory.fleet(pivots=factory.six_pivots(), readings=rows)) == set()


def test_whole_inches_are_thousandths_and_withheld_above_one(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[inches(factory, 100, "60"), inches(factory, 200, "1")])
    told = fleet.suspects("thousandths-as-inches")
    assert told["row_id"].tolist() == ["RD-0", "RD-1"]
    assert told["evidence"].iloc[0] == "60 in inches: thousandths? 0.060 in is 1.52 mm"
    assert fleet.judged.withheld["readings"]["row_id"].tolist() == ["RD-0"]
    near = [inches(factory, 100, "0.060"), factory.reading(200, 60, free_play_unit="thou")]
    assert kinds(factory.fleet(readings=near)) == set()


def test_the_teardown_play_is_looked_at_as_well(factory: ModuleType) -> None:
    line = factory.repair(100, teardown_free_play="125", free_play_unit="in")
    fleet = factory.fleet(repairs=[line])
    (row,) = fleet.suspects().to_dict("records")
    assert (row["table"], row["column"]) == ("repairs", "teardown_free_play")
    assert row["kind"] == "thousandths-as-inches"


@pytest.mark.parametrize("written", ["1.0", "1.5", "12.7"])
def test_more_than_an_inch_with_decimals_is_millimetres(factory: ModuleType, written: str) -> None:
    fleet = factory.fleet(readings=[inches(factory, 100, written)])
    assert kinds(fleet) == {"millimetres-as-inches"}


def test_a_play_far_from_its_neighbours_is_millimetres(factory: ModuleType) -> None:
    rows = [inches(factory, day, "0.024") for day in (100, 300)]
    fleet = factory.fleet(readings=[*rows, inches(factory, 200, "0.7")])
    (row,) = fleet.suspects().to_dict("records")
    assert (row["kind"], row["row_id"]) == ("millimetres-as-inches", "RD-2")
    assert "0.7 in is 17.78 mm, the same bushing read 0.61 mm" in row["evidence"]


@pytest.mark.parametrize(
    ("before", "written", "over"),
    [
        ("0.060", "0.2", {}),  # 5 mm after 1.5 mm: it wears
        ("0.024", "0.701", {}),  # nobody reads millimetres to 0.001
        ("0.024", "0.7", {"finding": "split"}),  # the finding bears the play out
    ],
)
def test_a_play_that_may_have_grown_is_not(
    factory: ModuleType, before: str, written: str, over: dict[str, Any]
) -> None:
    rows = [inches(factory, 100, before), inches(factory, 200, written, **over)]
    assert kinds(factory.fleet(readings=rows)) == set()


def test_without_neighbours_only_a_huge_play_is(factory: ModuleType) -> None:
    assert kinds(factory.fleet(readings=[inches(factory, 100, "0.4")])) == {"millimetres-as-inches"}
    assert kinds(factory.fleet(readings=[inches(factory, 100, "0.3")])) == set()


def test_a_play_that_shrank_is_listed(factory: ModuleType) -> None:
    readings = [factory.reading(100, 6.0), factory.reading(200, 1.0)]
    fleet = factory.fleet(readings=readings)
    assert fleet.suspects()["kind"].tolist() == ["play-shrank"]
    assert fleet.suspects()["evidence"].iloc[0].startswith("6.00 mm on 2020-04-10, good again")
    assert kinds(factory.fleet(readings=[readings[0], factory.reading(200, 3.1)])) == set()
