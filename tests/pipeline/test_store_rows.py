"""What names a row's content, and how its cells come back."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

import store_factory as exports
from pivotlife.pipeline import store_rows
from pivotlife.pipeline.store_rows import (
    OWN,
    kept_name,
    keys_of,
    read_cells,
    row_blocks,
    row_hashes,
)

DAY = dt.date(2026, 3, 1)


def test_columns_and_cells_are_told_apart() -> None:
    one = pd.DataFrame({"a": ["x", "", "xy", ""], "b": ["", "x", "", "xy"]})
    hashes = row_hashes(one)
    assert len(np.unique(hashes, axis=0)) == 4
    swapped = one[["b", "a"]].assign(c="")
    assert (row_hashes(swapped) == hashes).all()  # neither order nor an empty column counts


def test_text_and_categorical_columns_hash_alike() -> None:
    texts = pd.Series(["ok", "", "split", "ok"])
    plain = pd.DataFrame({"id": ["1", "2", "3", "4"], "finding": texts})
    coded = plain.astype({"finding": "category"})
    assert (row_hashes(plain) == row_hashes(coded)).all()
    missing = coded.assign(finding=pd.Categorical(texts.replace("", None)))
    assert (row_hashes(missing) == row_hashes(plain)).all()


def test_blocks_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    frame = exports.export([(str(n), "MD-1", "", "") for n in range(50)]).frame
    whole = row_hashes(frame)
    monkeypatch.setattr(store_rows, "_BLOCK_ROWS", 7)
    assert (row_hashes(frame) == whole).all()
    blocks = list(row_blocks(frame, whole, np.arange(3, 50), 11, DAY))
    table = pa.Table.from_batches(blocks)
    assert table.column("row_key").to_pylist() == list(range(11, 58))
    assert table.column("reading_id").to_pylist() == [str(n) for n in range(3, 50)]
    assert table.column("odometer").null_count == 47  # empty cells


def test_the_second_of_equal_rows_is_a_row_of_its_own() -> None:
    frame = pd.DataFrame({"a": ["x", "x", "y", "x"]})
    hashes = row_hashes(frame)
    assert len(np.unique(hashes, axis=0)) == 4
    assert (row_hashes(frame.iloc[[0, 1]]) == hashes[:2]).all()
    assert (row_hashes(frame.iloc[[3]]) == hashes[:1]).all()


def known_rows(hashes: np.ndarray) -> pa.Table:  # type: ignore[type-arg]  any array of two columns
    high, low = np.ascontiguousarray(hashes).view(np.int64).T
    return pa.table({"row_key": np.arange(len(high)) + 1, "hash_high": high, "hash_low": low})


def test_kept_rows_are_found_by_both_halves_of_their_hash() -> None:
    kept = np.array([[1, 10], [2, 20], [3, 30]], dtype=np.uint64)
    asked = np.array([[2, 20], [9, 10], [3, 30], [4, 40]], dtype=np.uint64)
    assert keys_of(asked, known_rows(kept)).tolist() == [2, -1, 3, -1]
    half_alike = np.array([[1, 10], [9, 10], [3, 30]], dtype=np.uint64)
    assert keys_of(asked, known_rows(half_alike)).tolist() == [-1, 2, 3, -1]
    assert keys_of(asked, known_rows(kept[:0])).tolist() == [-1] * 4


def test_names_are_plain_and_one_to_one() -> None:
    assert kept_name("free_play_unit") == "free_play_unit"
    odd = ["Play (in)", "play (in)", "Play_in", *OWN, "as_given_x", "a;b", "a,b", "é"]
    named = [kept_name(name) for name in odd]
    assert len({name.casefold() for name in named}) == len(odd)
    assert all(name.isascii() and name.replace("_", "").isalnum() for name in named)


def test_cells_come_back_in_the_wanted_order() -> None:
    column = pa.chunked_array([["a", None], ["c", "a", "a", "a", "c"]])
    coded = read_cells(column, np.array([6, 1, 0, 3, 4, 5, 2]))
    assert coded.dtype == "category"
    assert coded.astype(str).tolist() == ["c", "", "a", "a", "a", "a", "c"]
    ids = read_cells(pa.chunked_array([["1", "2", "3"]]), np.array([2, 0]))
    assert ids.tolist() == ["3", "1"]
    assert read_cells(column, np.array([], dtype=int)).tolist() == []
