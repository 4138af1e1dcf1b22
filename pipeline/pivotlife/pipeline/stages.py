"""The stages in order, each a plain function whose result the next one reads.

read -> build -> fit -> decide -> plan -> cost -> publish_run. `run` calls them one after the
other; the scheduled flow wraps the same functions. Nothing here computes: each stage names the
functions of the rooms that do.

Not here: what the published folder holds (`results`), the schedule.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pandas as pd

from pivotlife.models.conversion_lives import ConversionLives, conversion_lives
from pivotlife.models.curves import curve_tables
from pivotlife.models.decision import decide as decide_pivots
from pivotlife.models.fair_comparison import compare_fairly
from pivotlife.models.growth_cells import GrowthLaws, fit_laws
from pivotlife.models.growth_table import GROWTH_COLUMNS, growth_table, seen_ahead
from pivotlife.models.imputed_lives import completed_lives
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.planned_cost import planned_work
from pivotlife.models.safety import standing_orders
from pivotlife.models.type_table import compare_types, fit_by_type_and_duty
from pivotlife.models.weibull import WeibullFit
from pivotlife.pipeline.backtest_trust import Trust, trusted_laws, with_sentences
from pivotlife.pipeline.budget_work import budget_tables
from pivotlife.pipeline.cost_workbook import cost_workbook
from pivotlife.pipeline.decision_inputs import (
    cost_items,
    curve_book,
    decision_options,
    sudden_rates,
)
from pivotlife.pipeline.engineer_checks import engineer_checks
from pivotlife.pipeline.fleet_work import fleet_work
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.histories import build_histories
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.known_rows import known_at
from pivotlife.pipeline.last_run import changes_since
from pivotlife.pipeline.ledger import make_ledger
from pivotlife.pipeline.lifetime import costing
from pivotlife.pipeline.line_basis import line_basis
from pivotlife.pipeline.long_run import long_run_costs
from pivotlife.pipeline.profile import profile_table
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.renewal_draws import VISITS_BEYOND
from pivotlife.pipeline.results import RunResult, publish_all, run_record, run_tables
from pivotlife.pipeline.safety_evidence import safety_evidence
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.stored_intake import Taken, take_in
from pivotlife.pipeline.suspects import screen, with_fates
from pivotlife.pipeline.true_miles import true_miles
from pivotlife.pipeline.visits import next_visits
from pivotlife.pipeline.work import (
    Costing,
    Decisions,
    FleetWork,
    Intake,
    Records,
    Survival,
    Work,
)

STAGES = (
    "reading and checking the sources",
    "placing rows on true miles, building lives",
    "fitting survival by type",
    "deciding",
    "planning the work",
    "counting lifetime cost",
    "writing tables and pages",
)
COUNT = len(STAGES)


def read(
    settings: Settings,
    progress: Progress,
    day: dt.date | None = None,
    today: dt.date | None = None,
) -> Intake:
    """Read what was known on a day and keep it (without a day: today's sources); judge each row."""
    with progress.stage(STAGES[0]):
        taken = take_in(settings, day, today) if day else Taken(read_sources(settings))
        return Intake(taken.tables, judge(taken.tables), taken.batch, taken.notes)


def build(intake: Intake, settings: Settings, day: dt.date, progress: Progress) -> Records:
    """Place the rows on true miles and turn them into lives, visits and evidence."""
    as_of = pd.Timestamp(day)
    with progress.stage(STAGES[1]):
        known, later = known_at(intake.judged.tables, as_of)
        placed = true_miles(known, settings.odometer.daily_maximum)
        histories = build_histories(placed.tables, settings, as_of)
        # Danger is read from the records before anything suspect is left out of them.
        evidence = safety_evidence(intake.judged, histories, settings, as_of)
        used = screen(known, intake.judged, placed, histories, settings, as_of)
        ledger = make_ledger(
            intake.raw,
            intake.judged,
            pd.concat([later, used.histories.fates], ignore_index=True),
            used.placed.unplaced,
        )
        return Records(
            placed=used.placed,
            histories=used.histories,
            visits=next_visits(used.placed.tables, used.placed.points, settings, as_of),
            evidence=evidence,
            ledger=ledger,
            suspects=with_fates(used.suspects, ledger),
            roster=used.roster,
        )


def fit(records: Records, settings: Settings, progress: Progress) -> Survival:
    """Fit survival by type and duty, tabulate it, and compare the types fairly."""
    draws, seed = settings.survival.bootstrap_draws, settings.random.seed
    with progress.stage(STAGES[2]):
        lives = records.histories.lives
        in_fit = lives_for_mode(lives, "any")
        readings = growth_readings(records.histories, seed=seed)
        laws = fit_laws(readings, lives, seed=seed)
        fits = fit_by_type_and_duty(lives)
        return Survival(
            fits=fits,
            comparison=compare_types(
                lives,
                draws=draws,
                seed=seed,
                assumed_shape=dict(settings.survival.assumed_shape),
                completed=completed_lives(lives, readings, laws, seed=seed),
            ),
            curves=curve_tables(in_fit, fits, draws=draws, seed=seed),
            checks=engineer_checks(records, settings, readings),
            fair=compare_fairly(
                lives,
                records.histories.readings,
                {str(duty): gap.lube_miles for duty, gap in settings.intervals.items()},
                draws=draws,
                seed=seed,
            ),
            readings=readings,
            laws=laws,
        )


def decide(
    records: Records,
    survival: Survival,
    settings: Settings,
    progress: Progress,
    trust: Trust | None = None,
) -> Decisions:
    """Estimate every pivot's chance of crossing and decide what its next visit brings.

    Where a backtest says that a type's chances did not come true, its growth laws do not speak.
    """
    trust = trust or Trust()
    with progress.stage(STAGES[3]):
        laws = trusted_laws(survival.laws, trust.distrusted)
        made = decided(
            records,
            survival.fits,
            survival.readings,
            laws,
            settings,
            survival.fair.ratios,
            VISITS_BEYOND,
        )
        shortlist = with_sentences(made.shortlist, trust.distrusted)
        return replace(made, shortlist=shortlist, trust=trust)


def decided(
    records: Records,
    fits: Mapping[tuple[str, str], WeibullFit],
    readings: pd.DataFrame,
    laws: GrowthLaws,
    settings: Settings,
    ratios: pd.DataFrame | None = None,
    ahead: int = 0,
) -> Decisions:
    """Decide from the fits that a list needs, and no more: also past lists are made here.

    Without fairly compared `ratios` no conversion to another type is judged. The outlook reaches
    `ahead` visits beyond the next two, or as far as the decision looks.
    """
    histories = records.histories
    costs = cost_items(settings.costs)
    curves = curve_book(histories.lives, fits, settings)
    beyond = settings.decision.lookahead_visits - 1
    outlook = growth_table(
        histories.in_service, readings, records.visits, laws, curves, max(beyond, ahead)
    )
    growth = seen_ahead(outlook, beyond)
    orders = standing_orders(records.evidence.evidence, records.evidence.clearances, records.roster)
    long_run = long_run_costs(records, curves, readings, laws, costs, settings)
    options = decision_options(long_run, sudden_rates(histories.lives), settings)
    shortlist = decide_pivots(histories.in_service, growth, records.visits, orders, costs, options)
    gaps = {str(duty): gap.pm_miles for duty, gap in settings.intervals.items()}
    judged = (
        ConversionLives()
        if ratios is None
        else conversion_lives(curves, ratios, costs, options.rates, gaps)
    )
    return Decisions(
        growth[list(GROWTH_COLUMNS)],
        orders,
        shortlist,
        costs,
        planned_work(shortlist, costs),
        options,
        judged,
        curves,
        outlook=outlook,
        long_run=long_run,
    )


def plan(
    records: Records, decisions: Decisions, settings: Settings, day: dt.date, progress: Progress
) -> FleetWork:
    """Turn decisions into work: overrides, kits, room in the shop, the fleet's lists."""
    with progress.stage(STAGES[4]):
        return fleet_work(records, decisions, settings, day)


def cost(
    records: Records,
    survival: Survival,
    fleet: FleetWork,
    settings: Settings,
    progress: Progress,
) -> Costing:
    """Count what each type takes until the trucks are sold, and price it."""
    with progress.stage(STAGES[5]):
        return costing(records, survival, fleet, settings)


def publish_run(
    work: Work, settings: Settings, day: dt.date, progress: Progress, out: Path
) -> RunResult:
    """Add budget and comparisons, draw the pages, publish; the caller holds the output's lock."""
    with progress.stage(STAGES[6]):
        tables = run_tables(work, settings) | budget_tables(work, settings, day, out)
        tables["line_basis"] = line_basis(
            work.fleet.shortlist, work.intake, work.records, settings, day
        )
        tables["profile"] = profile_table(
            work.intake.raw,
            work.intake.judged,
            work.records.placed,
            work.records.histories,
            work.records.suspects,
            pd.Timestamp(day),
        )
        record = run_record(work.intake, tables, settings, day, progress.seconds)
        tables["changes"], compared = changes_since(out, tables, record)
        record["shortages"] = list(work.fleet.shortages)
        trust = work.decisions.trust
        record["notes"] = [compared, *trust.notes(), *record["notes"]]
        record["backtest"] = dict(trust.record)
        book = cost_workbook(work.costing.lifetime, tables["prices"], day)
        beside = {"lifetime_cost.xlsx": book, **trust.files}
        return publish_all(tables, record, settings, day, out, beside)
