"""What each stage hands to the next.

Not here: the stages (`stages`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pivotlife.models.conversion_lives import ConversionLives
from pivotlife.models.curves import CurveTables
from pivotlife.models.decision import DecisionOptions
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.fair_comparison import FairComparison
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.lifetime_cost import Lifetime
from pivotlife.models.weibull import WeibullFit
from pivotlife.pipeline.backtest_trust import Trust
from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.safety_evidence import SafetyEvidence
from pivotlife.pipeline.true_miles import TrueMiles


@dataclass(frozen=True)
class Intake:
    """What the sources held, what the checks made of it, and what the store has to say of it."""

    raw: dict[str, RawTable]
    judged: Judged
    batch: int | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Records:
    """Lives, pivots in service, coming visits, evidence of danger, and the fate of every row.

    `suspects` lists what looks wrong; `roster` are the pivots that safety counts, whatever the
    settings leave out of the rest.
    """

    placed: TrueMiles
    histories: Histories
    visits: pd.DataFrame
    evidence: SafetyEvidence
    ledger: pd.DataFrame
    suspects: pd.DataFrame
    roster: pd.DataFrame


@dataclass(frozen=True)
class Survival:
    """Fits by (bushing type, duty or "all"), tables from them, checks, laws of play, ratios."""

    fits: dict[tuple[str, str], WeibullFit]
    comparison: pd.DataFrame
    curves: CurveTables
    checks: dict[str, pd.DataFrame]
    fair: FairComparison
    readings: pd.DataFrame
    laws: GrowthLaws


@dataclass(frozen=True)
class Decisions:
    """The shortlist and what it rests on; `outlook` are the chances of many visits ahead.

    `long_run` says what a mile of each newly fitted type costs.
    """

    growth: pd.DataFrame
    orders: pd.DataFrame
    shortlist: pd.DataFrame
    costs: CostItems
    planned_cost: pd.DataFrame
    options: DecisionOptions
    lives: ConversionLives
    curves: CurveBook
    trust: Trust = field(default_factory=Trust)
    outlook: pd.DataFrame = field(default_factory=pd.DataFrame)
    long_run: pd.DataFrame = field(default_factory=pd.DataFrame)


@dataclass(frozen=True)
class FleetWork:
    """The work of the coming visits, and what a fleet manager keeps an eye on."""

    shortlist: pd.DataFrame
    planned_cost: pd.DataFrame
    kit_matches: pd.DataFrame
    kits_to_stage: pd.DataFrame
    hours_by_week: pd.DataFrame
    shortages: tuple[str, ...]
    inspection_gaps: pd.DataFrame
    lube_compliance: pd.DataFrame
    repeat_repairs: pd.DataFrame
    unit_sizes: pd.DataFrame


@dataclass(frozen=True)
class Costing:
    """Lifetime cost: the counts behind it, and its tables by the stem of their file."""

    lifetime: Lifetime
    tables: dict[str, pd.DataFrame]


@dataclass(frozen=True)
class Work:
    """Everything a run has made before it is published."""

    intake: Intake
    records: Records
    survival: Survival
    decisions: Decisions
    fleet: FleetWork
    costing: Costing
