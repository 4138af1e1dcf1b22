"""From a run's records and fits to what lifetime cost asks for.

Not here: counting and pricing (`models.lifetime_cost`), which tables are published (`lifetime`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pivotlife.models.cost_policy import PlaySigns
from pivotlife.models.duty_lives import OWN_FAILURES, Evidence, LifeRatio, play_signs
from pivotlife.models.findings import SUDDEN_MODES
from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.life_curves import ALL_DUTIES
from pivotlife.models.life_pace import paced_fits
from pivotlife.models.lifetime_cost import DutyWork, Money
from pivotlife.models.lives import check_lives
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.redrawn_lives import fleet_likeness
from pivotlife.models.weibull import WeibullFit
from pivotlife.pipeline.decision_inputs import scale_bounds
from pivotlife.pipeline.prices import price_table
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Records

DAYS_PER_YEAR = 365.25
#: A bushing of unknown age is taken as half as old as it can be.
UNKNOWN_AGE_SHARE = 0.5


@dataclass(frozen=True)
class LifeSources:
    """What a run's fits say of lives.

    `ratios` is the table of life ratios, `lube_effect` that of missed services; both may be empty.
    """

    fits: Mapping[tuple[str, str], WeibullFit]
    laws: GrowthLaws
    ratios: pd.DataFrame
    lube_effect: pd.DataFrame


def money_of(settings: Settings) -> Money:
    """Take prices and rates out of the settings."""
    prices = price_table(settings.costs)
    figures = dict(zip(prices["key"], prices["value"].astype(float), strict=True))
    return Money(figures, settings.finance.discount_rate, settings.finance.price_escalation)


def evidence_of(records: Records, sources: LifeSources, settings: Settings) -> Evidence:
    """Collect what is known of lives."""
    lives, here = records.histories.lives, records.histories.in_service
    limits = here.groupby("bushing_type")["limit_mm"].median().dropna()
    return Evidence(
        fits=sources.fits,
        bounds=scale_bounds(lives, settings.survival.assumed_shape),
        ratios=_ratios(sources.ratios),
        play=_play(sources.laws, limits, settings),
        breaks=_breaks(lives),
        likeness=fleet_likeness(
            fit
            for (_, duty), fit in sources.fits.items()
            if duty != ALL_DUTIES and fit.n_failures >= OWN_FAILURES
        ),
        paced=paced_fits(lives),
    )


def lube_factors(lube_effect: pd.DataFrame) -> dict[str, float]:
    """Factor on the life for 10 points of compliance more, by type; missing where unknown."""
    if lube_effect.empty:
        return {}
    known = lube_effect[np.isfinite(lube_effect["time_ratio_per_10_points"].astype(float))]
    return dict(
        zip(known["bushing_type"], known["time_ratio_per_10_points"].astype(float), strict=True)
    )


def duty_works(
    records: Records, units: pd.DataFrame, lube: pd.DataFrame, settings: Settings
) -> dict[str, DutyWork]:
    """Describe how the trucks of each duty are driven and served.

    Parameters
    ----------
    records : Records
    units : DataFrame
        From `units_ahead`.
    lube : DataFrame
        Services due and done by unit; empty without a lube table.
    settings : Settings

    Returns
    -------
    dict of duty to DutyWork
        Duties without a unit whose miles are known are left out.
    """
    here = records.histories.in_service
    works = {}
    for duty, interval in settings.intervals.items():
        mine = units[(units["duty"] == duty) & (units["annual_miles"] > 0)]
        types = here.loc[here["duty"] == duty, "bushing_type"].value_counts()
        if mine.empty or types.empty:
            continue
        annual = float(mine["annual_miles"].median())
        ahead = mine.loc[mine["miles_left"] > 0, "miles_left"]
        most = settings.finance.years * annual
        left = settings.finance.holding_miles or (float(ahead.median()) if len(ahead) else most)
        works[str(duty)] = DutyWork(
            duty=str(duty),
            gap_miles=interval.pm_miles,
            lube_miles=interval.lube_miles,
            annual_miles=annual,
            horizon_miles=min(left, most),
            compliance=_compliance(lube, str(duty)),
            reference_type=str(types.index[0]),
            early_miles=settings.decision.early_miles,
            trucks=len(mine),
        )
    return works


def units_ahead(records: Records, settings: Settings) -> pd.DataFrame:
    """Say how far each unit still goes.

    Returns
    -------
    DataFrame
        `unit_id, depot, duty, miles_left` (NaN where no sale is planned and none is set),
        `annual_miles, first_visit_miles`; miles.
    """
    visits = records.visits
    holding = records.histories.in_service.groupby("unit_id")["holding_odometer_miles"].first()
    left = visits["unit_id"].map(holding).astype(float) - visits["miles_now"]
    annual = visits["miles_per_day"] * DAYS_PER_YEAR
    fallback = settings.finance.holding_miles
    left = left if fallback is None else left.fillna(fallback)
    units = visits[["unit_id", "depot", "duty"]].assign(
        miles_left=np.minimum(left, settings.finance.years * annual),
        annual_miles=annual,
        first_visit_miles=visits["visit_miles"] - visits["miles_now"],
    )
    known = units["annual_miles"].gt(0) & units["first_visit_miles"].notna()
    return units.assign(miles_left=units["miles_left"].where(known)).reset_index(drop=True)


def pivots_ahead(records: Records, shortlist: pd.DataFrame) -> pd.DataFrame:
    """List the pivots in service as they stand.

    Returns
    -------
    DataFrame
        `unit_id, axle, side, node, bushing_type, age_miles, good_miles, is_over`; is_over marks
        what a safety order renews at the next visit.
    """
    here = records.histories.in_service
    now = here["unit_id"].map(records.visits.set_index("unit_id")["miles_now"])
    unknown = here["age_at_most_miles"] * UNKNOWN_AGE_SHARE
    age = (now - here["fitted_miles"]).fillna(unknown).fillna(0.0).clip(lower=0.0)
    must = shortlist["mandatory"].eq("yes") & shortlist["decision"].isin(["replace", "park"])
    due = set(shortlist.loc[must, "pivot_id"])
    return here[["unit_id", "axle", "side", "node", "bushing_type"]].assign(
        age_miles=age,
        good_miles=here["last_good_miles"].fillna(0.0),
        is_over=here["pivot_id"].isin(due),
    )


def _compliance(lube: pd.DataFrame, duty: str) -> float:
    """Share of the services due that were done; 1 where nobody wrote them down."""
    mine = lube[(lube["level"] == "unit") & (lube["duty"] == duty)] if len(lube) else lube
    due = float(mine["services_due"].sum()) if len(mine) else 0.0
    return min(float(mine["services_done"].sum()) / due, 1.0) if due > 0 else 1.0


def _ratios(table: pd.DataFrame) -> dict[tuple[str, str, str], LifeRatio]:
    if table.empty:
        return {}
    rows = table[table["method"].eq("adjusted") & table["estimand"].eq("b10")]
    return {
        (row["numerator_type"], row["denominator_type"], row["duty"]): LifeRatio(
            float(row["ratio"]), float(row["ratio_lower"]), float(row["ratio_upper"])
        )
        for row in rows.to_dict("records")
    }


def _play(
    laws: GrowthLaws, limits: pd.Series, settings: Settings
) -> dict[tuple[str, str], PlaySigns]:
    found = {}
    for kind, limit in limits.items():
        for duty in settings.intervals:
            law, _ = laws.law(str(kind), str(duty))
            if law is None:
                continue
            grown = law.growth.law_
            signs = play_signs(grown.alpha_mm, grown.exponent, grown.sigma_e_mm, float(limit))
            if signs is not None:
                found[str(kind), str(duty)] = signs
    return found


def _breaks(lives: pd.DataFrame) -> dict[str, tuple[float, float]]:
    """Count sudden failures and the miles watched for them, by type."""
    found: dict[str, tuple[float, float]] = {}
    for mode in SUDDEN_MODES:
        for kind, group in lives_for_mode(lives, mode).groupby("bushing_type"):
            checked = check_lives(group)
            failures = float(checked.weight[checked.is_failure].sum())
            miles = float((checked.lower - checked.entry) @ checked.weight)
            before, watched = found.get(str(kind), (0.0, 0.0))
            found[str(kind)] = (before + failures, max(watched, miles))
    return found
