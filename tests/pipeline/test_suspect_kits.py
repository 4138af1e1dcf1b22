"""Repair lines that do not go with their kit, and those that do."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pytest


def kit(**over: Any) -> dict[str, Any]:
    row = {"kit_id": "K1", "bushing_type": "threaded", "node": "fixed-eye", "outside": "ribbed"}
    return row | over


def told(factory: ModuleType, line: dict[str, Any], *kits: dict[str, Any]) -> list[list[str]]:
    fleet = factory.fleet(pivots=factory.six_pivots(), kits=list(kits), repairs=[line])
    rows = fleet.suspects()
    found: list[list[str]] = rows[["kind", "column", "evidence"]].to_numpy().tolist()
    return found


def test_a_kit_for_another_node(factory: ModuleType) -> None:
    line = factory.repair(100, node="shackle-upper", kit_id="K1")
    assert told(factory, line, kit()) == [
        ["kit-wrong-node", "kit_id", "kit K1 is for fixed-eye, the line fits it at shackle-upper"]
    ]


def test_a_ribbed_bushing_in_the_hanger(factory: ModuleType) -> None:
    """Ribbed outsides go into spring eyes, smooth ones into the hanger: common practice."""
    line = factory.repair(100, node="shackle-upper", kit_id="K1")
    wrong = kit(node="shackle-upper", outside="ribbed")
    assert told(factory, line, wrong) == [
        [
            "kit-wrong-node",
            "kit_id",
            "kit K1 has a ribbed bushing, shackle-upper takes a smooth one",
        ]
    ]
    assert told(factory, line, kit(node="shackle-upper", outside="smooth")) == []


def test_a_kit_of_another_type(factory: ModuleType) -> None:
    line = factory.repair(100, kit_id="K1", bushing_type="roller")
    assert told(factory, line, kit()) == [
        ["kit-wrong-type", "bushing_type", "kit K1 holds a threaded bushing, the line says roller"]
    ]


@pytest.mark.parametrize(
    "over",
    [
        {"kit_id": "K1", "bushing_type": "threaded"},
        {"kit_id": "K1", "node": ""},
        {"kit_id": "K9", "node": "shackle-upper", "bushing_type": "roller"},
        {"kit_id": "", "node": "shackle-upper"},
        {"kit_id": "K1", "node": "shackle-upper", "action": "removed"},
    ],
)
def test_lines_that_contradict_no_kit(factory: ModuleType, over: dict[str, Any]) -> None:
    assert told(factory, factory.repair(100, **over), kit()) == []


@pytest.mark.parametrize(
    ("over", "fewer"),
    [
        ({"node": "", "pivots_in_kit": 6}, "where it is there are 3"),
        ({"node": "shackle-lower", "pivots_in_kit": 4}, "where it is there is 1"),
        ({"side": "", "node": "", "pivots_in_kit": 8}, "where it is there are 6"),
    ],
)
def test_a_line_for_fewer_pivots_than_its_kit_holds(
    factory: ModuleType, over: dict[str, Any], fewer: str
) -> None:
    ((kind, column, evidence),) = told(factory, factory.repair(100, **over))
    assert (kind, column) == ("kit-holds-more", "pivots_in_kit")
    assert evidence.endswith(fewer)


@pytest.mark.parametrize(
    "over",
    [
        {"node": "", "pivots_in_kit": 3},
        {"node": "", "pivots_in_kit": 2},
        {"node": "shackle-lower", "pivots_in_kit": 2},
        {"node": "fixed-eye", "pivots_in_kit": 3},
        {"node": "fixed-eye", "pivots_in_kit": 6},
        {"side": "", "node": "", "pivots_in_kit": 6},
    ],
)
def test_lines_that_cover_their_kit(factory: ModuleType, over: dict[str, Any]) -> None:
    assert told(factory, factory.repair(100, **over)) == []


def test_lines_of_a_kit_with_bushings_for_several_nodes(factory: ModuleType) -> None:
    kits = [kit(node="shackle-lower"), kit(node="shackle-upper", outside="smooth")]
    line = factory.repair(100, node="shackle-lower", kit_id="K1")
    assert told(factory, line, *kits) == [
        [
            "kit-holds-more",
            "kit_id",
            "kit K1 holds bushings for 2 pivots, the lines of that day cover 1",
        ]
    ]
    other = factory.repair(100, node="shackle-upper", kit_id="K1")
    both = factory.fleet(pivots=factory.six_pivots(), kits=kits, repairs=[line, other])
    assert both.suspects().empty
    assert told(factory, line | {"pivots_in_kit": 2}, *kits) == []
