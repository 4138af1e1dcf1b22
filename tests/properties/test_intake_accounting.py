"""Whatever is in any cell of any table: no exception, one fate a row, no value changed in silence.

The rows are those of two invented trucks, with cells of theirs overwritten at random.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline import stages
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.work import Intake

FATES = {"life", "reading", "odometer-only", "context", "quarantined", "not-needed"}
#: Canonical size of each unit that the test itself knows; others are not compared.
SIZES = {"": 1.0, "mi": 1.0, "km": 1 / 1.609344, "in": 25.4, "thou": 0.0254, "mm": 1.0, "cm": 10.0}
YES_NO = {"y": "yes", "n": "no", "true": "yes", "false": "no"}
ODD = st.sampled_from(
    [
        *("", " ", "0", "1", "-3", "60", "0.7", "1,5", "1e9", "1e400", "NaN", "2 mm", "1/8"),
        *("2020-13-01", "1949-12-31", "2023-02-29", "2099-01-01", "20230101", "in", "km", "m"),
        *("MD-001", "md 001", "nobody", "LEFT", "seized", "Axle Shifted", "replaced", "removed"),
        *("fitted", "roller", "yes", "=1+1", "\x00", "\u0664", "\u00df"),
    ]
)
CELLS = ODD | st.text(st.characters(exclude_categories=["Cs"]), max_size=6)
TRUCKS = 2
MOST_ROWS = 25


def few_rows(folder: Path) -> dict[str, pd.DataFrame]:
    """Take some rows of every table that belong to the first trucks."""
    tables = {
        name: pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)
        for name in CONTRACTS
    }
    units = tables["readings"]["unit_id"].drop_duplicates().head(TRUCKS)
    few = {
        name: (table[table["unit_id"].isin(units)] if "unit_id" in table else table).head(MOST_ROWS)
        for name, table in tables.items()
    }
    return {name: table for name, table in few.items() if len(table)}


@settings(
    max_examples=6,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(data=st.data())
def test_rows_in_are_rows_accounted_for(
    small_fleet: Callable[..., Path], last_day: dt.date, data: st.DataObject
) -> None:
    tables = few_rows(small_fleet().parent)
    for name, table in tables.items():
        places = st.tuples(
            st.integers(0, len(table) - 1), st.integers(0, len(table.columns) - 1), CELLS
        )
        for row, column, text in data.draw(st.lists(places, max_size=6), label=name):
            table.iloc[row, column] = text
    raw = {
        name: RawTable(
            name,
            Path(f"{name}.csv"),
            table.reset_index(drop=True).assign(row_number=range(2, 2 + len(table))),
        )
        for name, table in tables.items()
    }
    intake = Intake(raw, judge(raw))
    told = load_settings(small_fleet())
    records = stages.build(intake, told, last_day, Progress(stages=stages.COUNT, quiet=True))
    ledger = records.ledger
    assert ledger.groupby("table").size().to_dict() == {n: len(t) for n, t in tables.items()}
    assert not ledger.duplicated(["table", "row_number"]).any()
    assert set(ledger["fate"]) <= FATES
    assert (ledger.loc[ledger["fate"] == "quarantined", "reason"] != "").all()
    for name, table in tables.items():
        assert_nothing_changed(name, table, intake.judged.tables[name])


def assert_nothing_changed(name: str, raw: pd.DataFrame, good: pd.DataFrame) -> None:
    """Say that every accepted cell holds what was written, read independently."""
    written = raw.reset_index(drop=True).iloc[good["row_number"].to_numpy() - 2]
    for column, facts in column_facts(CONTRACTS[name]).items():
        if column not in written:  # an optional column that the file lacks
            continue
        judged = next(c for c in (column, f"{column}_miles", f"{column}_mm") if c in good)
        for text, value, cells in zip(
            written[column], good[judged], written.to_dict("records"), strict=True
        ):
            wanted = expected(text.strip(), facts.kind, cells.get(facts.unit_column or "", ""))
            assert wanted is None or same(wanted, value), (name, column, text, value)


def expected(text: str, kind: str, unit: str) -> object:
    """Read one cell as a person would; None where this test does not know how."""
    if text == "":
        return ""
    if kind in ("number", "whole", "quantity"):
        size = SIZES.get(unit.strip().lower()) if kind == "quantity" else 1.0
        plain = re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", text)
        return float(text) * size if plain and size is not None else None
    if kind == "date":
        return pd.Timestamp(text[:10]) if re.fullmatch(r"\d{4}-\d\d-\d\d.*", text) else None
    return key(text)


def key(text: str) -> str:
    bare = re.sub(r"[\s_\-]", "", text.casefold())
    return YES_NO.get(bare, bare)


def same(wanted: object, value: Any) -> bool:
    if wanted == "":
        return value == "" or bool(pd.isna(value))
    if isinstance(wanted, float):
        return isinstance(value, float) and bool(np.isclose(wanted, value, rtol=1e-9, atol=1e-12))
    if isinstance(wanted, pd.Timestamp):
        return bool(wanted == value)
    return wanted == key(str(value))


def test_the_reading_of_this_test_can_fail() -> None:
    """A value that was halved, a word that was swapped or a day that moved is noticed."""
    cases: Mapping[tuple[str, str, str], object] = {
        ("0.5", "quantity", "in"): 6.35,
        ("ok", "words", ""): "seized",
        ("2023-05-01", "date", ""): pd.Timestamp("2023-01-05"),
        ("3", "whole", ""): float("nan"),
    }
    for (text, kind, unit), value in cases.items():
        assert not same(expected(text, kind, unit), value)
