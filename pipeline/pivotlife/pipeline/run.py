"""The whole job once, by plain calls.

Not here: the stages (`stages`), the schedule (`flow`).
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pivotlife.pipeline import stages
from pivotlife.pipeline.backtest_trust import newest_backtest
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.publish import locked
from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Work


def run(
    settings: Settings,
    day: dt.date,
    *,
    out: Path | None = None,
    quiet: bool = False,
    today: dt.date | None = None,
) -> RunResult:
    """Read, build, fit, decide, plan and publish.

    Parameters
    ----------
    settings : Settings
        The user's settings.
    day : date
        The day to stand on; nothing dated or entered later is used. For a day before the last
        one that the store knows, the rows are taken as they were known then.
    out : Path, optional
        Folder of the runs; the settings' own when left out.
    quiet : bool
        Say nothing on standard error.
    today : date, optional
        Today; by the clock when left out.

    Returns
    -------
    RunResult

    Raises
    ------
    SourceError
        When a source cannot be read, or the store or the output folder cannot be used.
    """
    progress = Progress(stages=stages.COUNT, quiet=quiet)
    target = (out or settings.out_folder).resolve()
    with locked(target):
        intake = stages.read(settings, progress, day, today)
        records = stages.build(intake, settings, day, progress)
        survival = stages.fit(records, settings, progress)
        trust = newest_backtest(target, day)
        decisions = stages.decide(records, survival, settings, progress, trust)
        fleet = stages.plan(records, decisions, settings, day, progress)
        costing = stages.cost(records, survival, fleet, settings, progress)
        work = Work(intake, records, survival, decisions, fleet, costing)
        return stages.publish_run(work, settings, day, progress, target)
