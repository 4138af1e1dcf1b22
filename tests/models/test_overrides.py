"""A person's word counts for a time and never against safety."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pandas as pd
import pytest

from pivotlife.models.overrides import OVERRIDE_COLUMNS, apply_overrides


def word(**over: Any) -> pd.DataFrame:
    row = {
        "pivot_id": "A.1.left.fixed-eye",
        "decision": "leave",
        "reason": "sold on the 20th",
        "by": "the foreman",
        "until": pd.Timestamp("2026-07-20").date(),
        **over,
    }
    return pd.DataFrame([row], columns=list(OVERRIDE_COLUMNS))


def applied(work: ModuleType, given: pd.DataFrame, *lines: dict[str, Any]) -> pd.DataFrame:
    table = work.shortlist(*lines)
    done = apply_overrides(table, given, work.TODAY, work.COSTS)
    assert len(done) == len(table)
    return done.set_index("pivot_id")


def test_it_changes_the_line_and_says_who_and_why(work: ModuleType) -> None:
    here = applied(work, word(), work.line(), work.line("B")).loc["A.1.left.fixed-eye"]
    assert (here["decision"], here["rule"], here["rank"]) == ("leave", "override", 2)
    assert "the foreman says leave until 2026-07-20: sold on the 20th." in here["reason"]
    assert "The rules say replace: Waiting costs more." in here["reason"]
    assert (here["labour_hours"], here["group_id"]) == (0.0, "")


@pytest.mark.parametrize("decision", ["park", "replace", "measure"])
def test_a_safety_order_stays_against_a_milder_word(work: ModuleType, decision: str) -> None:
    must = work.line(decision=decision, mandatory=True, rule="over-limit")
    here = applied(work, word(), must).iloc[0]
    assert (here["decision"], here["rule"], here["mandatory"]) == (decision, "over-limit", True)
    assert "no effect against a safety order" in here["reason"]


def test_a_stricter_word_than_the_order_counts(work: ModuleType) -> None:
    must = work.line(decision="measure", mandatory=True, rule="refuses-grease")
    here = applied(work, word(decision="park"), must).iloc[0]
    assert (here["decision"], here["mandatory"]) == ("park", True)


def test_it_ends_after_its_last_day(work: ModuleType) -> None:
    last = applied(work, word(until=work.TODAY.date()), work.line()).iloc[0]
    over = applied(work, word(until=pd.Timestamp("2026-06-30").date()), work.line()).iloc[0]
    assert (last["decision"], over["decision"]) == ("leave", "replace")
    assert over["reason"] == "Waiting costs more."


def test_the_job_of_the_unit_is_shared_anew(work: ModuleType) -> None:
    lines = [work.line(node=node) for node in ("fixed-eye", "shackle-lower")]
    given = word(pivot_id="A.1.left.shackle-lower")
    done = applied(work, given, *lines, work.line("B", decision="leave"))
    assert done.loc["A.1.left.fixed-eye", "labour_hours"] == 2.0
    asked = applied(
        work,
        word(pivot_id="B.1.left.fixed-eye", decision="replace"),
        work.line("B", decision="leave", group_id=""),
    )
    assert asked.iloc[0]["labour_hours"] == 2.0
    assert asked.iloc[0]["group_id"] == "B@2026-07-07"


def test_nothing_given_moves_nothing(work: ModuleType) -> None:
    table = work.shortlist(work.line(), work.line("B"))
    pd.testing.assert_frame_equal(
        apply_overrides(table, word().iloc[:0], work.TODAY, work.COSTS), table
    )
