"""Repair lines without a position, and kit lines for several pivots."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pytest

LEFT = "U1.1.left."
RIGHT = "U1.1.right."


def renewed(fleet: Any) -> dict[str, bool]:
    """Pivots that were renewed, and whether that is certain."""
    rows = fleet.histories.renewals
    return dict(zip(rows["pivot_id"], rows["certain"], strict=True))


def test_a_kit_for_every_pivot_renews_them_all(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        repairs=[factory.nowhere(factory.repair(600, "campaign", pivots_in_kit=6))],
    )
    assert len(fleet.histories.lives) == 12
    assert list(renewed(fleet).values()) == [True] * 6
    assert fleet.histories.in_service["fitted_miles"].tolist() == [60_000.0] * 6
    fate, reason = fleet.fate("repairs")
    assert fate == "life"
    assert reason.startswith("position missing, attributed to 1.left.fixed-eye, 1.left.shackle")
    assert reason.endswith(" by the only pivots it can mean")


def test_a_side_is_renewed_by_a_kit_of_three(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        repairs=[factory.repair(600, pivots_in_kit=3, node="")],
    )
    assert sorted(renewed(fleet)) == [
        LEFT + node for node in ("fixed-eye", "shackle-lower", "shackle-upper")
    ]


def test_a_named_shackle_with_a_kit_of_two_renews_the_shackle(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        repairs=[factory.repair(600, "seized", node="shackle-lower", pivots_in_kit=2)],
    )
    assert renewed(fleet) == {LEFT + "shackle-lower": True, LEFT + "shackle-upper": False}
    # The failure is the named pivot's; the other one came out with it.
    assert fleet.life(1, LEFT + "shackle-lower")["mode"] == "seized"
    assert fleet.life(1, LEFT + "shackle-upper")["removed_reason"] == "partner"


def test_a_line_without_node_takes_that_of_its_kit(factory: ModuleType) -> None:
    kit = {"kit_id": "K1", "bushing_type": "threaded", "node": "shackle-upper"}
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        repairs=[factory.repair(600, node="", kit_id="K1")],
        kits=[kit],
    )
    assert renewed(fleet) == {LEFT + "shackle-upper": True}


def open_line(factory: ModuleType, *readings: object, **over: object) -> Any:
    return factory.fleet(
        pivots=factory.six_pivots(),
        readings=list(readings),
        repairs=[factory.nowhere(factory.repair(600, "wear", **over))],
    )


def test_an_open_line_closes_every_life_it_may_have_ended(factory: ModuleType) -> None:
    good = factory.reading(300, 1.0)
    later = factory.reading(900, 1.5)
    fleet = open_line(factory, good, later)
    old, new = fleet.life(1), fleet.life(2)
    assert (old["lower_miles"], old["upper_miles"]) == (30_000.0, np.inf)
    assert (old["evidence"], old["removed_reason"]) == ("other-removal", "unplaced-repair")
    assert (new["evidence"], new["in_fit"]) == ("unknown-age", False)
    assert len(fleet.histories.lives) == 12
    fate, reason = fleet.fate("repairs")
    assert fate == "context"
    assert "any of 6 pivots" in reason
    row = fleet.histories.in_service.set_index("pivot_id").loc[factory.PIVOT]
    # If it was not renewed there it is as old as the truck.
    assert (row["age_known"], row["age_at_most_miles"]) == (False, 90_000.0)


@pytest.mark.parametrize(
    ("sign", "says"),
    [
        ("bad", "bad evidence was standing there"),
        ("after", "looked at again after the repair"),
        ("drop", "its play is that of a new bushing afterwards"),
    ],
)
def test_an_open_line_is_placed_where_one_sign_points(
    factory: ModuleType, sign: str, says: str
) -> None:
    readings = {
        "bad": [factory.reading(600, 3.9)],
        "after": [factory.reading(600, 0.2, after_repair="yes")],
        "drop": [factory.reading(550, 2.9), factory.reading(700, 0.3)]
        + [
            factory.reading(day, 1.5, side=side, node=node)
            for side, node in factory.SIX[1:]
            for day in (550, 700)
        ],
    }[sign]
    fleet = open_line(factory, *readings)
    assert renewed(fleet) == {factory.PIVOT: False}
    told = f"position missing, attributed to 1.left.fixed-eye by {says}"
    assert fleet.fate("repairs") == ("life", told)
    assert fleet.life(2)["fitted_odometer_miles"] == 60_000.0


def test_a_new_bushings_play_places_nothing_while_others_may_have_been_renewed(
    factory: ModuleType,
) -> None:
    fleet = open_line(factory, factory.reading(550, 2.9), factory.reading(700, 0.3))
    assert renewed(fleet) == {}


def test_a_partner_goes_with_its_shackle_before_any_other_sign(factory: ModuleType) -> None:
    """Bad evidence on the other side is another job's."""
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        readings=[factory.reading(550, 2.9, node="shackle-upper"),
                  factory.reading(700, 0.3, node="shackle-upper")],
        repairs=[
            factory.repair(600, "wear", side="right", node="shackle-lower"),
            factory.nowhere(factory.repair(600, "partner")),
        ],
    )  # fmt: skip
    assert set(renewed(fleet)) == {RIGHT + "shackle-lower", RIGHT + "shackle-upper"}


def test_two_standing_bad_pivots_leave_a_line_for_one_open(factory: ModuleType) -> None:
    fleet = open_line(factory, factory.reading(600, 3.9), factory.reading(600, 3.9, side="right"))
    assert renewed(fleet) == {}


def test_an_open_partner_goes_with_the_shackle_of_that_day(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        repairs=[
            factory.repair(600, "wear", side="right", node="shackle-lower"),
            factory.nowhere(factory.repair(600, "partner")),
        ],
    )
    assert set(renewed(fleet)) == {RIGHT + "shackle-lower", RIGHT + "shackle-upper"}
    assert fleet.life(1, RIGHT + "shackle-upper")["evidence"] == "none-after-entry"


def test_open_lines_that_fill_the_unit_are_placed_together(factory: ModuleType) -> None:
    named = [factory.repair(600, "campaign", side=s, node=n) for s, n in factory.SIX[:4]]
    loose = [factory.nowhere(factory.repair(600, "campaign")) for _ in range(2)]
    fleet = factory.fleet(pivots=factory.six_pivots(), repairs=[*named, *loose])
    assert len(renewed(fleet)) == 6
    assert fleet.histories.in_service["age_known"].all()


def test_a_kit_line_for_wear_blames_the_bad_pivot_only(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        readings=[
            factory.reading(500, 1.0, side="right"),
            factory.reading(500, 1.0),
            factory.reading(600, 3.6),
        ],
        repairs=[factory.nowhere(factory.repair(600, "wear", pivots_in_kit=6))],
    )
    assert fleet.life(1)["evidence"] == "bad-reading"
    assert fleet.life(1, RIGHT + "fixed-eye")["evidence"] == "partner"


def test_two_lines_for_one_pivot_and_day_are_one_job(factory: ModuleType) -> None:
    fleet = factory.fleet(repairs=[factory.repair(600), factory.repair(600, "unknown")])
    assert len(fleet.histories.lives) == 2
    assert fleet.fate("repairs", 1) == ("context", "part of another line's job of that day")


def test_a_repair_on_a_unit_without_pivots_is_not_needed(factory: ModuleType) -> None:
    fleet = factory.fleet(pivots=[], repairs=[factory.nowhere(factory.repair(600))])
    assert fleet.fate("repairs") == ("not-needed", "its unit has no pivots on record")
