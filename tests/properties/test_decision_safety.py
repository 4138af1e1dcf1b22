"""Whatever else is blank or corrupt, a row that tells of danger orders something for its unit."""

from __future__ import annotations

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.models.findings import PARK_FINDINGS, REPLACE_FINDINGS
from pivotlife.models.safety import standing_orders

PIVOT = "MD-001.1.left.fixed-eye"
ROSTER = pd.DataFrame({"unit_id": ["MD-001"], "pivot_id": [PIVOT]})

rubbish = st.one_of(
    st.none(),
    st.just(float("nan")),
    st.just(pd.NaT),
    st.just(""),
    st.booleans(),
    st.integers(-10, 10**12),
    st.floats(),
    st.text(max_size=12),
)
danger = st.one_of(
    st.sampled_from(sorted(PARK_FINDINGS | REPLACE_FINDINGS)).map(lambda f: {"finding": f}),
    st.floats(3.2, 1e6).map(lambda play: {"play_mm": play, "limit_mm": 3.2}),
)
other_cells = st.fixed_dictionaries(
    {},
    optional=dict.fromkeys(
        (
            "source_row",
            "pivot_id",
            "date",
            "recorded_order",
            "finding",
            "teardown",
            "play_mm",
            "limit_mm",
            "refuses_grease",
            "unreadable_finding",
            "play_unit_unreadable",
            "after_repair",
            "withheld",
            "what",
        ),
        rubbish,
    ),
)


#: Many units at once: what one row demands must not depend on its neighbours.
fleets = st.lists(st.tuples(danger, other_cells), min_size=1, max_size=25)


def events(kinds: list[str], date: str, units: int) -> pd.DataFrame:
    columns = ["unit_id", "pivot_id", "date", "kind", "source_row"]
    rows = [
        (f"MD-{i:03}", PIVOT, pd.Timestamp(date), kind, "repairs:W1")
        for kind in kinds
        for i in range(units)
    ]
    return pd.DataFrame(rows, columns=columns)


@settings(max_examples=25, deadline=None)
@given(fleet=fleets)
def test_a_danger_always_orders(
    fleet: list[tuple[dict[str, object], dict[str, object]]],
) -> None:
    evidence = pd.DataFrame(
        [{**cells, **told, "unit_id": f"MD-{i:03}"} for i, (told, cells) in enumerate(fleet)],
        dtype=object,
    )
    found = standing_orders(evidence, events([], "2026-01-01", 0), ROSTER)
    assert set(found["unit_id"]) == set(evidence["unit_id"])
    assert set(found["decision"]) <= {"park", "replace", "measure"}
    assert (found["reason"] != "").all()
    parked = found.loc[found["decision"] == "park", "unit_id"]
    deadly = [f"MD-{i:03}" for i, (t, _) in enumerate(fleet) if t.get("finding") in PARK_FINDINGS]
    assert set(deadly) <= set(parked)


@settings(max_examples=25, deadline=None)
@given(fleet=st.lists(danger, min_size=1, max_size=25), later=st.integers(1, 2_000))
def test_good_news_undoes_nothing(fleet: list[dict[str, object]], later: int) -> None:
    stamp = pd.Timestamp("2020-01-01")
    evidence = pd.DataFrame(
        [
            {**told, "unit_id": f"MD-{i:03}", "pivot_id": PIVOT, "date": stamp}
            for i, told in enumerate(fleet)
        ]
    )
    after = stamp + pd.Timedelta(days=later)
    news = events(["good-evidence", "took-grease"], str(after.date()), len(fleet))
    found = standing_orders(evidence, news, ROSTER)
    assert set(found["unit_id"]) == set(evidence["unit_id"])


@settings(max_examples=20, deadline=None)
@given(rows=st.lists(danger, min_size=1, max_size=8))
def test_the_order_of_rows_does_not_matter(rows: list[dict[str, object]]) -> None:
    frame = pd.DataFrame(
        [
            {
                **told,
                "unit_id": "MD-001",
                "pivot_id": PIVOT,
                "date": pd.Timestamp("2026-01-01"),
                "source_row": f"readings:{i}",
            }
            for i, told in enumerate(rows)
        ]
    )
    none = events([], "2026-01-01", 0)
    one = standing_orders(frame, none, ROSTER)
    other = standing_orders(frame.iloc[::-1], none, ROSTER)
    pd.testing.assert_frame_equal(one, other)
