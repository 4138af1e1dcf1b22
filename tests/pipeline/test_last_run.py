"""Nothing changed moves nothing; one change moves exactly the lines that it caused."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pivotlife.data.fleet import simulate
from pivotlife.pipeline import stages
from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.last_run import changes_since
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.results import CSV_TABLES, RunResult
from pivotlife.pipeline.settings import Limit, Override, Price, Settings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.work import Survival, Work

QUIET = Progress(stages=stages.COUNT, quiet=True)


@dataclass(frozen=True)
class Base:
    """A finished run of a small invented fleet, and what it was made of."""

    settings: Settings
    work: Work
    result: RunResult
    day: dt.date

    @property
    def lines(self) -> pd.DataFrame:
        return self.result.tables["shortlist"]


def go(settings: Settings, day: dt.date, out: Path, survival: Survival | None = None) -> Any:
    intake = stages.read(settings, QUIET)
    records = stages.build(intake, settings, day, QUIET)
    survival = survival or stages.fit(records, settings, QUIET)
    decisions = stages.decide(records, survival, settings, QUIET)
    fleet = stages.plan(records, decisions, settings, day, QUIET)
    costing = stages.cost(records, survival, fleet, settings, QUIET)
    work = Work(intake, records, survival, decisions, fleet, costing)
    return work, stages.publish_run(work, settings, day, QUIET, out)


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory, last_day: dt.date) -> Base:
    folder = tmp_path_factory.mktemp("changes")
    simulate(folder, units=25, seed=5)
    settings = load_settings(folder / "settings.toml")
    few = settings.survival.model_copy(update={"bootstrap_draws": 20})
    settings = settings.model_copy(update={"survival": few})
    out = folder / "out"
    out.mkdir()
    return Base(settings, *go(settings, last_day, out), last_day)


@pytest.fixture
def after(base: Base, tmp_path: Path) -> Callable[..., RunResult]:
    """Run again beside a copy of the first run, with one thing different."""
    out = tmp_path / "out"
    shutil.copytree(base.result.folder.parent, out, symlinks=True)

    def run(*, refit: bool = False, **update: Any) -> RunResult:
        settings = base.settings.model_copy(update=update)
        _, result = go(settings, base.day, out, None if refit else base.work.survival)
        assert isinstance(result, RunResult)
        return result

    return run


def other_files(base: Base, to: Path, name: str, table: pd.DataFrame) -> dict[str, Any]:
    """Copy the fleet's files, one of them replaced; the settings' keys that find them."""
    for file in base.settings.folder.glob("*.csv"):
        shutil.copy(file, to / file.name)
    table.to_csv(to / f"{name}.csv", index=False)
    return {"folder": to}


def raw(base: Base, name: str) -> pd.DataFrame:
    return pd.read_csv(base.settings.folder / f"{name}.csv", dtype=str, keep_default_na=False)


def moved_lines(base: Base, result: RunResult) -> set[tuple[str, str]]:
    """Work out from the two lists alone which lines ask for something else."""
    keys = ["unit_id", "pivot_id"]
    both = base.lines.merge(result.tables["shortlist"], on=keys, how="outer")
    asked = both[[f"{n}_{s}" for n in ("decision", "postponed") for s in "xy"]].fillna("leave")
    differs = asked["decision_x"].ne(asked["decision_y"])
    differs |= asked["postponed_x"].eq("yes") != asked["postponed_y"].eq("yes")
    listed = asked[["decision_x", "decision_y"]].ne("leave").any(axis=1)
    return set(both.loc[differs & listed, keys].itertuples(index=False, name=None))


def told(result: RunResult) -> pd.DataFrame:
    return result.tables["changes"].set_index("pivot_id")


def keys_of(changes: pd.DataFrame) -> set[tuple[str, str]]:
    return set(changes[["unit_id", "pivot_id"]].itertuples(index=False, name=None))


def test_the_first_run_has_nothing_to_compare_with(base: Base) -> None:
    assert base.result.tables["changes"].empty
    assert "There is no earlier run to compare with." in base.result.record["notes"]


def test_nothing_changed_moves_nothing_to_the_last_digit(
    base: Base, after: Callable[..., RunResult]
) -> None:
    again = after(refit=True)
    assert again.folder != base.result.folder
    for name in CSV_TABLES:
        first, second = (run.folder / f"{name}.csv" for run in (base.result, again))
        assert first.read_bytes() == second.read_bytes(), name
    assert again.tables["changes"].empty
    assert "Nothing changed since the run of 2026-06-30." in again.record["notes"]


def test_a_price_moves_exactly_its_lines(base: Base, after: Callable[..., RunResult]) -> None:
    dear = base.settings.costs.model_copy(
        update={"downtime_per_day": Price(value=4_000.0, source="the books")}
    )
    result = after(costs=dear)
    changes = result.tables["changes"]
    assert len(changes) > 0
    assert set(changes["cause"]) == {"price"}
    assert changes["detail"].str.contains("downtime_per_day 4000, was 550").all()
    assert keys_of(changes) == moved_lines(base, result)


def test_a_reading_moves_its_own_line(
    base: Base, after: Callable[..., RunResult], tmp_path: Path
) -> None:
    lines = base.lines
    quiet = lines[(lines["decision"] == "leave") & (lines["bushing_type"] == "threaded")].iloc[0]
    readings = raw(base, "readings")
    row = dict.fromkeys(readings.columns, "")
    visits = base.work.records.visits.set_index("unit_id")
    row |= {
        "reading_id": "RD-NEW",
        "unit_id": quiet["unit_id"],
        "axle": str(quiet["axle"]),
        "side": quiet["side"],
        "node": quiet["node"],
        "reading_date": base.day.isoformat(),
        "entered_date": base.day.isoformat(),
        "odometer": f"{visits.loc[quiet['unit_id'], 'miles_now']:.0f}",
        "odometer_unit": "mi",
        "free_play": "4.1",
        "free_play_unit": "mm",
    }
    readings.loc[len(readings)] = row
    result = after(refit=True, **other_files(base, tmp_path, "readings", readings))
    mine = told(result).loc[quiet["pivot_id"]]
    assert (mine["change"], mine["decision_now"], mine["cause"]) == ("in", "replace", "reading")
    assert "last reading 4.1 mm on 2026-06-30, was" in mine["detail"]
    others = told(result).drop(quiet["pivot_id"])
    assert "reading" not in set(others["cause"])
    assert set(others["cause"]) <= {"fit", "visit"}


def test_a_visit_moves_its_own_unit(
    base: Base, after: Callable[..., RunResult], tmp_path: Path
) -> None:
    visits = raw(base, "visits")
    ahead = visits[visits["visit_date"] > base.day.isoformat()]
    flagged = base.lines.loc[base.lines["decision"] != "leave", "unit_id"]
    unit = ahead.loc[ahead["unit_id"].isin(flagged), "unit_id"].iloc[0]
    first = ahead[ahead["unit_id"] == unit].sort_values("visit_date").index[0]
    earlier = dt.date.fromisoformat(visits.loc[first, "visit_date"]) - dt.timedelta(days=1)
    visits.loc[first, "visit_date"] = max(earlier, base.day).isoformat()
    result = after(**other_files(base, tmp_path, "visits", visits))
    changes = result.tables["changes"]
    assert set(changes["cause"]) == {"visit"}
    mine = changes[changes["unit_id"] == unit]
    assert len(mine) >= (flagged == unit).sum() > 0
    assert mine["detail"].str.contains(f"visit {max(earlier, base.day)}, was").all()
    # Another unit's line can only have lost or won the room that the visit took.
    others = changes[changes["unit_id"] != unit]
    assert others["detail"].str.contains("put off").all()


def test_a_limit_moves_the_lines_that_have_it(base: Base, after: Callable[..., RunResult]) -> None:
    limits = {"threaded": Limit(play=1.5, unit="mm", source="maker's sheet")}
    result = after(refit=True, limits=limits)
    changes = told(result)
    now = result.tables["shortlist"].set_index("pivot_id")["bushing_type"]
    threaded = now.reindex(changes.index) == "threaded"
    assert threaded.any()
    assert set(changes.loc[threaded, "cause"]) == {"limit"}
    assert changes.loc[threaded, "detail"].str.contains("limit in mm 1.5, was").all()
    assert "limit" not in set(changes.loc[~threaded, "cause"])


def word(pivot_id: str, **over: Any) -> Override:
    return Override.model_validate(
        {
            "pivot_id": pivot_id,
            "decision": "replace",
            "reason": "heard it knock",
            "by": "the foreman",
            "until": dt.date(2026, 12, 31),
            **over,
        }
    )


def overridden(base: Base, out: Path, *overrides: Override) -> RunResult:
    """Plan and publish anew: an override comes after the decisions."""
    settings = base.settings.model_copy(update={"overrides": overrides})
    work = base.work
    fleet = stages.plan(work.records, work.decisions, settings, base.day, QUIET)
    again = replace(work, fleet=fleet)
    return stages.publish_run(again, settings, base.day, QUIET, out)


def test_an_override_moves_its_line(base: Base, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(base.result.folder.parent, out, symlinks=True)
    quiet = base.lines.loc[base.lines["decision"] == "leave", "pivot_id"].iloc[0]
    result = overridden(base, out, word(quiet))
    mine = told(result).loc[quiet]
    assert (mine["decision_now"], mine["cause"]) == ("replace", "override")
    assert "heard it knock" in mine["detail"]
    line = result.tables["shortlist"].set_index("pivot_id").loc[quiet]
    assert "the foreman says replace until 2026-12-31" in line["reason"]
    page = (result.folder / "fleet.html").read_text(encoding="utf-8")
    assert "the foreman says replace until 2026-12-31: heard it knock." in page


def test_an_override_of_no_pivot_is_an_error_that_names_it(base: Base, tmp_path: Path) -> None:
    known = base.lines["pivot_id"].iloc[0]
    with pytest.raises(SettingsError, match=f"{known}x.*the foreman.*matches no pivot.*{known}"):
        overridden(base, tmp_path, word(f"{known}x"))


def test_an_earlier_day_or_a_broken_run_is_not_compared_with(base: Base, tmp_path: Path) -> None:
    out = tmp_path / "out"
    shutil.copytree(base.result.folder.parent, out, symlinks=True)
    made, record = base.result.tables, base.result.record
    changes, note = changes_since(out, made, {**record, "as_of": "2026-06-29"})
    assert changes.empty
    assert "a later day" in note
    (out / "latest" / "line_basis.csv").unlink()
    changes, note = changes_since(out, made, record)
    assert changes.empty
    assert "cannot be compared with" in note
