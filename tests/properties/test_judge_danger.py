"""A row that loses one cell to a typing error never loses the danger in its other cells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.data.contracts.vocabulary import FINDINGS
from pivotlife.pipeline.danger import loose_number, loose_play_mm
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.raw_table import RawTable

UNIT = {
    "unit_id": "MD-001",
    "depot": "Saltmere",
    "duty": "vocational",
    "in_service_date": "2019-01-01",
}
SPOILT = ("reading_id", "axle", "side", "node", "reading_date", "odometer", "odometer_unit")


def _raw(name: str, row: dict[str, str]) -> RawTable:
    return RawTable(name, Path(f"{name}.csv"), pd.DataFrame([row]).assign(row_number=2))


@settings(max_examples=30, deadline=None)
@given(
    spoilt=st.sampled_from(SPOILT),
    garbage=st.sampled_from(["??", "", "12-x", "m"]),
    finding=st.sampled_from(FINDINGS),
    thousandths=st.integers(0, 1000),
)
def test_the_danger_survives_another_cells_fault(
    spoilt: str, garbage: str, finding: str, thousandths: int
) -> None:
    reading = {
        "reading_id": "R1",
        "unit_id": "MD-001",
        "axle": "1",
        "side": "left",
        "node": "fixed-eye",
        "reading_date": "2020-01-01",
        "odometer": "1000",
        "odometer_unit": "mi",
        "free_play": str(thousandths),
        "free_play_unit": "thou",
        "finding": finding,
    } | {spoilt: garbage}
    judged = judge({"units": _raw("units", UNIT), "readings": _raw("readings", reading)})
    rows = pd.concat([judged.tables["readings"], judged.withheld["readings"]])
    assert rows["unit_id"].tolist() == ["MD-001"]
    assert rows["finding"].tolist() == [finding]
    assert rows["free_play_mm"].iloc[0] == pytest.approx(thousandths * 0.0254, rel=1e-12)


@given(st.text(max_size=15), st.text(max_size=5))
def test_any_play_cell_is_read_or_missing(text: str, unit: str) -> None:
    number = loose_number(text)
    play = loose_play_mm(text, unit)
    assert np.isnan(number) or number >= 0.0
    assert np.isnan(play) or play >= 0.0
    assert not np.isinf(play)


@given(st.floats(0.001, 25.0), st.sampled_from(["mm", "in", "thou", "1/16"]))
def test_a_plain_play_is_read_as_the_strict_reader_does(value: float, unit: str) -> None:
    written = f"{value:.4f}"
    factor = {"mm": 1.0, "in": 25.4, "thou": 0.0254, "1/16": 1.5875}[unit]
    assert loose_play_mm(written, unit) == pytest.approx(float(written) * factor, rel=1e-12)
