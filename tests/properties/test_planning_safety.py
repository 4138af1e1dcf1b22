"""Neither room, nor money, nor a person's word weakens a safety order, whatever the list."""

from __future__ import annotations

from typing import Any

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

import work_factory as work
from pivotlife.models.bay_plan import plan_bays
from pivotlife.models.overrides import OVERRIDE_COLUMNS, apply_overrides
from pivotlife.models.safety import PRESSING

KEYS = ["unit_id", "pivot_id"]

decisions = st.sampled_from(list(PRESSING))
amounts = st.one_of(st.just(float("nan")), st.floats(0, 5_000))
one_line = st.fixed_dictionaries(
    {
        "decision": decisions,
        "mandatory": st.booleans(),
        "rule": st.sampled_from(["over-limit", "chance-now", "waiting-costs-more", "uncertain"]),
        "wait_cost": amounts,
        "kept_value": amounts,
        "chance_over_now": st.one_of(st.just(float("nan")), st.floats(0, 1)),
        "bushing_type": st.sampled_from(["threaded", "roller", ""]),
    }
)
places = [
    (u, s, n) for u in "AB" for s in ("left", "right") for n in ("fixed-eye", "shackle-lower")
]


def listed(drawn: list[dict[str, Any]]) -> pd.DataFrame:
    rows = [
        work.line(
            *place, **{**over, "mandatory": over["mandatory"] and over["decision"] != "leave"}
        )
        for place, over in zip(places, drawn, strict=False)
    ]
    return work.shortlist(*rows)  # type: ignore[no-any-return]  the factory is loaded by path


@settings(max_examples=60, deadline=None)
@given(
    st.lists(one_line, min_size=1, max_size=len(places)),
    st.floats(0, 20),
    st.one_of(st.none(), st.floats(0, 4_000)),
)
def test_room_and_money_never_move_a_safety_order(
    drawn: list[dict[str, Any]], hours: float, budget: float | None
) -> None:
    table = listed(drawn)
    plan = plan_bays(table, work.room(hours), work.visits("A", "B"), work.COSTS, budget)
    done = plan.shortlist
    must = table["mandatory"]
    assert (done.loc[must, "decision"] == table.loc[must, "decision"]).all()
    assert (done.loc[must, "postponed"] == "no").all()
    assert set(done.loc[done["postponed"] == "yes", "decision"]) <= {"replace", "measure"}
    # What waits although it may be over already is measured, never left.
    waits = done["postponed"] == "yes"
    assert (done.loc[waits & (table["chance_over_now"] >= 0.2), "decision"] == "measure").all()
    week = plan.hours_by_week
    room = week["bay_hours"] - week["mandatory_hours"] - week["measure_hours"]
    assert (week["choice_hours"] <= room.clip(lower=0.0).fillna(1e9) + 1e-6).all()
    short = (week["mandatory_hours"] > week["bay_hours"]).any()
    assert short == any("bay hours" in text for text in plan.shortages)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(one_line, min_size=1, max_size=len(places)),
    st.lists(st.tuples(st.sampled_from(places), decisions), max_size=6, unique_by=lambda w: w[0]),
)
def test_no_word_weakens_a_safety_order(
    drawn: list[dict[str, Any]], words: list[tuple[tuple[str, str, str], str]]
) -> None:
    table = listed(drawn)
    rows = [
        (f"{u}.1.{s}.{n}", decision, "says so", "a foreman", work.TODAY)
        for (u, s, n), decision in words
    ]
    given_words = pd.DataFrame(rows, columns=list(OVERRIDE_COLUMNS))
    done = apply_overrides(table, given_words, work.TODAY, work.COSTS)
    both = table.merge(done, on=KEYS, suffixes=("_before", "_now"))
    assert len(both) == len(table)
    must = both[both["mandatory_before"]]
    weight = {end: must[f"decision_{end}"].map(PRESSING) for end in ("before", "now")}
    assert (weight["now"] <= weight["before"]).all()
    assert must["mandatory_now"].all()
