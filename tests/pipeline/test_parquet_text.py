"""Parquet as text: every kind of column, nulls as empty cells, clear refusals."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.parquet_text import read_parquet_text
from pivotlife.pipeline.text_table import Typed


def test_kinds_of_columns(tmp_path: Path) -> None:
    file = tmp_path / "f.parquet"
    pq.write_table(
        pa.table(
            {
                "text": [" MD-1 ", None, "x"],
                "whole": pa.array([1, None, 60_000], pa.int64()),
                "float": [3.5, float("nan"), 60_000.0],
                "exact": [Decimal("0.10"), None, Decimal("2.00")],
                "day": [dt.date(2024, 5, 6), None, dt.date(2024, 5, 7)],
                "time": pa.array(
                    [dt.datetime.fromisoformat("2024-05-06T07:08"), None, None], pa.timestamp("us")
                ),
                "truth": [True, None, False],
                "coded": pa.array(["a", "b", None]).dictionary_encode(),
                "nothing": pa.nulls(3),
                "row_number": [9, 9, 9],
            }
        ),
        file,
    )
    frame = read_parquet_text(file, "f", typed=Typed(",", "%d.%m.%Y"))
    assert frame["text"].tolist() == ["MD-1", "", "x"]
    assert frame["whole"].tolist() == ["1", "", "60000"]
    assert frame["float"].tolist() == ["3,5", "", "60000"]
    assert frame["exact"].tolist() == ["0,10", "", "2"]
    assert frame["day"].tolist() == ["06.05.2024", "", "07.05.2024"]
    assert frame["time"].tolist() == ["06.05.2024", "", ""]
    assert frame["truth"].tolist() == ["yes", "", "no"]
    assert frame["coded"].tolist() == ["a", "b", ""]
    assert frame["nothing"].tolist() == ["", "", ""]
    assert frame["row_number"].tolist() == [1, 2, 3]
    assert frame["row_number_as_given"].tolist() == ["9", "9", "9"]


def test_what_cannot_be_read_is_one_line(tmp_path: Path) -> None:
    file = tmp_path / "f.parquet"
    file.write_text("a,b\n", encoding="utf-8")
    with pytest.raises(SourceError, match="f: is not a readable Parquet file") as refusal:
        read_parquet_text(file, "f", typed=Typed())
    assert "\n" not in str(refusal.value)
