"""Good rows of each table and the shortest way to judge one, for the tests of the judge."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pivotlife.pipeline.judge import Judged, judge
from pivotlife.pipeline.raw_table import RawTable

UNIT = {
    "unit_id": "MD-001",
    "depot": "Northpit",
    "duty": "regional",
    "in_service_date": "2019-01-01",
}
PIVOT = {
    "unit_id": "MD-001",
    "axle": "1",
    "side": "left",
    "node": "fixed-eye",
    "bushing_type": "threaded",
}
READING = {
    "reading_id": "R1",
    "unit_id": "MD-001",
    "axle": "1",
    "side": "left",
    "node": "fixed-eye",
    "reading_date": "2020-05-01",
    "odometer": "60000",
    "free_play": "0.05",
    "free_play_unit": "in",
    "finding": "",
}
REPAIR = {
    "repair_id": "P1",
    "unit_id": "MD-001",
    "repair_date": "2021-05-01",
    "odometer": "90000",
    "action": "replaced",
}


def raw_of(**rows: list[dict[str, str]]) -> dict[str, RawTable]:
    """Make raw tables; a good row of each needed table where the caller gives none."""
    given = {"units": [UNIT], "pivots": [PIVOT], "readings": [], "repairs": []} | rows
    return {
        name: RawTable(
            name,
            Path(f"{name}.csv"),
            pd.DataFrame(content, dtype=object)
            .fillna("")
            .assign(row_number=range(2, 2 + len(content))),
        )
        for name, content in given.items()
    }


def reading_of(**changed: str) -> Judged:
    return judge(raw_of(readings=[READING | changed]))


def reason_of(judged: Judged) -> str:
    assert len(judged.quarantine) == 1
    return str(judged.quarantine["reasons"].iloc[0])
