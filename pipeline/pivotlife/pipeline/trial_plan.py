"""`pivotlife trial`: what a trial of two bushing types would take in this fleet.

Types, ratio, trucks and miles come from the command; shapes, visits, likeness and sales from the
records. Writes `OUT/trial/trial.csv` and says in a few lines what it takes, and what the comparison
already under way excludes.

Not here: drawing trials (`models.trial_power`), reading the fleet's habits (`trial_inputs`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from pivotlife.models.fair_comparison import compare_fairly
from pivotlife.models.fair_lives import ordered_types
from pivotlife.models.trial import Split, TrialDesign
from pivotlife.models.trial_power import (
    POWER_COLUMNS,
    SIMULATIONS,
    power_table,
    trucks_needed,
)
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.models.weibull import WeibullFit
from pivotlife.pipeline.errors import SettingsError, cannot_write
from pivotlife.pipeline.publish import csv_text
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.trial_inputs import FleetHabits, decidable_table, fleet_habits
from pivotlife.pipeline.work import Records

FOLDER: Final = "trial"
TRIAL_COLUMNS: Final = (
    *("numerator_type", "denominator_type", "duty"),
    *POWER_COLUMNS,
    *("months", "numerator_shape", "denominator_shape", "denominator_scale_miles"),
    *("visit_miles", "likeness", "left_per_year"),
)
#: Months that a trial runs when no miles are named.
_MONTHS: Final = 36.0
_MILES_STEP: Final = 1_000.0


@dataclass(frozen=True)
class TrialWish:
    """What the user asks; None: take it from the records.

    Attributes
    ----------
    longer, than : str or None
        The type believed to last longer, and the other.
    times : float
        How many times as high its B10 would be.
    trucks : int
    miles : float or None
        Miles a truck runs in the trial.
    pivots : int or None
        Pivots on a truck.
    duty : str
        A duty, or "all".
    split : "trucks" or "sides"
    simulations : int
    """

    longer: str | None = None
    than: str | None = None
    times: float = 1.5
    trucks: int = 40
    miles: float | None = None
    pivots: int | None = None
    duty: str = "all"
    split: Split = "trucks"
    simulations: int = SIMULATIONS


@dataclass(frozen=True)
class TrialPlan:
    """The table, the design asked for, the trucks it takes, and the comparison under way."""

    table: pd.DataFrame
    wish: TrialWish
    design: TrialDesign
    habits: FleetHabits
    types: tuple[str, str]
    needed: int | None
    under_way: str


def plan_trial(records: Records, settings: Settings, wish: TrialWish) -> TrialPlan:
    """Work out what a trial would take.

    Parameters
    ----------
    records : Records
    settings : Settings
    wish : TrialWish

    Returns
    -------
    TrialPlan

    Raises
    ------
    SettingsError
        A type or duty without a curve of its own; the text names those that have one.
    """
    fits = fit_by_type_and_duty(records.histories.lives)
    types = chosen_types(fits, wish)
    first, second = (fits[kind, wish.duty] for kind in types)
    habits = fleet_habits(records, (first, second), wish.duty)
    miles = wish.miles
    if miles is None:
        if not habits.miles_per_month > 0.0:
            raise SettingsError("--miles: nobody knows how far the units run; name the miles")
        miles = max(round(_MONTHS * habits.miles_per_month / _MILES_STEP), 1) * _MILES_STEP
    design = TrialDesign(
        ratio=wish.times,
        shapes=(first.shape, second.shape),
        scale_miles=second.scale,
        trucks=wish.trucks,
        pivots=habits.pivots if wish.pivots is None else wish.pivots,
        miles=miles,
        visit_miles=habits.visit_miles,
        likeness=habits.likeness,
        sold_per_mile=habits.sold_per_mile,
        split=wish.split,
    )
    power = power_table(design, simulations=wish.simulations, seed=settings.random.seed)
    return TrialPlan(
        table=_with_facts(power, types, wish.duty, design, habits),
        wish=wish,
        design=design,
        habits=habits,
        types=types,
        needed=trucks_needed(power),
        under_way=_under_way(records, settings, fits, types, wish.duty),
    )


def write_plan(plan: TrialPlan, out: Path) -> Path:
    """Write `trial.csv` in one piece and return where it lies.

    Raises
    ------
    SourceError
        When the folder cannot be written to.
    """
    path = out / FOLDER / "trial.csv"
    half = path.with_suffix(".csv.writing")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half.write_text(csv_text(plan.table), encoding="utf-8", newline="")
        half.replace(path)
    except OSError as fault:
        raise cannot_write(path.parent, fault) from None
    return path


def chosen_types(fits: dict[tuple[str, str], WeibullFit], wish: TrialWish) -> tuple[str, str]:
    """Return the two types, those with most failures where none is named.

    Raises
    ------
    SettingsError
        A type that has no curve, or fewer than two types.
    """
    known = {kind: fit.n_failures for (kind, duty), fit in fits.items() if duty == wish.duty}
    where = "" if wish.duty == "all" else f" in {wish.duty} duty"
    told = ", ".join(sorted(known)) or "none"
    for option, kind in (("--longer", wish.longer), ("--than", wish.than)):
        if kind is not None and kind not in known:
            raise SettingsError(
                f"{option} {kind!r}: no curve of that type{where}; with failures enough: {told}"
            )
    most = sorted(known, key=lambda kind: (-known[kind], kind))
    if wish.longer is None and wish.than is None:
        chosen = ordered_types(most[:2])[::-1]
    else:
        other = next((kind for kind in most if kind not in (wish.longer, wish.than)), "")
        chosen = (wish.longer or other, wish.than or other)
    if len(set(chosen) - {""}) < 2:
        raise SettingsError(f"a trial takes two bushing types{where}; with failures enough: {told}")
    return chosen[0], chosen[1]


def _with_facts(
    power: pd.DataFrame,
    types: tuple[str, str],
    duty: str,
    design: TrialDesign,
    habits: FleetHabits,
) -> pd.DataFrame:
    """Add to each design what was believed of types and fleet."""
    facts = power.assign(
        numerator_type=types[0],
        denominator_type=types[1],
        duty=duty,
        months=power["miles"] / habits.miles_per_month,
        numerator_shape=design.shapes[0],
        denominator_shape=design.shapes[1],
        denominator_scale_miles=design.scale_miles,
        visit_miles=design.visit_miles,
        likeness=design.likeness,
        left_per_year=12.0 * habits.miles_per_month * habits.sold_per_mile,
    )
    return facts[list(TRIAL_COLUMNS)]


def _under_way(
    records: Records,
    settings: Settings,
    fits: dict[tuple[str, str], WeibullFit],
    types: tuple[str, str],
    duty: str,
) -> str:
    """Return the sentence on these two types as the records compare them already."""
    fair = compare_fairly(
        records.histories.lives,
        records.histories.readings,
        {str(name): gap.lube_miles for name, gap in settings.intervals.items()},
        draws=settings.survival.bootstrap_draws,
        seed=settings.random.seed,
    )
    table = decidable_table(records, fits, fair)
    for row in table[table["duty"] == duty].to_dict("records"):
        if {row["numerator_type"], row["denominator_type"]} == set(types):
            return f"{row['numerator_type']} / {row['denominator_type']}: {row['sentence']}"
    return f"{types[0]} / {types[1]}: not compared by the records"
