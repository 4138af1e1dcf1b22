"""Appending only on what was seen, and joining files without a row changing."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pyarrow as pa
import pytest

import store_factory as exports
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.store import keep, known_tables
from pivotlife.pipeline.store_delta import (
    Store,
    append,
    columns_of,
    opened,
    opened_or_made,
    tidy,
    told,
)

SCHEMA = pa.schema([("a", pa.string())])


def block(text: str) -> list[pa.RecordBatch]:
    return [pa.RecordBatch.from_pydict({"a": [text]}, schema=SCHEMA)]


def test_the_second_of_two_writers_is_told(tmp_path: Path) -> None:
    store = Store(str(tmp_path))
    first, second = (opened_or_made(store, "t", SCHEMA, []) for _ in range(2))
    assert append(first, block("x"), SCHEMA)
    assert not append(second, block("y"), SCHEMA)
    again = opened(store, "t")
    assert again is not None
    assert append(again, block("z"), SCHEMA)
    assert sorted(columns_of(again, ["a"]).column("a").to_pylist()) == ["x", "z"]


def test_there_is_none_before_it_is_made(tmp_path: Path) -> None:
    assert opened(Store(str(tmp_path)), "t") is None


def test_secrets_are_not_shown(tmp_path: Path) -> None:
    store = Store("s3://bucket/x/", {"aws_secret_access_key": "hush"})
    assert "hush" not in repr(store)
    assert store.place("log") == "s3://bucket/x/log"
    with pytest.raises(SourceError, match="store s3://bucket/x/: no room; mend it"), told(store):
        raise OSError("no\nroom")


def test_many_small_files_become_one(tmp_path: Path) -> None:
    """Eight days of small changes, then joined: every day reads as before."""
    store = Store(str(tmp_path / "store"))
    start = dt.date(2026, 1, 1)
    days = [start + dt.timedelta(days=n) for n in range(8)]
    for number, day in enumerate(days):
        keep(store, exports.day_tables(number), day)
    before = [exports.contents(known_tables(store, day)["readings"]) for day in days]
    for name in ("log", "readings"):
        delta = opened(store, name)
        assert delta is not None
        files = len(delta.file_uris())
        assert not tidy(delta, most_files=files)
        assert tidy(delta, most_files=1, hours=0)
        left = list((tmp_path / "store" / name).rglob("*.parquet"))
        assert len(left) == len(delta.file_uris()) < files
    assert [exports.contents(known_tables(store, day)["readings"]) for day in days] == before
    assert keep(store, exports.day_tables(7), days[-1]).changed == ()
    keep(store, exports.day_tables(8), start + dt.timedelta(days=8))
    assert exports.contents(known_tables(store, days[3])["readings"]) == before[3]
