"""The stages in order, each a plain function whose result the next one reads.

read -> build -> fit -> decide -> publish_run. `run` calls them one after the other; the scheduled
flow wraps the same functions. Nothing here computes: each stage names the functions of the rooms
that do.

Not here: what the published folder holds (`results`), the schedule.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd

from pivotlife.models.crossing import FirstCrossing
from pivotlife.models.curves import curve_tables
from pivotlife.models.decision import decide as decide_pivots
from pivotlife.models.fair_comparison import compare_fairly
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.planned_cost import planned_work
from pivotlife.models.safety import standing_orders
from pivotlife.models.type_table import compare_types, fit_by_type_and_duty
from pivotlife.pipeline.decision_inputs import (
    cost_items,
    decision_options,
    scale_bounds,
    sudden_rates,
)
from pivotlife.pipeline.histories import build_histories
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.known_rows import known_at
from pivotlife.pipeline.ledger import make_ledger
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.results import RunResult, publish_all, run_record, run_tables
from pivotlife.pipeline.safety_evidence import safety_evidence
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.true_miles import true_miles
from pivotlife.pipeline.visits import next_visits
from pivotlife.pipeline.work import Decisions, Intake, Records, Survival, Work

STAGES = (
    "reading and checking the sources",
    "placing rows on true miles, building lives",
    "fitting survival by type",
    "deciding",
    "writing tables and pages",
)
COUNT = len(STAGES)


def read(settings: Settings, progress: Progress) -> Intake:
    """Read the sources and judge every row."""
    with progress.stage(STAGES[0]):
        raw = read_sources(settings)
        return Intake(raw, judge(raw))


def build(intake: Intake, settings: Settings, day: dt.date, progress: Progress) -> Records:
    """Place the rows on true miles and turn them into lives, visits and evidence."""
    as_of = pd.Timestamp(day)
    with progress.stage(STAGES[1]):
        known, later = known_at(intake.judged.tables, as_of)
        placed = true_miles(known, settings.odometer.daily_maximum)
        histories = build_histories(placed.tables, settings, as_of)
        return Records(
            placed=placed,
            histories=histories,
            visits=next_visits(placed.tables, placed.points, settings, as_of),
            evidence=safety_evidence(intake.judged, placed, histories, settings, as_of),
            ledger=make_ledger(
                intake.raw,
                intake.judged,
                pd.concat([later, histories.fates], ignore_index=True),
                placed.unplaced,
            ),
        )


def fit(records: Records, settings: Settings, progress: Progress) -> Survival:
    """Fit survival by type and duty, tabulate it, and compare the types fairly."""
    draws, seed = settings.survival.bootstrap_draws, settings.random.seed
    with progress.stage(STAGES[2]):
        lives = records.histories.lives
        in_fit = lives_for_mode(lives, "any")
        fits = fit_by_type_and_duty(lives)
        return Survival(
            fits=fits,
            comparison=compare_types(
                lives,
                draws=draws,
                seed=seed,
                assumed_shape=dict(settings.survival.assumed_shape),
            ),
            curves=curve_tables(in_fit, fits, draws=draws, seed=seed),
            fair=compare_fairly(
                lives,
                records.histories.readings,
                {str(duty): gap.lube_miles for duty, gap in settings.intervals.items()},
                draws=draws,
                seed=seed,
            ),
        )


def decide(
    records: Records, survival: Survival, settings: Settings, progress: Progress
) -> Decisions:
    """Estimate every pivot's chance of crossing and decide what its next visit brings."""
    histories = records.histories
    costs = cost_items(settings.costs)
    with progress.stage(STAGES[3]):
        bounds = scale_bounds(histories.lives, settings.survival.assumed_shape)
        crossing = FirstCrossing(seed=settings.random.seed)
        of_life = histories.lives[["life_id", "bushing_type", "duty"]]
        readings = histories.readings.merge(of_life, on="life_id", how="left")
        crossing.fit(readings, survival.fits, bounds)
        growth = crossing.growth_table(histories.in_service, readings, records.visits)
        orders = standing_orders(
            records.evidence.evidence, records.evidence.clearances, histories.in_service
        )
        options = decision_options(
            survival.fits, bounds, costs, sudden_rates(histories.lives), settings
        )
        shortlist = decide_pivots(
            histories.in_service,
            growth,
            records.visits,
            orders,
            costs,
            options,
        )
        return Decisions(growth, orders, shortlist, costs, planned_work(shortlist, costs), options)


def publish_run(
    work: Work, settings: Settings, day: dt.date, progress: Progress, out: Path
) -> RunResult:
    """Draw the pages and publish one folder; the caller holds the output's lock."""
    with progress.stage(STAGES[4]):
        tables = run_tables(work, settings)
        record = run_record(work.intake, tables, settings, day, progress.seconds)
        return publish_all(tables, record, settings, day, out)
