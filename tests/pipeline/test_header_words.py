"""Words of headers: split, shared meanings, abbreviations, units in brackets."""

from __future__ import annotations

import pytest

from pivotlife.pipeline.header_words import likeness, shared_prefix, split_words, unit_hint


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("freePlayUnit", ("free", "play", "unit")),
        ("WO #", ("wo", "id")),
        ("UNIT_NO", ("unit", "no")),
        ("ODOReading2", ("odo", "reading", "2")),
        ("", ()),
    ],
)
def test_headers_are_split(header: str, words: tuple[str, ...]) -> None:
    assert split_words(header) == words


def test_alike_and_unlike() -> None:
    assert likeness("free_play", "free_play") == 1.0
    assert likeness("Truck Number", "unit_id") > 0.9
    assert likeness("Insp Dt", "reading_date") > 0.9
    assert likeness("Odometr", "odometer") > 0.8
    assert likeness("Bush Type", "bushing_type") > 0.9
    assert likeness("EXP Truck", "unit_id", {"exp"}) == 1.0
    assert likeness("Plate", "unit_id") < 0.3
    assert likeness("Date Entered", "entered_date") > likeness("Date Entered", "reading_date")


def test_units_in_headers() -> None:
    assert unit_hint("Play (mm)") == "mm"
    assert unit_hint("Play [INCHES]") == "in"
    assert unit_hint("odo_km") == "km"
    assert unit_hint("mm") == ""
    assert unit_hint("Play") == ""


def test_a_prefix_of_most_headers() -> None:
    assert shared_prefix(["X a", "X b", "X c", "X d", "X e", "f"]) == {"x"}
    assert shared_prefix(["unit a", "unit b"]) == frozenset()
