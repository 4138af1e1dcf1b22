"""Readings entered twice: one counts, both are listed, nothing known on a past day is lost."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest


def entered(factory: ModuleType, *rows: dict[str, Any], **over: Any) -> Any:
    return factory.fleet(pivots=factory.six_pivots(), readings=list(rows), **over)


def test_a_second_entry_on_another_day_is_dropped_and_both_are_listed(
    factory: ModuleType,
) -> None:
    late = factory.reading(100, 1.2, entered_date=factory.date(120), remark="again")
    early = factory.reading(100, 1.2, entered_date=factory.date(101))
    fleet = entered(factory, late, early)
    rows = fleet.suspects("entered-twice").set_index("row_id")
    assert rows["excluded"].to_dict() == {"RD-1": "no", "RD-0": "yes"}
    assert rows.loc["RD-0", "evidence"] == "the same as readings:RD-1 but for its id: kept once"
    used = fleet.screened.histories
    assert used.readings["row_id"].tolist() == ["RD-1"]
    fates = used.fates.query("table == 'readings'").set_index("row_id")
    assert fates.loc["RD-0", ["fate", "reason"]].tolist() == [
        "not-needed",
        "entered twice, kept once",
    ]
    assert len(used.fates) == len(fleet.histories.fates)


def test_standing_before_the_second_entry_the_first_counts(factory: ModuleType) -> None:
    late = factory.reading(100, 1.2, entered_date=factory.date(120))
    early = factory.reading(100, 1.2, entered_date=factory.date(101))
    fleet = entered(factory, late, early, today=110)
    assert fleet.suspects().empty
    assert fleet.histories.readings["row_id"].tolist() == ["RD-1"]


@pytest.mark.parametrize(
    "other",
    [
        {"play": 1.3},
        {"finding": "ok"},
        {"direction": "lateral"},
        {"repeat": "2"},
        {"after_repair": "yes"},
        {"inspector": "B"},
        {"day": 101},
    ],
)
def test_looks_that_differ_both_count(factory: ModuleType, other: dict[str, Any]) -> None:
    usual = {"day": 100, "play": 1.2, "entered_date": factory.date(120)}
    again = usual | {"entered_date": factory.date(121)} | other
    fleet = entered(factory, factory.reading(**usual), factory.reading(**again))
    assert fleet.suspects("entered-twice").empty
    assert len(fleet.screened.histories.readings) == 2


def test_a_mistaken_side_is_no_second_entry(factory: ModuleType) -> None:
    """Two equal lines of one sheet on which the other side's pivot is missing."""
    twice = [factory.reading(100, 1.2), factory.reading(100, 1.2)]
    assert entered(factory, *twice).suspects().empty
    mirror = factory.reading(100, 0.9, side="right")
    assert entered(factory, *twice, mirror).suspects("entered-twice")["row_id"].tolist() == [
        "RD-0",
        "RD-1",
    ]


def test_rows_without_a_position_or_without_a_word_are_no_copies(factory: ModuleType) -> None:
    days = [{"entered_date": factory.date(100 + n)} for n in range(2)]
    nowhere = [factory.nowhere(factory.reading(100, 1.2, **day)) for day in days]
    silent = [factory.reading(200, **day) for day in days]
    assert entered(factory, *nowhere, *silent).suspects().empty


def test_rows_repeated_word_for_word_are_listed_with_the_one_kept(factory: ModuleType) -> None:
    fleet = factory.fleet(lube=[factory.lube(100), factory.lube(100), factory.lube(200)])
    rows = fleet.suspects()
    assert rows["kind"].tolist() == ["entered-twice", "entered-twice"]
    assert rows["row_number"].tolist() == [2, 3]
    assert rows["excluded"].tolist() == ["no", "yes"]
    assert rows["unit_id"].tolist() == ["U1", "U1"]
    assert rows["evidence"].tolist() == [
        "repeated word for word; kept",
        "repeats row 2 word for word: kept once",
    ]
