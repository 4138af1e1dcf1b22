"""Runs of neighbours fold and unfold; marks name what took a row's place."""

from __future__ import annotations

import datetime as dt

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

import store_factory as exports
from pivotlife.pipeline.store_log import (
    GONE,
    NOBODY,
    Batch,
    mark_entries,
    place_entries,
    standing,
    unfolded,
)

BATCH = Batch(4, dt.date(2026, 3, 1))


def test_neighbours_make_one_entry() -> None:
    frame = exports.export([(str(n), "", "", "") for n in range(8)]).frame
    frame["file"] = ["a.csv"] * 5 + ["b.csv"] * 3
    frame["row_number"] = [2, 3, 4, 6, 7, 2, 3, 4]  # a blank line before the fourth
    entries = place_entries(BATCH, "readings", frame, np.arange(8) + 100)
    assert entries.column("rows").to_pylist() == [3, 2, 3]
    assert entries.column("file").to_pylist() == ["a.csv", "a.csv", "b.csv"]
    then = standing(entries.take([2, 0, 1]))  # in whatever order they are read
    assert then.keys.tolist() == list(range(100, 108))
    assert then.numbers.tolist() == frame["row_number"].tolist()
    assert then.files.astype(str).tolist() == frame["file"].tolist()


@given(st.lists(st.integers(1, 12), max_size=30, unique=True))
def test_any_order_comes_back(keys: list[int]) -> None:
    import pandas as pd

    numbers = np.arange(2, len(keys) + 2)
    frame = pd.DataFrame({"row_number": numbers, "file": ["f.csv"] * len(keys)})
    entries = place_entries(BATCH, "lube", frame, np.asarray(keys, dtype=np.int64))
    then = standing(entries)
    assert then.keys.tolist() == keys
    assert then.numbers.tolist() == numbers.tolist()
    assert then.files.astype(str).tolist() == frame["file"].tolist()


def test_marks_name_the_successor() -> None:
    gone = np.array([9, 3, 4, 5, 10])
    others = np.array([21, NOBODY, NOBODY, 50, 22])
    entries = mark_entries(BATCH, "readings", GONE, gone, others)
    assert entries.column("row_key").to_pylist() == [3, 5, 9]
    assert entries.column("rows").to_pylist() == [2, 1, 2]
    assert entries.column("superseded_by").to_pylist() == [None, 50, 21]
    assert set(entries.column("known_on").to_pylist()) == {BATCH.day}


def test_runs_are_written_out() -> None:
    assert unfolded(np.array([5, 9]), np.array([3, 1])).tolist() == [5, 6, 7, 9]
    assert unfolded(np.array([], dtype=np.int64), np.array([], dtype=np.int64)).tolist() == []
