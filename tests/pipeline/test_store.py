"""Each content once, every day as it stood, two writers at once, and writers that are killed."""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from deltalake import DeltaTable

import store_factory as exports
from pivotlife.pipeline.dialect import Dialect
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.raw_table import Correction
from pivotlife.pipeline.store import Kept, Store, keep, kept_batches, known_tables

FIRST, SECOND, THIRD = (dt.date(2026, 3, day) for day in (1, 2, 3))
ROWS = [("RD-1", "MD-1", "100", ""), ("RD-2", "MD-2", "200", "a; b"), ("RD-3", "MD-1", "300", "x")]


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(str(tmp_path / "store"))


def versions(store: Store) -> dict[str, int]:
    folders = sorted(path.parent for path in Path(store.uri).glob("*/_delta_log"))
    return {folder.name: DeltaTable(folder).version() for folder in folders}


def rows_of(store: Store, day: dt.date) -> list[tuple[str, ...]]:
    return exports.contents(known_tables(store, day)["readings"])  # type: ignore[no-any-return]  a module found by its path has no types


def test_the_same_content_again_adds_nothing(store: Store) -> None:
    assert keep(store, {"readings": exports.export(ROWS)}, FIRST) == Kept(1, ("readings",), 3)
    before = versions(store)
    assert keep(store, {"readings": exports.export(ROWS)}, FIRST) == Kept(1, (), 0)
    assert keep(store, {"readings": exports.export(ROWS)}, THIRD) == Kept(1, (), 0)
    assert versions(store) == before


def test_a_corrected_row_keeps_both_versions(store: Store) -> None:
    corrected = [ROWS[0], ("RD-2", "MD-2", "201", "a; b"), ROWS[2]]
    keep(store, {"readings": exports.export(ROWS)}, FIRST)
    done = keep(store, {"readings": exports.export(corrected)}, SECOND)
    assert done == Kept(2, ("readings",), 1)
    assert rows_of(store, FIRST) == exports.contents(exports.export(ROWS))
    assert rows_of(store, SECOND) == exports.contents(exports.export(corrected))


def test_a_row_that_is_gone_stays_and_may_come_back(store: Store) -> None:
    keep(store, {"readings": exports.export(ROWS)}, FIRST)
    assert keep(store, {"readings": exports.export(ROWS[1:])}, SECOND).new_rows == 0
    assert keep(store, {"readings": exports.export(ROWS)}, THIRD).new_rows == 0
    for day, rows in ((FIRST, ROWS), (SECOND, ROWS[1:]), (THIRD, ROWS)):
        assert rows_of(store, day) == exports.contents(exports.export(rows))


def test_order_and_repeated_rows_are_kept(store: Store) -> None:
    shuffled = [ROWS[2], ROWS[0], ROWS[0], ROWS[1], ROWS[0]]
    keep(store, {"readings": exports.export(ROWS)}, FIRST)
    assert keep(store, {"readings": exports.export(shuffled)}, SECOND).new_rows == 2
    assert rows_of(store, SECOND) == exports.contents(exports.export(shuffled))
    assert keep(store, {"readings": exports.export(shuffled)}, THIRD) == Kept(2, (), 0)


def test_a_new_column_is_no_new_row_until_it_is_filled(store: Store) -> None:
    wider = (*exports.COLUMNS, "Truck, No.")
    empty = exports.export([(*row, "") for row in ROWS], columns=wider)
    filled = exports.export([(*row, "7") for row in ROWS[:1]], columns=wider)
    keep(store, {"readings": exports.export(ROWS)}, FIRST)
    assert keep(store, {"readings": empty}, SECOND).new_rows == 0
    assert keep(store, {"readings": filled}, THIRD).new_rows == 1
    assert list(known_tables(store, FIRST)["readings"].frame)[-1] == "file"
    for day, table in ((SECOND, empty), (THIRD, filled)):
        known = known_tables(store, day)["readings"]
        assert list(known.frame.columns) == list(table.frame.columns)
        assert exports.contents(known) == exports.contents(table)


def test_what_the_settings_said_of_a_table_is_kept(store: Store) -> None:
    table = replace(
        exports.export(ROWS),
        path=Path("/fleet/in/readings.csv"),
        dialect=Dialect({"finding": {"B2": "broken"}}, {"odometer": "km"}, ("%d.%m.%Y",), ",", "."),
        headers={"readings.csv": {"odometer": "Odo"}},
        corrections=(Correction(1, "odometer", "20", "200", "typing", "the foreman"),),
    )
    keep(store, {"readings": table}, FIRST, Path("/fleet"))
    keep(store, {"readings": replace(table, dialect=Dialect())}, SECOND, Path("/fleet"))
    known = known_tables(store, FIRST, Path("/elsewhere"))["readings"]
    assert known.path == Path("/elsewhere/in/readings.csv")
    assert (known.dialect, known.headers, known.corrections) == (
        table.dialect,
        table.headers,
        table.corrections,
    )
    assert known_tables(store, SECOND)["readings"].dialect == Dialect()


def test_a_table_that_is_no_longer_handed_in(store: Store) -> None:
    both = exports.day_tables(0)
    keep(store, both, FIRST)
    assert keep(store, {"units": both["units"]}, SECOND) == Kept(2, ("readings",), 0)
    assert set(known_tables(store, FIRST)) == {"units", "readings"}
    assert set(known_tables(store, SECOND)) == {"units"}
    assert keep(store, {"units": both["units"]}, THIRD).batch == 2
    assert keep(store, both, THIRD) == Kept(3, ("readings",), 0)
    assert set(known_tables(store, THIRD)) == {"units", "readings"}


def test_an_empty_table(store: Store) -> None:
    keep(store, {"readings": exports.export([])}, FIRST)
    assert len(known_tables(store, FIRST)["readings"].frame) == 0
    assert keep(store, {"readings": exports.export([])}, SECOND).changed == ()
    keep(store, {"readings": exports.export(ROWS)}, SECOND)
    keep(store, {"readings": exports.export([])}, THIRD)
    lengths = [len(known_tables(store, day)["readings"].frame) for day in (FIRST, SECOND, THIRD)]
    assert lengths == [0, 3, 0]


def test_before_the_store_begins_nothing_is_known(store: Store) -> None:
    assert known_tables(store, FIRST) == {}
    assert kept_batches(store).empty
    keep(store, exports.day_tables(0), SECOND)
    assert known_tables(store, FIRST) == {}
    batches = kept_batches(store)
    assert batches[["batch", "known_on", "tables"]].to_numpy().tolist() == [
        [1, SECOND, "readings units"]
    ]


def test_a_reading_never_becomes_known_before_the_last_one(store: Store) -> None:
    keep(store, {"readings": exports.export(ROWS)}, SECOND)
    keep(store, {"readings": exports.export(ROWS[:1])}, FIRST)
    assert kept_batches(store)["known_on"].tolist() == [SECOND, SECOND]
    assert known_tables(store, FIRST) == {}


def test_rows_that_were_lost_are_told(store: Store) -> None:
    keep(store, {"readings": exports.export(ROWS)}, FIRST)
    DeltaTable(f"{store.uri}/readings").delete("odometer = '200'")
    with pytest.raises(SourceError, match="1 rows of readings are missing"):
        known_tables(store, FIRST)


def test_a_place_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(SourceError, match=r"mend it, or set \[store\] path") as fault:
        keep(Store(str(tmp_path / "file" / "store")), exports.day_tables(0), FIRST)
    assert "\n" not in str(fault.value)


def number_of(day: dt.date) -> int:
    return (day - exports.FIRST_DAY).days


def assert_whole(store: Store, since: int = 0) -> int:
    """Every batch holds all that its day's export held; return the number of the last day."""
    kept = kept_batches(store)["known_on"].tolist()
    for day in kept:
        if number_of(day) >= since:
            known = known_tables(store, day)
            for name, table in exports.day_tables(number_of(day)).items():
                assert exports.contents(known[name]) == exports.contents(table), (
                    day,
                    name,
                )
    return max(map(number_of, kept), default=-1)


def assert_once(store: Store) -> dict[str, int]:
    """No content is kept twice; return how many rows each table keeps."""
    counts = {}
    for name in ("units", "readings"):
        kept = DeltaTable(f"{store.uri}/{name}").to_pyarrow_table(
            columns=["row_key", "hash_high", "hash_low"]
        )
        frame = kept.to_pandas()
        assert frame["row_key"].is_unique
        assert not frame.duplicated(["hash_high", "hash_low"]).any()
        counts[name] = len(frame)
    return counts


def distinct_rows(numbers: range) -> dict[str, int]:
    found: dict[str, set[Any]] = {"units": set(), "readings": set()}
    for number in numbers:
        for name, table in exports.day_tables(number).items():
            found[name] |= set(
                table.frame.drop(columns=["row_number", "file"]).itertuples(index=False)
            )
    return {name: len(rows) for name, rows in found.items()}


def test_two_writers_at_once(store: Store) -> None:
    writers = [exports.start_writer(store.uri, start, 12, 2) for start in (0, 1)]
    for writer in writers:
        writer.set_off()
    assert [writer.ended() for writer in writers] == [[0, 2, 4, 6, 8, 10], [1, 3, 5, 7, 9, 11]]
    assert assert_once(store) == distinct_rows(range(12))
    batches = kept_batches(store)
    assert batches["batch"].tolist() == list(range(1, len(batches) + 1))
    assert batches["known_on"].is_monotonic_increasing
    last = exports.contents(known_tables(store, dt.date.max)["readings"])
    assert last in [exports.contents(exports.day_tables(n)["readings"]) for n in (10, 11)]


def test_a_killed_writer_leaves_whole_batches(store: Store) -> None:
    begun = 0
    for seconds in (0.03, 0.11, 0.19, 0.07, 0.15):
        writer = exports.start_writer(store.uri, begun, begun + 10_000)
        writer.set_off()
        time.sleep(seconds)
        told = writer.ended(kill=True)
        last = assert_whole(store, begun)
        assert last >= max(told, default=begun - 1)
        begun = last + 1
    keep(store, exports.day_tables(begun), exports.FIRST_DAY + dt.timedelta(days=begun))
    assert assert_whole(store) == begun
    assert assert_once(store) == distinct_rows(range(begun + 1))
