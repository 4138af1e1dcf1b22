"""Leaving out suspect values, whichever the user names, changes no safety order."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pivotlife.data.contracts.vocabulary import FINDINGS
from pivotlife.models.safety import standing_orders
from pivotlife.pipeline import stages
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.settings import Judge, Settings, SourceSettings
from pivotlife.pipeline.suspect_kinds import KINDS
from pivotlife.pipeline.work import Intake, Records

FIRST = dt.date(2020, 1, 1)
TODAY = dt.date(2021, 12, 31)
PLACES = [
    {"axle": "1", "side": side, "node": node}
    for side in ("left", "right")
    for node in ("fixed-eye", "shackle-lower", "shackle-upper")
]
NOWHERE = {"axle": "", "side": "", "node": ""}
KITS = [
    {"kit_id": "K1", "bushing_type": "threaded", "node": "fixed-eye", "outside": "ribbed"},
    {"kit_id": "K2", "bushing_type": "roller", "node": "shackle-upper", "outside": "smooth"},
]
TYPES = ("rubber-bonded", "threaded", "roller")


@st.composite
def events(draw: st.DrawFn, kind: str) -> list[dict[str, str]]:
    """Draw readings or repairs, most of them odd in some way that makes a row suspect."""
    rows = []
    for number in range(draw(st.integers(1, 7))):
        day = draw(st.integers(-20, 700))
        off = draw(st.sampled_from([1.0, 1.0, 1.0, 1.609, 10.0]))
        row = {
            f"{kind}_id": f"{kind}-{number}",
            "unit_id": draw(st.sampled_from(["U1", "U1", "U2"])),
            **draw(st.sampled_from([*PLACES, NOWHERE])),
            f"{kind}_date": (FIRST + dt.timedelta(days=day)).isoformat(),
            "odometer": str(round(max(day, 0) * 100 * off)),
        }
        row |= _reading(draw) if kind == "reading" else _repair(draw)
        rows += [row] * draw(st.sampled_from([1, 1, 2]))
    return rows


def _reading(draw: st.DrawFn) -> dict[str, str]:
    return {
        "free_play": draw(st.sampled_from(["", "0", "0.05", "0.2", "0.7", "3", "60", "3.3"])),
        "free_play_unit": draw(st.sampled_from(["in", "in", "mm"])),
        "finding": draw(st.sampled_from(["", "", "ok", *FINDINGS])),
        "takes_grease": draw(st.sampled_from(["", "yes", "no"])),
        "inspector": "Z",
    }


def _repair(draw: st.DrawFn) -> dict[str, str]:
    return {
        "action": draw(st.sampled_from(["replaced", "replaced", "fitted", "removed"])),
        "reason": draw(st.sampled_from(["wear", "preventive", ""])),
        "bushing_type": draw(st.sampled_from(["", *TYPES])),
        "kit_id": draw(st.sampled_from(["", "K1", "K2"])),
        "pivots_in_kit": draw(st.sampled_from(["", "1", "2", "6"])),
        "teardown_finding": draw(st.sampled_from(["", "seized", "split"])),
    }


def built(tables: dict[str, list[dict[str, str]]], exclude: tuple[str, ...]) -> Records:
    raw = {
        name: RawTable(
            name,
            Path(f"{name}.csv"),
            pd.DataFrame(rows, dtype=object).fillna("").assign(row_number=range(2, 2 + len(rows))),
        )
        for name, rows in tables.items()
    }
    options: dict[str, Any] = {"judge": Judge.model_validate({"exclude_suspect": exclude})}
    told = Settings(sources={"units": SourceSettings(path="units.csv")}, **options)
    progress = Progress(stages=stages.COUNT, quiet=True)
    return stages.build(Intake(raw, judge(raw)), told, TODAY, progress)


def orders(records: Records) -> pd.DataFrame:
    return standing_orders(records.evidence.evidence, records.evidence.clearances, records.roster)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    readings=events("reading"),
    repairs=events("repair"),
    types=st.lists(st.sampled_from(TYPES), min_size=6, max_size=6),
    exclude=st.just(KINDS) | st.lists(st.sampled_from(KINDS), min_size=1, unique=True),
)
def test_no_order_comes_or_goes_with_what_is_left_out(
    readings: list[dict[str, str]],
    repairs: list[dict[str, str]],
    types: list[str],
    exclude: Sequence[str],
) -> None:
    unit = {"depot": "Northpit", "duty": "regional", "in_service_date": FIRST.isoformat()}
    tables = {
        "units": [unit | {"unit_id": "U1"}, unit | {"unit_id": "U2"}],
        "pivots": [
            {"unit_id": "U1", **place, "bushing_type": kind}
            for place, kind in zip(PLACES, types, strict=True)
        ],
        "readings": readings,
        "repairs": repairs,
        "kits": KITS,
    }
    usual = built(tables, ())
    assert set(usual.suspects.loc[usual.suspects["excluded"] == "yes", "kind"]) <= {"entered-twice"}
    less = built(tables, tuple(exclude))
    pd.testing.assert_frame_equal(orders(less), orders(usual))
    assert len(less.ledger) == sum(len(rows) for rows in tables.values())
    left = less.suspects[less.suspects["excluded"] == "yes"]
    assert set(left["kind"]) <= {*exclude, "entered-twice"}
