"""Whatever is in the cells: judging never raises, and every row has exactly one fate."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.judge import Judged, judge
from pivotlife.pipeline.raw_table import RawTable

GOOD = {
    "text": "MD-001",
    "date": "2020-01-02",
    "number": "3",
    "whole": "1",
    "quantity": "1.5",
    "unit": "",
}
UNITS_IN_USE = {"distance": "km", "play": "mm", "length": "mm"}

NASTY = st.sampled_from(
    [
        "",
        " ",
        "-1",
        "1,5",
        "1e400",
        "-1e-400",
        "9" * 400,
        "1/0",
        "1/3",
        "NaN",
        "inf",
        "None",
        "0024-01-01",
        "9999-12-31",
        "2020-13-01",
        "=cmd()",
        '"',
        "m",
        "1/16",
        "thou",
        "in",
        "LEFT",
        "left",
        "seized",
        "axle-shifted",
        "md-001",
        "MD-002",
        "\x00",
        "\u0661\u0662",
        "ß",
        "\u00a0",
    ]
)
CELLS = st.one_of(NASTY, st.text(st.characters(exclude_categories=["Cs"]), max_size=8))


def _good_row(name: str) -> dict[str, str]:
    row = {}
    for column, facts in column_facts(CONTRACTS[name]).items():
        row[column] = facts.allowed[0] if facts.allowed else GOOD[facts.kind]
        if facts.kind == "unit" and facts.measure is not None:
            row[column] = UNITS_IN_USE[facts.measure]
    return row


@st.composite
def raw_tables(draw: st.DrawFn) -> dict[str, RawTable]:
    """Draw tables of good rows in which random cells are corrupted and columns go missing."""
    tables = {}
    for name in draw(st.lists(st.sampled_from(list(CONTRACTS)), unique=True, min_size=1)):
        rows = [_good_row(name) for _ in range(draw(st.integers(0, 5)))]
        columns = [*_good_row(name), "extra", "pivot_id", "ragged_row"]
        for row in rows:
            hit = draw(st.dictionaries(st.sampled_from(columns), CELLS, max_size=4))
            row.update(hit)
        frame = pd.DataFrame(rows, dtype=object).fillna("")
        gone = draw(st.lists(st.sampled_from(columns), max_size=2))
        frame = frame.drop(columns=[column for column in gone if column in frame])
        tables[name] = RawTable(
            name, Path(f"{name}.csv"), frame.assign(row_number=range(2, 2 + len(rows)))
        )
    return tables


def assert_each_row_has_one_fate(raw: dict[str, RawTable], judged: Judged) -> None:
    """Say that good, withheld and repeated rows add up to the rows handed in."""
    for name in CONTRACTS:
        handed_in = raw[name].frame["row_number"].tolist() if name in raw else []
        good = judged.tables[name]["row_number"].tolist()
        withheld = judged.withheld[name]["row_number"].tolist()
        again = judged.duplicates.query("table == @name")["row_number"].tolist()
        assert sorted([*good, *withheld, *again]) == handed_in
        assert good == sorted(good)
        quarantined = judged.quarantine.query("table == @name")
        assert quarantined["row_number"].tolist() == withheld


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(raw_tables())
def test_no_row_is_lost_and_nothing_raises(raw: dict[str, RawTable]) -> None:
    judged = judge(raw)
    assert_each_row_has_one_fate(raw, judged)
    for entry in judged.quarantine.itertuples():
        assert entry.reasons
        assert "\n" not in str(entry.reasons)
        frame = raw[str(entry.table)].frame
        handed_in = frame[frame["row_number"] == entry.row_number].drop(columns="row_number")
        assert json.loads(str(entry.row)) == handed_in.iloc[0].to_dict()
    for name, frame in judged.tables.items():
        facts = column_facts(CONTRACTS[name])
        for column, fact in facts.items():
            if fact.kind == "words":
                assert set(frame[column]) <= {"", *fact.allowed}


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(raw_tables())
def test_judging_twice_gives_the_same(raw: dict[str, RawTable]) -> None:
    once, again = judge(raw), judge(raw)
    for name in CONTRACTS:
        pd.testing.assert_frame_equal(once.tables[name], again.tables[name])
        pd.testing.assert_frame_equal(once.withheld[name], again.withheld[name])
    pd.testing.assert_frame_equal(once.quarantine, again.quarantine)
