"""Mappings that the settings may not hold: unknown names, unreadable rules, hidden dangers."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from pivotlife.data.contracts.vocabulary import FINDINGS
from pivotlife.models.findings import PARK_FINDINGS, REPLACE_FINDINGS
from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.mapping_rules import mapping_faults
from pivotlife.pipeline.settings import SourceSettings


def _faults(table: str = "readings", **given: object) -> list[str]:
    return mapping_faults(table, SourceSettings.model_validate({"path": "x.csv", **given}))


def _values(column: str, value: str, meaning: str, table: str = "readings") -> list[str]:
    return _faults(table, values={column: {value: meaning}})


@pytest.mark.parametrize("column", ["finding", "teardown_finding"])
def test_the_rest_may_never_be_called_ok(column: str) -> None:
    table = "readings" if column == "finding" else "repairs"
    for meaning in ("ok", ""):
        [fault] = _values(column, "*", meaning, table)
        assert "it could hide a danger" in fault
        assert f'sources.{table}.values.{column}: "*" = "{meaning}"' in fault
    for meaning in PARK_FINDINGS | REPLACE_FINDINGS:
        assert _values(column, "*", meaning, table) == []


def test_a_known_danger_may_not_be_made_milder() -> None:
    severity = dict.fromkeys(FINDINGS, 0)
    severity |= dict.fromkeys(REPLACE_FINDINGS, 1) | dict.fromkeys(PARK_FINDINGS, 2)
    for word in FINDINGS:
        for meaning in FINDINGS:
            refused = bool(_values("finding", word.upper(), meaning))
            assert refused == (severity[meaning] < severity[word]), (word, meaning)
        assert bool(_values("finding", word, "")) == (severity[word] > 0)


@pytest.mark.parametrize("said", ["Fractured", "snapped", "FROZEN", "Bore worn", "rusty grease"])
def test_the_trades_words_for_dangers_count_as_known(said: str) -> None:
    [fault] = _values("finding", said, "ok")
    assert "may not make a danger milder" in fault
    assert _values("finding", said, "broken") == []


def test_a_fleets_own_code_is_believed() -> None:
    assert _values("finding", "B2", "ok") == []
    assert _values("finding", "n/a", "") == []


@pytest.mark.parametrize(
    ("table", "column", "value", "meaning", "says"),
    [
        ("readings", "finding", " ", "ok", "a blank cell means that nobody said"),
        ("readings", "takes_grease", "*", "yes", "it could hide a danger"),
        ("readings", "takes_grease", "N", "not-greasable", "may not be mapped away"),
        ("readings", "free_play", "9.9", "0", "a number is not rewritten by a mapping"),
        ("readings", "free_play", ">5", "", "a number is not rewritten by a mapping"),
        ("readings", "free_play", "*", "", "no rule for the rest of free_play"),
        ("readings", "free_play_unit", "*", "mm", "no rule for the rest of free_play_unit"),
        ("readings", "side", "*", "left", "it could hide a danger"),
        ("readings", "unit_id", "*", "MD-001", "no rule for the rest of unit_id"),
        ("readings", "reading_date", "x", "2020-01-01", "a date can only be mapped to"),
        ("readings", "side", "x", "lefft", "'lefft' is none of left, right .nearest: 'left'."),
        ("readings", "free_play_unit", "x", "furlongish", "is not a unit of length"),
        ("readings", "axle", "front", "one", "'one' is not a whole number"),
        ("repairs", "action", "*", "replaced", "it could hide a danger"),
        ("repairs", "reason", "*", "preventive", "it could hide a danger"),
        ("pivots", "bushing_type", "*", "rubber-bonded", "it could hide a danger"),
        ("readings", "findings", "x", "ok", "unknown key sources.readings.values.findings; the"),
    ],
)
def test_refused_rules(table: str, column: str, value: str, meaning: str, says: str) -> None:
    faults = _values(column, value, meaning, table)
    assert len(faults) == 1
    assert says.replace(".nearest", "(nearest").replace("'left'.", "'left')") in faults[0]


@pytest.mark.parametrize(
    ("table", "column", "value", "meaning"),
    [
        ("readings", "free_play", "n/a", ""),
        ("readings", "left_fleet_date", "", ""),
        ("units", "left_fleet_date", "9999-12-31", ""),
        ("readings", "axle", "front", "1"),
        ("readings", "side", "*", ""),
        ("repairs", "action", "*", "regreased"),
        ("repairs", "place", "*", "shop"),
        ("units", "depot", "N. pit", "Northpit"),
        ("readings", "free_play_unit", "Zoll", "in"),
    ],
)
def test_allowed_rules(table: str, column: str, value: str, meaning: str) -> None:
    if value:
        assert _values(column, value, meaning, table) == []


def test_two_meanings_of_one_value() -> None:
    [fault] = _faults(values={"side": {"Near side": "left", "NEARSIDE": "right"}})
    assert "the same value has another meaning above" in fault


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"columns": {"freeplay": "Play"}}, "the nearest known key is 'free_play'"),
        ({"columns": {"Truck": "unit_id"}}, 'written the other way round: unit_id = "Truck"'),
        ({"units": {"remark": "mm"}}, "unknown key sources.readings.units.remark"),
        ({"units": {"free_play": "m"}}, "could mean miles or metres"),
        ({"units": {"odometer": "mm"}}, "is not a unit for an odometer"),
        ({"decimal": ",", "thousands": ","}, "decimal and thousands are the same sign"),
        ({"encoding": "utf-99"}, "no such encoding"),
        ({"date_format": "%d.%m"}, "needs a day, a month and a year"),
        ({"date_format": ["%d.%m.%Y", "soon"]}, "date_format = 'soon'"),
        ({"url": "sqlite:///a.db", "query": "SELECT 1"}, "needs either path, or url with query"),
        ({"path": None, "url": "sqlite:///a.db"}, "url and query go together"),
        ({"path": "${HOME}/x.csv"}, "only the password of a url may come from the environment"),
        ({"path": None, "url": "mysql://h/d", "query": "SELECT 1"}, "mysql cannot be read"),
        (
            {"path": None, "url": "postgresql://${WHO}@h/d", "query": "SELECT 1"},
            "only the password may come from the environment",
        ),
        ({"path": None, "url": "nonsense", "query": "SELECT 1"}, "is not a database address"),
    ],
)
def test_other_faults_of_a_source(given: dict[str, object], says: str) -> None:
    faults = _faults(**given)
    assert len(faults) == 1, faults
    assert says in faults[0]


def test_all_faults_stand_on_one_line(intake: ModuleType, tmp_path: Path) -> None:
    lines = (
        'path = "readings.csv"\ndate_format = "%d"\n[sources.readings.columns]\nunitid = "x"\n'
        '[sources.readings.values.finding]\n"*" = "ok"\n'
    )
    with pytest.raises(SettingsError, match=r"date_format.*hide a danger|hide.*date_format") as no:
        intake.write_settings(tmp_path, readings=lines)
    assert "\n" not in str(no.value)
    assert "'unit_id'" in str(no.value)


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('path = "a"\ncolumn = "x"', "unknown key sources.readings.column; the nearest known key"),
        ('path = "a"\ndecimal = ";"', r"sources.readings.decimal = ';'"),
        ('path = "a"\nskip_rows = -1', r"sources.readings.skip_rows = -1"),
        ('path = "a"\n[sources.readings.columns]\nunit_id = []', "sources.readings.columns"),
        ('path = "a"\n[sources.readings.values.side]\nL = true', "sources.readings.values.side.L"),
    ],
)
def test_kinds_of_keys(intake: ModuleType, tmp_path: Path, lines: str, says: str) -> None:
    with pytest.raises(SettingsError, match=says):
        intake.write_settings(tmp_path, readings=lines)
