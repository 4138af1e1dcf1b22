"""The first page: red list, doors, freshness."""

from __future__ import annotations

from types import ModuleType

import numpy as np

from pivotlife.dashboards.index import (
    freshness,
    index_context,
    must_sentence,
    run_counts,
    withheld_sentence,
)


def test_the_red_list_comes_with_counts(factory: ModuleType) -> None:
    context = index_context(factory.make_inputs())
    assert [line.unit for line in context["parked"]] == ["MD-077"]
    assert context["parked_count"] == "1 unit"
    tables = factory.small_tables()
    assert must_sentence(tables["shortlist"]).startswith("1 mandatory line on 1 unit")
    assert must_sentence(factory.empty("shortlist")) == "No other line is mandatory."
    told = withheld_sentence(tables["quarantine"], tables["ledger"])
    assert told.startswith("2 of 3 source rows withheld as faulty; 1 of them")


def test_doors_carry_headline_facts(factory: ModuleType) -> None:
    doors = index_context(factory.make_inputs())["doors"]
    facts = {door.file: " ".join(door.facts) for door in doors}
    assert "2 to replace, 1 to measure, 1 left alone" in facts["fleet.html"]
    assert "Roller: one in ten has failed by 245,000 miles" in facts["engineer.html"]
    assert "unadjusted" in facts["engineer.html"]
    assert "invented defaults" in facts["finance.html"]


def test_a_type_without_figures_is_words(factory: ModuleType) -> None:
    comparison = factory.small_tables()["comparison"].assign(shape=np.nan, b10=np.nan)
    doors = index_context(factory.make_inputs({"comparison": comparison}))["doors"]
    facts = " ".join(doors[1].facts)
    assert "too few failures" in facts


def test_freshness_counts_pivots_never_read(factory: ModuleType) -> None:
    rows = {
        row[0].text: [cell.text for cell in row]
        for row in freshness(factory.small_tables()["shortlist"]).rows
    }
    assert rows["Saltmere"] == ["Saltmere", "2", "1", "2026-08-11", "2026-08-11"]
    assert "Lowfen" not in rows


def test_run_counts_are_flattened() -> None:
    run = {"counts": {"units": 1200, "readings": {"kept": 2}}, "seed": 7, "versions": {"x": "1.0"}}
    rows = [[cell.text for cell in row] for row in run_counts(run).rows]
    assert rows == [["units", "1,200"], ["readings kept", "2"], ["seed", "7"], ["x", "1.0"]]
    assert run_counts({}).rows == ()
