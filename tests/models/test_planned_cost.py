"""The cost of the shortlist adds up from kits, hours, alignments and days."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

import work_factory
from pivotlife.models.planned_cost import PLANNED_COST_COLUMNS, planned_work

COSTS = replace(work_factory.COSTS, tyre_loss_per_mile_over=1e-6, chance_roadside_when_over=0.02)


def line(**given: object) -> dict[str, object]:
    usual: dict[str, object] = {
        "unit_id": "MD-001",
        "depot": "Lowfen",
        "visit_date": pd.Timestamp("2026-07-10"),
        "pivot_id": "MD-001.1.left.fixed-eye",
        "axle": 1.0,
        "bushing_type": "threaded",
        "decision": "replace",
        "labour_hours": 2.0,
    }
    return {**usual, **given}


def test_a_job_by_hand() -> None:
    shortlist = pd.DataFrame(
        [
            line(),
            line(pivot_id="MD-001.1.left.shackle-upper", labour_hours=0.75, decision="park"),
            line(pivot_id="MD-001.2.left.fixed-eye", axle=2.0, bushing_type="roller"),
            line(pivot_id="MD-001.2.right.fixed-eye", decision="measure", labour_hours=0.25),
            line(pivot_id="", decision="park", labour_hours=0.0),
            line(unit_id="MD-002", pivot_id="x", decision="leave", labour_hours=0.0),
        ]
    )
    job = planned_work(shortlist, COSTS)
    assert list(job.columns) == PLANNED_COST_COLUMNS
    assert len(job) == 1
    row = job.iloc[0]
    assert row.pivots == 3
    assert row.labour_hours == pytest.approx(4.75)
    assert row.parts == pytest.approx(55 + 55 + 220)
    assert row.labour == pytest.approx(475)
    assert row.alignment == pytest.approx(500)
    assert row.cash == pytest.approx(330 + 475 + 500)
    assert row.downtime == pytest.approx(250)


def test_nothing_to_replace_costs_nothing() -> None:
    job = planned_work(pd.DataFrame([line(decision="leave")]), COSTS)
    assert job.empty
    assert list(job.columns) == PLANNED_COST_COLUMNS
