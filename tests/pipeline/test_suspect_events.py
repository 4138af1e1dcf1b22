"""Rows that contradict their unit or their pivot, and those that only nearly do."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest


def told(fleet: Any) -> list[tuple[str, str, str]]:
    rows = fleet.suspects()
    return list(zip(rows["kind"], rows["table"], rows["evidence"], strict=True))


@pytest.mark.parametrize(
    ("table", "make"), [("repairs", "repair"), ("readings", "reading"), ("lube", "lube")]
)
def test_a_row_before_service(factory: ModuleType, table: str, make: str) -> None:
    row = getattr(factory, make)(-5) | {"odometer": 0}
    (found,) = told(factory.fleet(**{table: [row]}))
    assert found[:2] == ("before-service", table)
    assert "2019-12-27 lies before the unit was put to work on 2020-01-01" in found[2]
    assert told(factory.fleet(**{table: [getattr(factory, make)(0)]})) == []


def test_a_reading_after_the_unit_left(factory: ModuleType) -> None:
    gone = factory.unit(left_fleet_date=factory.date(300), left_fleet_odometer=30_000)
    (found,) = told(factory.fleet(units=[gone], readings=[factory.reading(301, 1.0)]))
    assert found[:2] == ("after-leaving", "readings")
    assert found[2] == ("reading_date 2020-10-28 lies after the unit left the fleet on 2020-10-27")
    assert told(factory.fleet(units=[gone], readings=[factory.reading(300, 1.0)])) == []
    assert told(factory.fleet(units=[factory.unit()], readings=[factory.reading(301, 1.0)])) == []


def test_a_reading_where_nothing_is_fitted(factory: ModuleType) -> None:
    out = factory.repair(100, action="removed")
    fleet = factory.fleet(repairs=[out], readings=[factory.reading(150, 1.0)])
    (found,) = told(fleet)
    assert found[:2] == ("nothing-fitted", "readings")
    assert found[2] == (
        "U1.1.left.fixed-eye was read on 2020-05-30, but nothing was fitted then: removed on "
        "2020-04-10 (repairs:RP-0)"
    )
    assert fleet.fate("readings")[0] == "odometer-only"


@pytest.mark.parametrize("over", [{}, {"axle": "", "side": "", "node": ""}])
def test_a_reading_after_a_fitting_is_in_order(factory: ModuleType, over: dict[str, str]) -> None:
    lines = [factory.repair(100, action="removed"), factory.repair(120, action="fitted") | over]
    fleet = factory.fleet(
        pivots=[factory.one_pivot()], repairs=lines, readings=[factory.reading(150, 1.0)]
    )
    assert told(fleet) == []


def test_two_fittings_without_a_removal(factory: ModuleType) -> None:
    first, second = factory.repair(100), factory.repair(200, action="fitted")
    (found,) = told(factory.fleet(repairs=[first, second]))
    assert found[:2] == ("fitted-without-removal", "repairs")
    assert found[2] == (
        "U1.1.left.fixed-eye was fitted on 2020-07-19 while the bushing fitted on 2020-04-10 "
        "(repairs:RP-0) had not been removed"
    )


def test_a_fitting_over_what_records_begin_with(factory: ModuleType) -> None:
    (found,) = told(factory.fleet(repairs=[factory.repair(200, action="fitted")]))
    assert "the bushing in place when records begin had not been removed" in found[2]


def test_a_removal_between_two_fittings(factory: ModuleType) -> None:
    lines = [
        factory.repair(100),
        factory.repair(200, action="removed"),
        factory.repair(200, action="fitted"),
        factory.repair(300),
    ]
    assert told(factory.fleet(repairs=lines)) == []
