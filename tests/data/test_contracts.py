"""The contracts hang together, and the data dictionary says what they say."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pandera.pandas as pa
import pytest

from pivotlife.data import dictionary
from pivotlife.data.contracts.columns import facts_of, judged_name, play, text
from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.registry import CONTRACTS, NEEDED_TABLES
from pivotlife.data.contracts.tables import column_facts, required_columns, table_facts
from pivotlife.data.contracts.vocabulary import FINDINGS, REASONS
from pivotlife.data.units_of_measure import factor
from pivotlife.models.findings import FAILURE_FINDINGS, PARK_FINDINGS, REPLACE_FINDINGS

README = Path(__file__).parents[2] / "data" / "README.md"


def test_the_needed_tables() -> None:
    assert NEEDED_TABLES == ("units", "pivots", "readings", "repairs")


@pytest.mark.parametrize("name", CONTRACTS)
def test_every_column_is_described_and_carries_facts(name: str) -> None:
    schema = CONTRACTS[name]
    assert schema.description
    for column in schema.columns.values():
        assert len(str(column.description)) > 5
        assert facts_of(column).kind


@pytest.mark.parametrize("name", CONTRACTS)
def test_keys_and_units_name_columns_of_the_table(name: str) -> None:
    schema = CONTRACTS[name]
    facts = table_facts(schema)
    columns = column_facts(schema)
    assert set(facts.key) <= set(columns)
    assert set(facts.key) <= set(required_columns(schema))
    for column in columns.values():
        if column.kind == "quantity":
            assert column.measure is not None
            assert columns[column.unit_column].kind == "unit"
            assert columns[column.unit_column].measure == column.measure
            if column.default_unit:
                assert factor(column.default_unit, column.measure) > 0.0


def test_a_play_has_no_assumed_unit() -> None:
    assert facts_of(play("x")).default_unit == ""


@pytest.mark.parametrize("name", CONTRACTS)
def test_judged_names_do_not_clash(name: str) -> None:
    names = [judged_name(column, facts) for column, facts in column_facts(CONTRACTS[name]).items()]
    assert len(names) == len(set(names))


def test_every_finding_that_demands_something_can_be_written_down() -> None:
    assert set(FINDINGS) >= FAILURE_FINDINGS | PARK_FINDINGS | REPLACE_FINDINGS
    assert "ok" in FINDINGS
    assert {"wear", "preventive", "campaign"} <= set(REASONS)


def test_a_contract_checks_converted_columns() -> None:
    frame = pd.DataFrame(
        {
            "reading_id": ["R1", None],
            "unit_id": ["MD-001", "MD-001"],
            "axle": [1.0, 1.5],
            "reading_date": pd.to_datetime(["2024-05-01", "2024-05-02"]),
            "odometer": [1000.0, -1.0],
            "free_play": [3.0, 25.5],
            "finding": pd.Series(["ok", "fine"], dtype=object),
        }
    )
    with pytest.raises(pa.errors.SchemaErrors) as failure:
        READINGS.validate(frame, lazy=True)
    cases = failure.value.failure_cases
    assert set(zip(cases["column"], cases["check"], strict=True)) == {
        ("reading_id", "not_nullable"),
        ("axle", "not_whole"),
        ("odometer", "negative"),
        ("free_play", "too_large"),
        ("finding", "not_allowed"),
    }
    assert set(cases["index"]) == {1}


def test_a_column_without_facts_is_refused() -> None:
    bare = pa.Column("object", name="bare", metadata={"facts": None})
    with pytest.raises(ValueError, match="column bare carries no facts"):
        facts_of(bare)


def test_the_readme_is_in_step_with_the_contracts() -> None:
    document = README.read_text(encoding="utf-8")
    fresh = dictionary.refreshed(document, dictionary.IN_SECTION, dictionary.in_section())
    assert document == fresh, "run `python -m pivotlife.data.dictionary data/README.md`"


def test_the_dictionary_names_every_column_and_word() -> None:
    section = dictionary.in_section()
    for name, schema in CONTRACTS.items():
        assert f"### `{name}`" in section
        for column, facts in column_facts(schema).items():
            assert f"| `{column}` |" in section
            assert all(word in section for word in facts.allowed)


def test_refreshing_a_section_keeps_the_prose(tmp_path: Path) -> None:
    readme = tmp_path / "README.md"
    begin, end = (f"<!-- {what}: tables that come in -->" for what in ("begin", "end"))
    readme.write_text(f"before\n{begin}\nstale\n{end}\nafter\n", encoding="utf-8")
    dictionary.refresh(readme)
    once = readme.read_text(encoding="utf-8")
    dictionary.refresh(readme)
    assert readme.read_text(encoding="utf-8") == once
    assert once.startswith("before\n")
    assert once.endswith("after\n")
    assert "stale" not in once


def test_refreshing_without_markers_is_refused() -> None:
    with pytest.raises(ValueError, match="lacks the markers <!-- begin: tables"):
        dictionary.refreshed("no markers", dictionary.IN_SECTION, "body")


def test_any_list_of_columns_becomes_a_table() -> None:
    entry = dictionary.ColumnEntry("play_mm", "number | NaN", "mm", "movement")
    assert dictionary.column_table([entry]).splitlines() == [
        "| column | holds | unit | meaning |",
        "|---|---|---|---|",
        "| `play_mm` | number \\| NaN | mm | movement |",
    ]


def test_text_columns_are_optional_unless_said() -> None:
    assert text("anything").nullable
    assert not text("a name", required=True).nullable
