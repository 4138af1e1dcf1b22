"""Whatever is handed in, day after day: every day can be read again as it stood."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path

import pandas as pd
from deltalake import DeltaTable
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.pipeline.raw_table import RawTable, row_files
from pivotlife.pipeline.store import Store, keep, kept_batches, known_tables
from pivotlife.pipeline.text_table import TEXT

FIRST_DAY = dt.date(2026, 1, 1)
CELL = st.sampled_from(["", "1", "2", " ", "é;\n", "x"])
ROW = st.tuples(st.sampled_from(["A", "B", "C", "D", ""]), CELL, CELL)
COLUMNS = st.sampled_from(
    [
        ("reading_id", "odometer", "finding"),
        ("reading_id", "finding", "odometer"),
        ("reading_id", "odometer", "Finding (shop)"),
    ]
)
FILES = st.sampled_from([("a.csv",), ("a.csv", "b.csv")])
#: One export and the days since the one before; None: the table was not handed in.
EXPORT = st.one_of(
    st.none(),
    st.tuples(st.lists(ROW, max_size=7), COLUMNS, FILES, st.booleans()),
)
EXPORTS = st.lists(st.tuples(st.integers(0, 3), EXPORT), min_size=1, max_size=6)


def raw_table(
    rows: list[tuple[str, ...]], columns: tuple[str, ...], files: tuple[str, ...], coded: bool
) -> RawTable:
    frame = pd.DataFrame(rows, columns=list(columns), dtype=object).astype(TEXT)
    if coded:
        frame = frame.astype("category")
    frame["row_number"] = range(2, len(rows) + 2)
    frame["file"] = [files[n * len(files) // max(1, len(rows))] for n in range(len(rows))]
    return RawTable("readings", Path("*.csv"), frame)


def seen(table: RawTable) -> tuple[list[str], list[list[str]]]:
    names = [str(name) for name in table.frame.columns]
    cells = table.frame.astype(object).assign(file=row_files(table.frame)).astype(str)
    return names, cells.to_numpy().tolist()


@given(EXPORTS)
@settings(max_examples=16, deadline=None)
def test_every_day_stays_as_it_stood(exports: list[tuple[int, object]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Store(folder)
        day, on_day = FIRST_DAY, {}
        for days_on, export in exports:
            day += dt.timedelta(days=days_on)
            tables = {} if export is None else {"readings": raw_table(*export)}  # type: ignore[misc]  drawn as its arguments
            keep(store, tables, day)
            on_day[day] = None if export is None else seen(tables["readings"])
            assert keep(store, tables, day).changed == ()
        expected = None
        for number in range((day - FIRST_DAY).days + 2):
            asked = FIRST_DAY + dt.timedelta(days=number)
            expected = on_day.get(asked, expected)
            known = known_tables(store, asked)
            assert (seen(known["readings"]) if known else None) == expected
        assert_each_content_once(store)


def assert_each_content_once(store: Store) -> None:
    place = Path(store.uri) / "readings"
    if not place.exists():
        assert kept_batches(store).empty
        return
    kept = DeltaTable(place).to_pyarrow_table().to_pandas()
    assert kept["row_key"].is_unique
    assert not kept.duplicated(["hash_high", "hash_low"]).any()
