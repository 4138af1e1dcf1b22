"""A past list rests on nothing that was dated or typed in after its day.

Whatever is added, changed or taken away among later rows of any table, and whatever a correction
says today, the list of the day stays the same, cell for cell.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import history_factory as made
from pivotlife.data.contracts.vocabulary import FINDINGS
from pivotlife.pipeline.backtest_standing import stand_on
from pivotlife.pipeline.past_rows import past_intake, rows_of_export
from pivotlife.pipeline.raw_table import Correction, RawTable
from pivotlife.pipeline.work import Intake

DAY = 1_000
#: The list is a pure function of these; withheld rows of other tables are read by nobody.
ACTING = ("units", "readings", "repairs")


@cache
def export() -> dict[str, RawTable]:
    """Two trucks on record for 1,400 days: good, bad, late and withheld rows (invented)."""
    readings, lube = [], []
    for name, growth in (("U1", 0.0016), ("U2", 0.0031)):
        for day in range(100, 1_400, 130):
            for side, node in made.SIX:
                lag = 40 if day % 3 else 3
                row = made.reading(day, round(0.3 + growth * day, 1), side=side, node=node)
                readings.append(row | {"unit_id": name, "entered_date": made.date(day + lag)})
        lube += [made.lube(day, unit_id=name) for day in range(50, 1_400, 90)]
    readings.append(made.reading(400, "?", finding="cracked", unit_id="U1", side="right"))
    readings.append(made.reading(990, 0.4, takes_grease="no", unit_id="U1"))
    repairs = [made.repair(day, unit_id="U2", bushing_type="roller") for day in (700, 1_200)]
    odometer = [made.odometer(day, unit_id=u) for u in ("U1", "U2") for day in range(20, 1_400, 60)]
    gone = {"left_fleet_date": made.date(1_300), "left_fleet_odometer": 130_000}
    tables = {
        "units": [made.unit(), made.unit(unit_id="U2", left_fleet_reason="sale", **gone)],
        "pivots": [*made.six_pivots(), *[row | {"unit_id": "U2"} for row in made.six_pivots()]],
        "readings": [{"reading_id": f"R{n}"} | row for n, row in enumerate(readings)],
        "repairs": [{"repair_id": f"P{n}"} | row for n, row in enumerate(repairs)],
        "lube": lube,
        "odometer": odometer,
        "visits": [made.visit(day, unit_id=u) for u in ("U1", "U2") for day in (950, 1_050, 1_100)],
        "meters": [made.meter(1_250, 125_000, 0)],
    }
    return {name: made._raw(name, rows) for name, rows in tables.items()}


def known(raw: Mapping[str, RawTable]) -> Intake:
    return past_intake(rows_of_export(raw), dt.date.fromisoformat(made.date(DAY)))


def listed(raw: Mapping[str, RawTable], **over: Any) -> pd.DataFrame:
    day = dt.date.fromisoformat(made.date(DAY))
    return stand_on(day, known(raw), made.settings(**over)).forecasts


@cache
def unaltered() -> pd.DataFrame:
    return listed(export())


@cache
def taken_in() -> Intake:
    return known(export())


def assert_the_same_was_known(raw: Mapping[str, RawTable]) -> None:
    now, before = known(raw).judged, taken_in().judged
    for name, table in before.tables.items():
        pd.testing.assert_frame_equal(now.tables[name], table)
    for name in ACTING:
        pd.testing.assert_frame_equal(now.withheld[name], before.withheld[name])


DATES = {
    "readings": "reading_date",
    "repairs": "repair_date",
    "lube": "lube_date",
    "odometer": "read_date",
    "meters": "change_date",
    "visits": "visit_date",
    "units": "in_service_date",
}
LATER_DAYS = st.integers(DAY + 1, DAY + 900)
CELLS = {
    "free_play": st.sampled_from(["", "0", "9.9", "x", "3.2"]),
    "finding": st.sampled_from(["", *FINDINGS]),
    "odometer": st.sampled_from(["1", "70000", "999999", "km", ""]),
    "teardown_finding": st.sampled_from(["", *FINDINGS]),
    "unit_id": st.sampled_from(["U1", "U2", "U9", ""]),
    "axle": st.sampled_from(["1", "", "x"]),
    "old_reading": st.sampled_from(["5", "99999"]),
}


@st.composite
def later_rows(draw: st.DrawFn) -> tuple[str, dict[str, str]]:
    """Draw a row that nobody could know on the day: dated later, or typed in later."""
    name = draw(st.sampled_from(sorted(DATES)))
    frame = export()[name].frame
    cells = frame.iloc[draw(st.integers(0, len(frame) - 1))].astype(str).to_dict()
    when = made.date(draw(LATER_DAYS))
    # A row may keep the id of an earlier one and stand anywhere in its file.
    late_entry = name in ("readings", "repairs") and draw(st.booleans())
    if late_entry:
        cells["entered_date"] = when
    else:
        cells[DATES[name]] = when
        cells["entered_date"] = "" if "entered_date" in cells else cells.get("entered_date", "")
    for column, values in CELLS.items():
        if column in cells and draw(st.booleans()):
            cells[column] = draw(values)
    cells.pop("row_number")
    if "entered_date" not in frame.columns and not late_entry:
        cells.pop("entered_date", None)
    return name, cells


def with_row(
    raw: Mapping[str, RawTable], name: str, cells: dict[str, str], place: int
) -> dict[str, RawTable]:
    table = raw[name]
    new = pd.DataFrame([cells]).assign(row_number=90_000 + len(table.frame))
    at = place % (len(table.frame) + 1)
    parts = [table.frame.iloc[:at], new, table.frame.iloc[at:]]
    frame = pd.concat(parts, ignore_index=True).fillna("")
    return {**raw, name: replace(table, frame=frame)}


@settings(max_examples=8, deadline=None)
@given(rows=st.lists(later_rows(), min_size=1, max_size=6), place=st.integers(0, 500))
def test_later_rows_are_not_known(rows: list[tuple[str, dict[str, str]]], place: int) -> None:
    raw = export()
    for name, cells in rows:
        raw = with_row(raw, name, cells, place)
    assert_the_same_was_known(raw)


@settings(max_examples=2, deadline=None)
@given(rows=st.lists(later_rows(), min_size=5, max_size=12), place=st.integers(0, 500))
def test_later_rows_change_no_list(rows: list[tuple[str, dict[str, str]]], place: int) -> None:
    raw = export()
    for name, cells in rows:
        raw = with_row(raw, name, cells, place)
    pd.testing.assert_frame_equal(listed(raw), unaltered())


@settings(max_examples=3, deadline=None)
@given(data=st.data())
def test_changing_or_losing_later_rows_changes_nothing(data: st.DataObject) -> None:
    raw = dict(export())
    for name, column in DATES.items():
        frame = raw[name].frame.copy()
        day = made.date(DAY)
        later = frame[column] > day
        if "entered_date" in frame:
            later |= frame["entered_date"] > day
        for at in frame.index[later]:
            what = data.draw(st.sampled_from(["keep", "drop", "spoil"]))
            if what == "drop":
                frame = frame.drop(index=at)
            for cell in CELLS if what == "spoil" else ():
                if cell in frame:
                    frame.loc[at, cell] = data.draw(CELLS[cell])
        raw[name] = replace(raw[name], frame=frame.reset_index(drop=True))
    assert_the_same_was_known(raw)


@settings(max_examples=8, deadline=None)
@given(
    place=st.integers(0, 100),
    column=st.sampled_from(["free_play", "finding", "odometer", "reading_date", "entered_date"]),
    new=st.sampled_from(["", "9.9", "cracked", "2020-03-01"]),
)
def test_a_correction_does_not_reach_back(place: int, column: str, new: str) -> None:
    table = export()["readings"]
    at = place % len(table.frame)
    old = str(table.frame[column].iloc[at])
    frame = table.frame.copy()
    frame.loc[at, column] = new
    told = Correction(at, column, old, new, "put right later", "clerk")
    corrected = replace(table, frame=frame, corrections=(told,))
    assert_the_same_was_known({**export(), "readings": corrected})


def test_a_departure_that_has_not_happened_is_not_known() -> None:
    raw = dict(export())
    frame = raw["units"].frame.assign(
        left_fleet_date="", left_fleet_odometer="", left_fleet_reason=""
    )
    raw["units"] = replace(raw["units"], frame=frame)
    assert_the_same_was_known(raw)
    assert set(unaltered()["unit_id"]) == {"U1", "U2"}


def test_a_persons_word_of_today_does_not_reach_back() -> None:
    word = {
        "pivot_id": made.PIVOT,
        "decision": "leave",
        "reason": "known good",
        "by": "the manager",
        "until": made.date(DAY + 300),
    }
    pd.testing.assert_frame_equal(listed(export(), overrides=(word,)), unaltered())


@pytest.mark.parametrize("entered", [DAY, DAY + 1])
def test_the_day_itself_is_known_and_the_next_is_not(entered: int) -> None:
    """The same row, typed in a day earlier, does change the list: the test above can fail."""
    cells = made.reading(DAY - 1, 9.0, unit_id="U2", reading_id="RX")
    cells = {name: str(value) for name, value in cells.items()}
    raw = with_row(export(), "readings", cells | {"entered_date": made.date(entered)}, 0)
    same = listed(raw).equals(unaltered())
    assert same is (entered > DAY)
