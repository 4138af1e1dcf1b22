"""Cells of any kind as text, and rows as a table."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from pivotlife.pipeline.text_table import RAGGED, TextTable, Typed


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (float("nan"), ""),
        (True, "yes"),
        (False, "no"),
        (3, "3"),
        (3.0, "3"),
        (0.1, "0.1"),
        (1e300, "1e+300"),
        (float("inf"), "inf"),
        (Decimal("2.50"), "2.50"),
        (dt.date(2024, 5, 6), "2024-05-06"),
        (dt.datetime.fromisoformat("2024-05-06T07:08"), "2024-05-06"),
        ("  as it is ", "  as it is "),
    ],
)
def test_typed_cells(value: object, text: str) -> None:
    assert Typed().text(value) == text


def test_ragged_rows_are_marked_in_every_block() -> None:
    table = TextTable(["a", "b"])
    for number in range(50_001):
        table.add(["x", "y"], number)
    table.add(["z"], 60_000)
    frame = table.frame()
    assert len(frame) == 50_002
    assert frame[RAGGED].ne("").sum() == 1
    assert frame.iloc[-1].tolist() == ["z", "", "1 cells under 2 headers", 60_000]
