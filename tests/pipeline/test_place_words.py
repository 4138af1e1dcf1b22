"""Parts of a position heard in remarks; the remarks are invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.pipeline.place_words import NOTHING, NamedParts, named_parts


@pytest.mark.parametrize(
    ("text", "heard"),
    [
        ("renewed LH upper shackle pin", (0, "left", "shackle-upper")),
        ("R/H fixed eye, axle 1", (1, "right", "fixed-eye")),
        ("Shackle-lower, left side", (0, "left", "shackle-lower")),
        ("MD-014.1.left.fixed-eye", (0, "left", "fixed-eye")),
        ("right front spring: anchor eye worn", (0, "right", "fixed-eye")),
        ("bottom shackle pin dry", (0, "", "shackle-lower")),
        ("axle no 2 top shackle", (2, "", "shackle-upper")),
        ("LH upper and lower shackle", (0, "left", "")),
        ("LH and RH fixed eye", (0, "", "fixed-eye")),
    ],
)
def test_what_a_remark_names(text: str, heard: tuple[int, str, str]) -> None:
    assert named_parts(text) == NamedParts(*heard)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "left as is",
        "all right",
        "right away",
        "driver side",  # right-hand drive exists
        "nearside, kerb side",
        "upper control arm",
        "LH kingpin upper",
        "kingpin and upper shackle LH",
        "check RH upper shackle next time",
        "not the LH fixed eye",
        "as the other LH fixed eye",
        "LH fixed eye was done last year",
        "fixed the eye of left",
    ],
)
def test_what_a_remark_does_not_name(text: str) -> None:
    assert named_parts(text) == NOTHING


@given(st.text(max_size=60))
def test_any_text_is_read_without_a_fault(text: str) -> None:
    parts = named_parts(text)
    assert parts.side in ("", "left", "right")
    assert 0 <= parts.axle <= 9
