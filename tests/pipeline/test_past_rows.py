"""Rows as they were known on a past day."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from types import ModuleType

from pivotlife.pipeline.past_rows import past_intake, rows_of_export, rows_of_store
from pivotlife.pipeline.raw_table import Correction, RawTable
from pivotlife.pipeline.store import keep
from pivotlife.pipeline.stored_intake import store_of


def raw(factory: ModuleType, **tables: list[dict[str, object]]) -> dict[str, RawTable]:
    given = {"units": [factory.unit()], "pivots": [factory.one_pivot()]} | tables
    return {name: factory._raw(name, rows) for name, rows in given.items()}


def rows_known(factory: ModuleType, day: int, tables: dict[str, RawTable], name: str) -> list[int]:
    when = dt.date.fromisoformat(factory.date(day))
    known: list[int] = rows_of_export(tables)(when)[name].frame["row_number"].tolist()
    return known


def test_a_row_counts_from_the_later_of_its_day_and_its_entry(factory: ModuleType) -> None:
    readings = [
        factory.reading(300, 1.0),
        factory.reading(500, 1.0, entered_date=factory.date(500)),
        factory.reading(300, 1.0, entered_date=factory.date(501)),
        factory.reading(501, 1.0),
    ]
    assert rows_known(factory, 500, raw(factory, readings=readings), "readings") == [2, 3]


def test_a_planned_visit_is_not_known_before_it_took_place(factory: ModuleType) -> None:
    visits = [factory.visit(400), factory.visit(500), factory.visit(501)]
    assert rows_known(factory, 500, raw(factory, visits=visits), "visits") == [2, 3]


def test_a_row_without_a_readable_day_counts_from_its_entry_or_not_at_all(
    factory: ModuleType,
) -> None:
    no_day = {"reading_date": "some day"}
    readings = [
        factory.reading(300, 1.0, finding="cracked") | no_day,
        factory.reading(300, 1.0, finding="cracked", entered_date=factory.date(400)) | no_day,
        factory.reading(300, 1.0, finding="cracked", entered_date=factory.date(600)) | no_day,
    ]
    assert rows_known(factory, 500, raw(factory, readings=readings), "readings") == [3]


def test_a_row_typed_in_later_cannot_withhold_an_earlier_one(factory: ModuleType) -> None:
    """Both carry one id; the later one stands first in the file."""
    late = factory.reading(600, 2.0, reading_id="R1")
    early = factory.reading(300, 1.0, reading_id="R1")
    tables = raw(factory, readings=[late, early])
    intake = past_intake(rows_of_export(tables), dt.date.fromisoformat(factory.date(500)))
    assert intake.judged.tables["readings"]["free_play_mm"].tolist() == [1.0]
    assert intake.judged.withheld["readings"].empty


def test_corrections_are_undone(factory: ModuleType) -> None:
    table = raw(factory, readings=[factory.reading(300, 32.0)])["readings"]
    right = Correction(0, "free_play", "32.0", "3.2", "lost point", "clerk")
    corrected = replace(table, frame=table.frame.assign(free_play=["3.2"]), corrections=(right,))
    known = rows_of_export(raw(factory) | {"readings": corrected})(dt.date(2021, 1, 1))
    assert known["readings"].frame["free_play"].tolist() == ["32.0"]
    assert known["readings"].corrections == ()
    assert corrected.frame["free_play"].tolist() == ["3.2"]


def test_a_departure_after_the_day_is_blanked(factory: ModuleType) -> None:
    gone = factory.unit(
        left_fleet_date=factory.date(501), left_fleet_odometer="?", left_fleet_reason="sale"
    )
    later = factory.unit(unit_id="U2", in_service_date=factory.date(600))
    tables = raw(factory, units=[gone | {"left_fleet_odometer": "50100"}, later])
    known = rows_of_export(tables)(dt.date.fromisoformat(factory.date(500)))["units"].frame
    assert known["unit_id"].tolist() == ["U1"]
    told = known[["left_fleet_date", "left_fleet_odometer", "left_fleet_reason"]]
    assert told.to_numpy().tolist() == [["", "", ""]]


def test_the_store_is_asked_where_it_knows_the_day(
    factory: ModuleType, intake: ModuleType, tmp_path: Path
) -> None:
    """What was kept on day 500 stands for day 600 as it was, plans of that day included."""
    options = factory.settings().model_copy(update={"folder": tmp_path})
    then = raw(
        factory,
        readings=[factory.reading(300, 1.0), factory.reading(550, 2.0)],
        visits=[factory.visit(700)],
    )
    kept_on = dt.date.fromisoformat(factory.date(500))
    store = store_of(options)
    assert store is not None
    keep(store, then, kept_on, tmp_path)
    now = rows_of_export(raw(factory, readings=[factory.reading(300, 9.0)]))
    known, begins = rows_of_store(options, now)
    assert begins == kept_on
    on_520 = known(dt.date.fromisoformat(factory.date(520)))
    assert on_520["readings"].frame["free_play"].tolist() == ["1.0"]
    assert len(on_520["visits"].frame) == 1
    before = known(dt.date.fromisoformat(factory.date(499)))
    assert before["readings"].frame["free_play"].tolist() == ["9.0"]


def test_without_a_store_the_export_is_cut(factory: ModuleType) -> None:
    options = factory.settings(store={"path": ""})
    source = rows_of_export(raw(factory))
    assert rows_of_store(options, source) == (source, None)
