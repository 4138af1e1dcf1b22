"""Lines gather into jobs, and a job stands under its gravest line."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.dashboards.lines import Job, gather_jobs, read_lines


def jobs(factory: ModuleType, *rows: dict[str, object], left: bool = False) -> tuple[Job, ...]:
    frame = pd.DataFrame([factory.shortlist_row(**row) for row in rows])
    return gather_jobs(read_lines(frame, factory.empty("growth"), "USD"), left=left)


@pytest.mark.parametrize(
    ("rows", "chapter"),
    [
        ([{"decision": "park"}, {"decision": "replace", "mandatory": "no"}], "park"),
        ([{"decision": "measure", "mandatory": True}], "must"),
        ([{"mandatory": "yes"}, {"mandatory": "no"}], "must"),
        ([{"mandatory": "no"}, {"decision": "measure", "mandatory": False}], "choice"),
        ([{"decision": "measure", "mandatory": "no"}], "measure"),
    ],
)
def test_the_gravest_line_gives_the_chapter(
    factory: ModuleType, rows: list[dict[str, object]], chapter: str
) -> None:
    (job,) = jobs(factory, *rows)
    assert job.chapter == chapter


@pytest.mark.parametrize(
    ("decision", "mandatory", "told"),
    [("park", "yes", True), ("replace", "yes", True), ("replace", "no", False)],
)
def test_what_was_found_has_no_chance_beside_it(
    factory: ModuleType, decision: str, mandatory: str, told: bool
) -> None:
    (job,) = jobs(factory, {"decision": decision, "mandatory": mandatory})
    assert (job.lines[0].chance == "found already") == told
    assert any(fact.startswith("Over its limit or failed") for fact in job.lines[0].facts) != told


def test_one_job_for_each_unit_by_depot_and_visit(factory: ModuleType) -> None:
    found = jobs(
        factory,
        {"unit_id": "B", "depot": "Saltmere"},
        {"unit_id": "A", "depot": "Saltmere", "visit_date": pd.Timestamp("2026-12-01")},
        {"unit_id": "C", "depot": "Lowfen"},
        {"unit_id": "B", "depot": "Saltmere", "decision": "measure"},
        {"unit_id": "D", "decision": "leave"},
    )
    assert [job.unit for job in found] == ["C", "A", "B"]
    assert found[2].summary == "1 to replace, 1 to measure"


def test_lines_left_alone_have_their_own_jobs(factory: ModuleType) -> None:
    rows: list[dict[str, object]] = [{"decision": "leave"}, {"decision": "replace"}]
    (job,) = jobs(factory, *rows, left=True)
    assert job.summary == "1 to leave"
    assert [line.force for line in job.lines] == [()]


def test_the_gravest_line_stands_first(factory: ModuleType) -> None:
    rows: list[dict[str, object]] = [
        {"rank": 1, "decision": "measure"},
        {"rank": 2, "mandatory": "no"},
        {"rank": 3, "mandatory": "yes"},
        {"rank": 4, "decision": "park"},
    ]
    (job,) = jobs(factory, *rows)
    assert [line.order for line in job.lines] == ["Park now", "Replace", "Replace", "Measure"]
    assert [line.force for line in job.lines] == [(), ("must",), ("by choice",), ("must",)]


def test_a_unit_line_without_a_pivot_or_visit_is_still_read(factory: ModuleType) -> None:
    (job,) = jobs(factory, {"pivot_id": "", "axle": pd.NA, "visit_date": pd.NaT, "depot": ""})
    assert job.lines[0].place == "whole unit"
    assert (job.visit, job.depot) == ("no visit date", "unknown")


def test_no_line_no_job(factory: ModuleType) -> None:
    assert gather_jobs(read_lines(factory.empty("shortlist"), factory.empty("growth"), "")) == ()


def test_what_parks_a_unit_does_not_wait_for_its_visit() -> None:
    job = Job("MD-001", "Lowfen", "2026-08-25", "1", "park", "1 to park", ())
    assert job.when == "now, not at the visit 2026-08-25"
    assert replace(job, chapter="must").when == "visit 2026-08-25"


def test_what_holds_for_an_axle_is_said_once_a_job(factory: ModuleType) -> None:
    remark = "Fit rubber-bonded instead: on the whole axle it saves USD 409 on average."
    rows: list[dict[str, object]] = [
        {"rank": place, "axle": axle, "node": node, "reason": f"Worn ({place}). {remark}"}
        for place, (axle, node) in enumerate([(1, "a"), (1, "b"), (2, "a")])
    ]
    (job,) = jobs(factory, *rows)
    assert [line.reason for line in job.lines] == [
        f"Worn (0). {remark}",
        "Worn (1). Rubber-bonded instead: as said above.",
        f"Worn (2). {remark}",
    ]


def test_an_odometer_to_come_is_no_finer_than_a_hundred_miles(factory: ModuleType) -> None:
    (job,) = jobs(factory, {"visit_odometer_miles": 561_673.2})
    assert job.odometer == "561,700"
    (unknown,) = jobs(factory, {"visit_odometer_miles": float("nan")})
    assert unknown.odometer == "unknown"
