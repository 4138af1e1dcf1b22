"""The store at five million readings: first write, nothing new, ten thousand changed, read back.

And writers killed at many more moments than in the default suite.
"""

from __future__ import annotations

import datetime as dt
import random
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

import store_factory as exports
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.store import Store, keep, kept_batches, known_tables

pytestmark = pytest.mark.slow

ROWS, CHANGED, KILLS = 5_000_000, 10_000, 60
FIRST, SECOND = dt.date(2026, 3, 1), dt.date(2026, 3, 2)


def _timed(what: str, call: Callable[[], Any]) -> tuple[Any, float]:
    start, begun = time.perf_counter(), time.process_time()
    result = call()
    seconds = time.process_time() - begun
    print(f"{what}: {seconds:.1f} s of CPU, {time.perf_counter() - start:.1f} s by the clock")
    return result, seconds


def _numbered(prefix: str, numbers: np.ndarray) -> pd.Series:  # type: ignore[type-arg]  whole numbers
    texts = pa.array([f"{prefix}{number}" for number in numbers.tolist()], pa.large_string())
    return pd.Series(pd.arrays.ArrowStringArray(pa.chunked_array([texts])))


def _enlarged(table: RawTable, rows: int) -> RawTable:
    """Repeat a fleet's readings, with ids and odometers of their own."""
    frame = table.frame.iloc[np.arange(rows) % len(table.frame)].reset_index(drop=True)
    drawn = np.random.default_rng(7).integers(1_000, 900_000, rows)
    frame["reading_id"] = _numbered("RD-", np.arange(rows))
    frame["odometer"] = _numbered("", drawn)
    frame["row_number"] = np.arange(rows) + 2
    return replace(table, frame=frame)


def test_a_large_store(small_fleet: Callable[..., Path], tmp_path: Path) -> None:
    small = read_sources(load_settings(small_fleet(units=60, seed=11)))["readings"]
    table = _enlarged(small, ROWS)
    store = Store(str(tmp_path / "store"))
    first, wrote = _timed("first write", lambda: keep(store, {"readings": table}, FIRST))
    assert first.new_rows == ROWS
    size = sum(path.stat().st_size for path in (tmp_path / "store").rglob("*.parquet"))
    print(f"{size / 2**20:.0f} MiB on disk, {size / ROWS:.0f} bytes a row")
    again, nothing = _timed("nothing new", lambda: keep(store, {"readings": table}, SECOND))
    assert again.changed == ()
    picked = np.random.default_rng(8).choice(ROWS, CHANGED, replace=False)
    odometer = table.frame["odometer"].copy()
    odometer.iloc[picked] = "12"
    changed = replace(table, frame=table.frame.assign(odometer=odometer))
    done, later = _timed("10,000 rows changed", lambda: keep(store, {"readings": changed}, SECOND))
    assert 0.99 * CHANGED < done.new_rows <= CHANGED
    known, _ = _timed("read back as of the first day", lambda: known_tables(store, FIRST))
    for name in ("reading_id", "odometer", "finding"):
        assert (known["readings"].frame[name].astype(str) == table.frame[name].astype(str)).all()
    print(f"of the first write: nothing new {nothing / wrote:.2f}, changed {later / wrote:.2f}")
    assert nothing < wrote
    assert later < 1.5 * wrote


def test_killed_at_many_moments(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "store"))
    chance = random.Random(31)  # noqa: S311  moments, not secrets
    begun, half_done = 0, 0
    for _ in range(KILLS):
        writer = exports.start_writer(store.uri, begun, begun + 10_000)
        writer.set_off()
        time.sleep(chance.uniform(0.0, 0.3))
        told = writer.ended(kill=True)
        days = kept_batches(store)["known_on"].tolist()
        numbers = [number for day in days if (number := (day - exports.FIRST_DAY).days) >= begun]
        half_done += len(numbers) > len(told)
        for number in numbers:
            known = known_tables(store, exports.FIRST_DAY + dt.timedelta(days=number))
            for name, table in exports.day_tables(number).items():
                assert exports.contents(known[name]) == exports.contents(table), number
        begun = max(numbers, default=begun - 1) + 1
    print(f"{KILLS} kills over {begun} batches, {half_done} between the log and its report")
    assert begun > KILLS / 4
