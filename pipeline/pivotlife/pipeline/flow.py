"""The same stages as `run`, as a scheduled flow: the only module that imports prefect.

The tasks wrap the plain functions of `stages`; only reading the sources is tried again, because
only there can the world outside fail for a moment. A run stands on a day and is idempotent: when
the latest published run already stands on that day with the same settings and inputs, there is
nothing to do.

Not here: the server and its settings (`scheduler`), the stages.
"""

from __future__ import annotations

import asyncio
import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
from prefect import flow, task
from prefect.artifacts import create_table_artifact
from prefect.cache_policies import NO_CACHE
from prefect.client.orchestration import get_client
from prefect.client.schemas.filters import FlowFilter, FlowFilterName, FlowRunFilter
from prefect.client.schemas.objects import State, StateType
from prefect.schedules import Cron
from prefect.states import Crashed

from pivotlife.pipeline import stages
from pivotlife.pipeline.backtest_trust import newest_backtest
from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.publish import locked
from pivotlife.pipeline.results import RunResult, already_published
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.work import Work

FLOW_NAME = "pivotlife-nightly"
ARTIFACT_ROWS = 25

_read = task(cache_policy=NO_CACHE, retries=2, retry_delay_seconds=30)(stages.read)
_build = task(cache_policy=NO_CACHE)(stages.build)
_fit = task(cache_policy=NO_CACHE)(stages.fit)
_decide = task(cache_policy=NO_CACHE)(stages.decide)
_plan = task(cache_policy=NO_CACHE)(stages.plan)
_cost = task(cache_policy=NO_CACHE)(stages.cost)
_publish = task(cache_policy=NO_CACHE)(stages.publish_run)


@flow(name=FLOW_NAME)
def nightly(settings_file: str, as_of: str | None = None) -> str:
    """Run all stages once and publish.

    Parameters
    ----------
    settings_file : str
        Path of the settings file.
    as_of : str, optional
        Day to stand on, YYYY-MM-DD; today in the schedule's time zone when left out.

    Returns
    -------
    str
        Folder of the run.
    """
    settings = load_settings(Path(settings_file))
    zone = ZoneInfo(settings.schedule.timezone)
    day = dt.date.fromisoformat(as_of) if as_of else dt.datetime.now(zone).date()
    progress = Progress(stages=stages.COUNT, quiet=True)
    with locked(settings.out_folder):
        intake = _read(settings, progress, day)
        done = already_published(settings, intake, day)
        if done is not None:
            return str(done)
        records = _build(intake, settings, day, progress)
        survival = _fit(records, settings, progress)
        trust = newest_backtest(settings.out_folder, day)
        decisions = _decide(records, survival, settings, progress, trust)
        fleet = _plan(records, decisions, settings, day, progress)
        costing = _cost(records, survival, fleet, settings, progress)
        work = Work(intake, records, survival, decisions, fleet, costing)
        result = _publish(work, settings, day, progress, settings.out_folder)
    _show_tables(result)
    return str(result.folder)


def serve(settings_file: Path, cron: str, timezone: str) -> None:
    """Wait for the hour and run, until stopped.

    Raises
    ------
    SettingsError
        When the cron text or the time zone is not one.
    """
    try:
        hours = Cron(cron, timezone=timezone)
    except ValueError as fault:
        raise SettingsError(f"schedule.nightly = {cron!r}: {fault}") from None
    nightly.serve(
        name="nightly",
        schedule=hours,
        parameters={"settings_file": str(settings_file.resolve())},
        limit=1,
    )


def close_stale_runs() -> int:
    """End the runs that a killed scheduler left open; they would block new ones.

    Returns
    -------
    int
        How many were closed.
    """
    return asyncio.run(_close_stale_runs())


async def _close_stale_runs() -> int:
    async with get_client() as client:
        runs = await client.read_flow_runs(
            flow_filter=FlowFilter(name=FlowFilterName(any_=[FLOW_NAME])),
            flow_run_filter=FlowRunFilter.model_validate(
                {"state": {"type": {"any_": [StateType.RUNNING, StateType.PENDING]}}}
            ),
        )
        for run in runs:
            stopped: State[None] = Crashed(
                message="the scheduler was stopped while this run was open"
            )
            await client.set_flow_run_state(run.id, stopped, force=True)
        return len(runs)


def _show_tables(result: RunResult) -> None:
    listed = result.tables["shortlist"]
    _show(
        "shortlist-head",
        "The first lines of the replacement shortlist",
        listed[listed["decision"] != "leave"],
        ["rank", "unit_id", "depot", "pivot_id", "decision", "reason"],
    )
    _show(
        "comparison-by-type",
        "Survival by bushing type",
        result.tables["comparison"],
        ["bushing_type", "duty", "lives", "failures", "b10", "b10_lower", "b10_upper"],
    )


def _show(key: str, description: str, table: pd.DataFrame, columns: list[str]) -> None:
    head = table[columns].head(ARTIFACT_ROWS).astype(str)
    rows = [dict(zip(columns, row, strict=True)) for row in head.to_numpy().tolist()]
    create_table_artifact(key=key, table=rows, description=description)
