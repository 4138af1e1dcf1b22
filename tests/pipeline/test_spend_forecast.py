"""The forecast of a year ago: the published one first, else from what was known then."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from pivotlife.models.budget import BUDGET_COLUMNS
from pivotlife.pipeline import stages
from pivotlife.pipeline.decision_inputs import cost_items
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.spend_forecast import (
    FROM_STORE,
    REBUILT,
    published_forecast,
    rebuilt_forecast,
    rows_then,
)
from pivotlife.pipeline.store import keep
from pivotlife.pipeline.stored_intake import store_of
from pivotlife.pipeline.work import Intake

TODAY = pd.Timestamp("2026-07-01")


def published(out: Path, name: str, as_of: str, columns: tuple[str, ...] = BUDGET_COLUMNS) -> None:
    folder = out / name
    folder.mkdir()
    table = pd.DataFrame([dict.fromkeys(columns, 1.0) | {"month": "2025-07", "depot": name}])
    table.to_csv(folder / "budget.csv", index=False)
    (folder / "run.json").write_text(json.dumps({"as_of": as_of}), encoding="utf-8")


def test_the_run_nearest_to_a_year_ago_speaks(tmp_path: Path) -> None:
    published(tmp_path, "2025-05-28", "2025-05-28")
    published(tmp_path, "2025-06-29", "2025-06-29")
    published(tmp_path, "2025-07-20", "2025-07-20")
    (tmp_path / "latest").symlink_to("2025-06-29")
    day, table, origin = published_forecast(tmp_path, TODAY)
    assert table is not None
    assert (day, origin) == (pd.Timestamp("2025-06-29"), "run 2025-06-29")
    assert table["depot"].tolist() == ["2025-06-29"]


def test_runs_that_are_broken_or_too_young_do_not_speak(tmp_path: Path) -> None:
    published(tmp_path, "young", "2026-03-01")
    published(tmp_path, "less", "2025-07-01", ("month", "depot", "item"))
    published(tmp_path, "broken", "2025-07-01")
    (tmp_path / "broken" / "run.json").write_text("{", encoding="utf-8")
    assert published_forecast(tmp_path, TODAY)[1] is None


@pytest.fixture(scope="module")
def read(
    small_fleet: Callable[..., Path], last_day: dt.date
) -> tuple[Settings, Intake, pd.Timestamp]:
    settings = load_settings(small_fleet())
    intake = stages.read(settings, Progress(stages=1, quiet=True))
    return settings, intake, pd.Timestamp(last_day) - pd.DateOffset(years=1)


def test_nothing_later_moves_the_forecast(
    read: tuple[Settings, Intake, pd.Timestamp],
) -> None:
    settings, intake, day = read
    settings = settings.model_copy(update={"store": settings.store.model_copy(update={"path": ""})})
    costs = cost_items(settings.costs)
    then, origin = rows_then(intake.raw, settings, day)
    assert origin == REBUILT
    whole = rebuilt_forecast(then, costs, settings, day)
    assert whole is not None
    # Without the rows of the last year at all the forecast is the same, figure by figure.
    cut = dict(intake.raw)
    dates = {"readings": "reading_date", "repairs": "repair_date", "lube": "lube_date"}
    for name, date in dates.items():
        table = cut[name]
        late = pd.to_datetime(table.frame[date].astype(str), errors="coerce") > day
        cut[name] = replace(table, frame=table.frame[~late].reset_index(drop=True))
        assert late.any()
    less = rebuilt_forecast(rows_then(cut, settings, day)[0], costs, settings, day)
    assert less is not None
    pd.testing.assert_frame_equal(whole, less)


def test_a_short_record_makes_no_forecast(read: tuple[Settings, Intake, pd.Timestamp]) -> None:
    settings, intake, _ = read
    first = intake.judged.tables["readings"]["reading_date"].min()
    costs = cost_items(settings.costs)
    early = first + pd.Timedelta(days=300)
    assert rebuilt_forecast(intake.judged.tables, costs, settings, early) is None


def test_the_store_speaks_of_what_it_knew(
    read: tuple[Settings, Intake, pd.Timestamp], tmp_path: Path
) -> None:
    settings, intake, day = read
    store = settings.store.model_copy(update={"path": str(tmp_path / "store")})
    kept = settings.model_copy(update={"store": store})
    assert rows_then(intake.raw, kept, day)[1] == REBUILT
    # The repairs as they stood then, before most of them were typed in.
    early = dict(intake.raw)
    repairs = early["repairs"]
    early["repairs"] = replace(repairs, frame=repairs.frame.head(50))
    where = store_of(kept)
    assert where is not None
    keep(where, early, day.date())
    then, origin = rows_then(intake.raw, kept, day)
    assert origin == FROM_STORE
    assert 0 < len(then["repairs"]) <= 50
    # A day before the store begins is answered by today's rows.
    assert rows_then(intake.raw, kept, day - pd.Timedelta(days=1))[1] == REBUILT
