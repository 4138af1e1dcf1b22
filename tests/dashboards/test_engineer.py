"""The engineer's page: what was left out is counted, with reasons."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd

from pivotlife.dashboards.engineer import engineer_context, fates, left_out, reason_kind


def test_lives_in_no_fit_come_first_by_type(factory: ModuleType) -> None:
    table = left_out(factory.small_tables()["life_counts"])
    labels = [column.label for column in table.columns[1:4]]
    assert labels == ["Already bad when first seen", "Never seen again after entry", "Age unknown"]
    assert [cell.text for cell in table.rows[0][1:4]] == ["61", "0", "68"]
    assert "810 lives" in table.caption
    assert left_out(factory.empty("life_counts")).rows == ()


def test_every_row_of_the_ledger_is_counted(factory: ModuleType) -> None:
    table = fates(factory.small_tables()["ledger"])
    assert [cell.text for cell in table.rows[0]] == ["readings", "reading", "none needed", "2"]
    many = pd.DataFrame(
        {"table": "readings", "fate": "quarantined", "reason": [f"r{n}" for n in range(75)]}
    )
    cut = fates(many)
    assert len(cut.rows) == 60
    assert "15 rows of rarer reasons stand in ledger.csv only" in cut.caption


def test_reasons_that_differ_in_a_value_alone_are_one_kind() -> None:
    assert {
        reason_kind(f"free_play.too_large: free_play '{play}' is larger than an inch: wrong unit?")
        for play in ("5", "1.6")
    } == {"free_play is larger than an inch: wrong unit?"}
    placed = "position missing, attributed to 1.left.fixed-eye, 1.right.fixed-eye by the only ones"
    assert reason_kind(placed) == "position missing, worked out: the only ones"


def test_one_survival_figure_a_duty_all_first(factory: ModuleType) -> None:
    drawings = engineer_context(factory.make_inputs())["curves"]
    titles = [drawing.title for drawing in drawings]
    assert titles[0] == "Still good: All duties, unadjusted"
    assert len(titles) == 4


def test_the_age_from_which_records_speak_is_said(factory: ModuleType) -> None:
    curves = factory.curve_rows("roller", "all")
    start = np.where(curves["curve"] == "records", 42_000.0, 0.0)
    context = engineer_context(factory.make_inputs({"curves": curves.assign(from_miles=start)}))
    (drawing,) = context["curves"]
    assert "still good at (miles): roller 42,000" in drawing.caption
    assert "roller 120 of 320" in drawing.caption
