"""The planning sections: each table shows its head, names the rest, and says when it is empty."""

from __future__ import annotations

import re
from types import ModuleType

import pandas as pd

from pivotlife.dashboards.fleet_plan import HEAD, plan_sections
from pivotlife.dashboards.pages import build_pages
from pivotlife.dashboards.tables import Table

SHORT = "Northpit, week of 2026-11-30: mandatory work needs 14.0 bay hours and 12.0 are there."


def table(factory: ModuleType, name: str, tables: dict[str, pd.DataFrame] | None = None) -> Table:
    parts = plan_sections(factory.make_inputs(tables))
    (found,) = [t for part in parts for t in part.tables if t.name == name]
    return found


def cells(shown: Table) -> list[list[str]]:
    return [[cell.text for cell in row] for row in shown.rows]


def test_every_question_has_its_section_and_its_file(factory: ModuleType) -> None:
    parts = plan_sections(factory.make_inputs())
    assert [part.file for part in parts] == [
        *("changes.csv", "kits_to_stage.csv", "hours_by_week.csv", "inspection_gaps.csv"),
        *("lube_compliance.csv", "repeat_repairs.csv"),
    ]
    assert len({part.anchor for part in parts}) == 6
    assert all(t.rows or t.name == "put-off" for part in parts for t in part.tables)


def test_a_shortage_is_the_first_thing_on_the_page(factory: ModuleType) -> None:
    pages = build_pages(factory.make_inputs(run={"shortages": [SHORT]}))
    for name in ("fleet.html", "index.html"):
        body = re.sub(r"<style>.*?</style>", "", pages[name], flags=re.DOTALL)
        content = body[body.index('id="content"') :]
        assert content.index("mandatory work needs") < content.index("<h1>")
        assert "Not enough room for mandatory work" in content
    assert "Not enough room" not in build_pages(factory.make_inputs())["fleet.html"]


def test_changes_say_from_to_and_cause(factory: ModuleType) -> None:
    row = cells(table(factory, "changes"))[0]
    assert row[1:5] == ["in", "leave", "replace", "reading"]
    assert row[0] == "MD-014.1.left.fixed-eye"


def test_kits_say_how_many_to_order_and_by_when(factory: ModuleType) -> None:
    row = cells(table(factory, "kits"))[0]
    assert row[:3] == ["2026-12-03", "Northpit", "KIT-TFE-4"]
    assert row[4:] == ["3", "2", "driver 1.75", "order: 1 by 2026-11-30"]


def test_hours_say_where_they_are_short(factory: ModuleType) -> None:
    row = cells(table(factory, "bay-hours"))[0]
    assert row[:2] == ["Northpit", "2026-11-30"]
    assert row[2:] == ["14.0", "0.5", "2.0", "16.5", "12.0", "2.0", "3.1"]


def test_what_waits_stands_with_its_chance_and_cost(factory: ModuleType) -> None:
    lines = factory.small_tables()["shortlist"]
    lines["postponed"] = ["no", "yes", "no", "no", ""]
    lines.loc[1, "postponed_cost"] = 312.0
    shown = table(factory, "put-off", {"shortlist": lines})
    assert cells(shown)[0][0] == "MD-014.1.left.shackle-lower"
    assert cells(shown)[0][-1].replace("\u00a0", " ") == "USD 312"
    assert "1 renewal put off" in shown.caption


def test_overdue_readings_grease_and_repeats(factory: ModuleType) -> None:
    assert cells(table(factory, "gaps-by-depot"))[0] == ["Saltmere", "1", "1", "1"]
    assert cells(table(factory, "gaps-by-unit"))[0] == ["MD-090", "Saltmere", "1", "never read"]
    grease = cells(table(factory, "grease-by-unit"))[0]
    assert grease[:4] == ["MD-014", "Northpit", "2.5", "4.9"]
    assert cells(table(factory, "repeat-repairs"))[0][-1] == "31,200"


def test_a_long_table_shows_its_head_and_says_so(factory: ModuleType) -> None:
    one = factory.small_tables()["changes"]
    many = pd.concat([one] * (HEAD + 1), ignore_index=True)
    shown = table(factory, "changes", {"changes": many})
    assert len(shown.rows) == HEAD
    assert f"The first {HEAD} are shown" in shown.caption
    assert "are shown" not in table(factory, "changes", {"changes": one}).caption
