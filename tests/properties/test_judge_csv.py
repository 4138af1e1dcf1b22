"""What a CSV writer writes, the reader gives back: cell for cell, row for row."""

from __future__ import annotations

import csv
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.pipeline.csv_text import read_csv_text
from pivotlife.pipeline.errors import SourceError

CELL = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=6)
ROWS = st.lists(st.tuples(st.just("id"), CELL, CELL), max_size=8)


@settings(max_examples=60, deadline=None)
@given(ROWS)
def test_every_cell_comes_back(rows: list[tuple[str, str, str]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "some.csv"
        with path.open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([("a", "b", "c"), *rows])
        frame = read_csv_text(path, "some.csv")
    assert frame["b"].tolist() == [row[1].strip() for row in rows]
    assert frame["c"].tolist() == [row[2].strip() for row in rows]
    assert frame["row_number"].is_monotonic_increasing
    assert frame["row_number"].is_unique


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused_in_one_line(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "some.csv"
        path.write_bytes(content)
        try:
            frame = read_csv_text(path, "some.csv")
        except SourceError as refusal:
            text = str(refusal)
        else:
            text = "" if "row_number" in frame.columns else "no row numbers"
    assert text == "" or (text.startswith("some.csv") and "\n" not in text)
