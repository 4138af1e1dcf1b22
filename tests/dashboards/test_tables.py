"""Cells know their column; sums are sums."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from pivotlife.dashboards.tables import (
    Cell,
    Column,
    group_sizes,
    make_table,
    sums,
    with_used_notes,
)


def test_every_cell_carries_its_column() -> None:
    table = make_table(
        "t",
        "c",
        (Column("Type"), Column("Miles", numeric=True)),
        [("roller", Cell("9", ("small",)))],
    )
    assert table.rows[0][0] == Cell("roller", (), "Type", "txt")
    assert table.rows[0][1] == Cell("9", ("small",), "Miles", "num")


def test_short_codes_and_days_are_not_broken_at_their_hyphens() -> None:
    day, code, word = make_table(
        "t", "c", tuple(map(Column, "ABC")), [("2026-06-30", "KIT-NFE-4", "rubber-bonded")]
    ).rows[0]
    assert (day.kind, code.kind, word.kind) == ("txt tied", "txt tied", "txt")


def test_a_column_of_remarks_stands_only_where_one_is_made() -> None:
    columns = (Column("Type"), Column("Note"))
    plain = make_table("t", "c", columns, [("roller", "none"), ("threaded", "")])
    told = make_table("t", "c", columns, [("roller", "none"), ("threaded", "few failures")])
    assert [column.label for column in with_used_notes(plain, "Note").columns] == ["Type"]
    assert [len(row) for row in with_used_notes(plain, "Note").rows] == [1, 1]
    assert with_used_notes(told, "Note") == told
    empty = make_table("t", "c", columns, [])
    assert with_used_notes(empty, "Note") == empty


def test_a_line_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match="shorter"):
        make_table("t", "c", (Column("A"), Column("B")), [("only one",)])


def test_groups_are_counted_largest_first() -> None:
    frame = pd.DataFrame({"fate": ["life", "reading", "reading"], "reason": ["", "x", "x"]})
    assert group_sizes(frame, ["fate", "reason"]) == [(("reading", "x"), 2), (("life", ""), 1)]
    assert group_sizes(frame.head(0), ["fate"]) == []


def test_sums_keep_an_unknown_amount_unknown() -> None:
    frame = pd.DataFrame({"depot": ["a", "a", "b"], "cash": [1.0, 2.0, math.nan]})
    added = sums(frame, ["depot"], ["cash"])
    assert added["rows"].tolist() == [2, 1]
    assert added["cash"].iloc[0] == 3.0
    assert math.isnan(added["cash"].iloc[1])
    assert sums(frame.head(0), ["depot"], ["cash"]).empty
