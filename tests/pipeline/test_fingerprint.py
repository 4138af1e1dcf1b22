"""The hash of a table: equal for equal cells, however they lie in memory; else different."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from pivotlife.pipeline.fingerprint import table_hash
from pivotlife.pipeline.raw_table import Correction, RawTable
from pivotlife.pipeline.text_table import TEXT

CELLS = ["a", "bc", ""] * 70_000


def _table(column: pd.Series) -> RawTable:
    frame = pd.DataFrame({"x": column, "row_number": range(len(column))})
    return RawTable("units", Path("u.csv"), frame)


def test_layout_in_memory_does_not_matter() -> None:
    plain = pd.Series(CELLS, dtype=TEXT)
    pieces = pd.concat([plain[:7], plain[7:100_001], plain[100_001:]], ignore_index=True)
    hashes = {
        table_hash(_table(column))
        for column in (plain, pieces, plain.astype(object), plain.astype("category"))
    }
    assert len(hashes) == 1


def test_any_change_matters() -> None:
    table = _table(pd.Series(["ab", "c"], dtype=TEXT))
    fix = Correction(0, "x", "ab", "a", "why", "me")
    changed = [
        _table(pd.Series(["a", "bc"], dtype=TEXT)),
        _table(pd.Series(["c", "ab"], dtype=TEXT)),
        replace(table, frame=table.frame.rename(columns={"x": "y"})),
        replace(table, corrections=(fix,)),
    ]
    assert len({table_hash(one) for one in [table, *changed]}) == 5
