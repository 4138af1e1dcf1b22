"""Readings and repairs that leave part of their position open."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest

from pivotlife.pipeline.missing_places import UNKNOWN
from pivotlife.pipeline.run_notes import place_note

SHACKLE_UP = "U1.1.left.shackle-upper"


def sheet(factory: ModuleType, day: int, *open_rows: dict[str, Any], skip: int = 1) -> list[Any]:
    """Readings of the six pivots on a day, the last `skip` of them left out."""
    rows = [factory.reading(day, 0.5, side=s, node=n) for s, n in factory.SIX]
    return [*rows[: len(rows) - skip], *open_rows]


def fleet(factory: ModuleType, *readings: Any, **tables: Any) -> Any:
    given = {"pivots": factory.six_pivots()} | tables
    return factory.fleet(readings=list(readings), **given)


def read_at(fleet: Any) -> dict[str, str]:
    rows = fleet.histories.readings
    rows = rows[rows["placed_by"] != ""]
    return dict(zip(rows["pivot_id"], rows["placed_by"], strict=True))


def test_the_one_pivot_left_over_takes_the_open_row(factory: ModuleType) -> None:
    made = fleet(factory, *sheet(factory, 300, factory.nowhere(factory.reading(300, 1.0))))
    assert list(read_at(made)) == ["U1.1.right.shackle-upper"]
    fate, reason = made.fate("readings", 5)
    assert fate == "reading"
    assert reason == (
        "position missing, attributed to U1.1.right.shackle-upper by the only pivot that the "
        "other rows of its sheet did not read"
    )
    row = made.histories.in_service.set_index("pivot_id").loc["U1.1.right.shackle-upper"]
    assert row["last_free_play_mm"] == 1.0


def test_two_pivots_left_over_leave_the_row_unknown(factory: ModuleType) -> None:
    made = fleet(factory, *sheet(factory, 300, factory.nowhere(factory.reading(300, 1.0)), skip=2))
    assert read_at(made) == {}
    assert made.fate("readings", 4) == ("odometer-only", UNKNOWN)
    plays = made.histories.readings["free_play_mm"]
    assert (plays == 0.5).all()


def test_a_named_side_narrows_two_open_rows(factory: ModuleType) -> None:
    rows = [factory.reading(300, 0.5, side=s, node=n) for s, n in factory.SIX if n != "fixed-eye"]
    rows += [factory.reading(300, 1.0, side="left", node=""),
             factory.nowhere(factory.reading(300, 2.0))]  # fmt: skip
    made = fleet(factory, *rows)
    assert set(read_at(made)) == {"U1.1.left.fixed-eye", "U1.1.right.fixed-eye"}
    plays = made.histories.readings.set_index("pivot_id")["free_play_mm"]
    assert plays["U1.1.right.fixed-eye"] == 2.0


def test_a_pivot_read_twice_spoils_the_inference(factory: ModuleType) -> None:
    """One of the two stands for a pivot that was not named."""
    twice = factory.reading(300, 0.6, side="left", node="fixed-eye", reading_id="again")
    open_row = factory.nowhere(factory.reading(300, 1.0))
    made = fleet(factory, *sheet(factory, 300, twice, open_row))
    assert read_at(made) == {}


def test_another_days_rows_say_nothing(factory: ModuleType) -> None:
    made = fleet(factory, *sheet(factory, 300), factory.nowhere(factory.reading(301, 1.0)))
    assert read_at(made) == {}


def test_only_rubber_splits(factory: ModuleType) -> None:
    pivots = factory.six_pivots()
    pivots[2] = pivots[2] | {"bushing_type": "rubber-bonded"}
    torn = factory.nowhere(factory.reading(300, finding="split"))
    made = fleet(factory, torn, pivots=pivots)
    assert read_at(made) == {
        SHACKLE_UP: "the only pivot of its unit with a bushing that can show this"
    }
    assert made.life(1, SHACKLE_UP)["mode"] == "split"


def test_a_unit_with_one_pivot_has_one_possibility(factory: ModuleType) -> None:
    made = factory.fleet(readings=[factory.nowhere(factory.reading(300, 1.0))])
    assert read_at(made) == {factory.PIVOT: "the only pivot of its unit that it can mean"}


def test_a_remark_names_the_pivot_of_a_reading(factory: ModuleType) -> None:
    row = factory.nowhere(factory.reading(300, 1.0, remark="LH upper shackle"))
    made = fleet(factory, row)
    assert read_at(made) == {
        SHACKLE_UP: "its remark and the only pivot of its unit that it can mean"
    }


@pytest.mark.parametrize(
    "remark", ["RH upper shackle", "axle 2 LH upper shackle", "check LH upper shackle next time"]
)
def test_a_remark_that_contradicts_its_row_or_the_unit_says_nothing(
    factory: ModuleType, remark: str
) -> None:
    row = factory.reading(300, 1.0, side="left", node="", remark=remark)
    assert read_at(fleet(factory, row)) == {}


def test_a_remark_names_the_pivot_of_a_repair(factory: ModuleType) -> None:
    line = factory.nowhere(factory.repair(600, remark="renewed LH upper shackle pin"))
    made = fleet(factory, repairs=[line])
    assert made.histories.renewals["pivot_id"].tolist() == [SHACKLE_UP]
    assert made.fate("repairs") == (
        "life",
        "position missing, attributed to 1.left.shackle-upper by its remark and the only pivots "
        "it can mean",
    )


def test_what_a_remark_tells_ends_no_danger(factory: ModuleType) -> None:
    """The lives believe it; a pivot over its limit stands until a line names it."""
    over = factory.reading(500, 3.9, side="left", node="shackle-upper")
    line = factory.nowhere(factory.repair(600, remark="renewed LH upper shackle pin"))
    made = fleet(factory, over, repairs=[line])
    assert not made.histories.renewals["certain"].any()
    cleared = made.safety.clearances
    assert SHACKLE_UP not in set(cleared.loc[cleared["kind"] == "replaced", "pivot_id"])


def test_an_inferred_reading_warns_twice_and_clears_nothing(factory: ModuleType) -> None:
    bad = factory.nowhere(factory.reading(300, 3.9))
    made = fleet(factory, *sheet(factory, 300, bad))
    places = made.safety.evidence.query("play_mm == 3.9")["pivot_id"]
    assert sorted(places) == ["", "U1.1.right.shackle-upper"]
    good = fleet(factory, *sheet(factory, 300, factory.nowhere(factory.reading(300, 1.0))))
    clear = good.safety.clearances.query("kind == 'good-evidence'")["pivot_id"]
    assert "U1.1.right.shackle-upper" not in set(clear)
    assert len(clear) == 5


def test_a_run_counts_what_was_attributed_and_what_stays_unknown(factory: ModuleType) -> None:
    lost = [factory.nowhere(factory.reading(day, 1.0)) for day in (300, 400, 500)]
    line = factory.nowhere(factory.repair(600, "wear"))
    made = fleet(factory, *sheet(factory, 300, lost[0]), *lost[1:], repairs=[line])
    assert place_note(made.histories.fates) == [
        "4 readings and repairs do not name their whole position: 1 can mean only one place, "
        "3 stay unknown and are not spread over the pivots of their units; the ledger says which "
        "and from what."
    ]
    assert place_note(fleet(factory, *sheet(factory, 300)).histories.fates) == []
