"""Lifetime cost of a run: counted once, then told in tables.

Not here: the model (`models.lifetime_cost` and its neighbours), the workbook, what-ifs.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.cost_break_even import break_even_table, late_table
from pivotlife.models.cost_policy import Policy
from pivotlife.models.cost_tables import (
    assumptions_table,
    counts_table,
    lifetime_table,
    types_table,
)
from pivotlife.models.cost_tornado import tornado_table
from pivotlife.models.duty_lives import evened_ratios, lives_in_duty
from pivotlife.models.lifetime_cost import Lifetime, duty_cost
from pivotlife.models.unit_conversion import fleet_cost
from pivotlife.pipeline.lifetime_inputs import (
    LifeSources,
    duty_works,
    evidence_of,
    lube_factors,
    money_of,
    pivots_ahead,
    units_ahead,
)
from pivotlife.pipeline.settings import Finance, Settings
from pivotlife.pipeline.work import Costing, FleetWork, Records, Survival

#: Tables of lifetime cost by the stem of their file.
COST_TABLES: Final = (
    *("lifetime_cost", "cost_by_type", "cost_quantities", "cost_break_even", "cost_tornado"),
    *("cost_of_late", "cost_assumptions", "fleet_cost_by_year", "conversion_by_unit"),
)
TYPES: Final = ("rubber-bonded", "threaded", "roller")
#: Lives drawn for each type at most; every truck has one of them.
DRAWS: Final = 100
UNDECIDED: Final = "set finance.capital_from"


def costing(records: Records, survival: Survival, fleet: FleetWork, settings: Settings) -> Costing:
    """Make lifetime cost and its tables for a run."""
    sources = LifeSources(
        survival.fits, survival.laws, survival.fair.ratios, survival.fair.lube_effect
    )
    made = lifetime(records, sources, fleet.lube_compliance, settings)
    tables = lifetime_tables(made, records, sources, fleet.shortlist, settings)
    return Costing(made, tables)


def lifetime(
    records: Records,
    sources: LifeSources,
    lube: pd.DataFrame,
    settings: Settings,
    held: Mapping[str, Mapping[str, Policy]] | None = None,
) -> Lifetime:
    """Count what trucks of each duty take over their remaining miles.

    Parameters
    ----------
    records : Records
    sources : LifeSources
    lube : DataFrame
        Services due and done by unit.
    settings : Settings
    held : mapping of duty to policies by type, optional
        Policies in force; chosen by the settings' prices when left out.

    Returns
    -------
    Lifetime
    """
    evidence, money = evidence_of(records, sources, settings), money_of(settings)
    seed, draws = settings.random.seed, _draws(settings)
    units = units_ahead(records, settings)
    costs = []
    for duty, work in duty_works(records, units, lube, settings).items():
        lives = lives_in_duty(evidence, TYPES, duty, draws=draws, seed=seed)
        if work.reference_type in [life.bushing_type for life in lives]:
            mine = (held or {}).get(duty)
            costs.append(duty_cost(work, lives, money, held=mine, seed=seed))
    return Lifetime(tuple(costs), money)


def lifetime_tables(
    made: Lifetime,
    records: Records,
    sources: LifeSources,
    shortlist: pd.DataFrame,
    settings: Settings,
) -> dict[str, pd.DataFrame]:
    """Make every table of lifetime cost (`COST_TABLES`) by the stem of its file."""
    costs, money = list(made.costs), made.money
    effect = lube_factors(sources.lube_effect)
    ratios = evened_ratios(evidence_of(records, sources, settings).ratios)
    fleet = fleet_cost(
        pivots_ahead(records, shortlist),
        units_ahead(records, settings),
        {cost.work.duty: cost.work for cost in costs},
        {cost.work.duty: cost.lives for cost in costs},
        made.policies,
        money,
        repetitions_at_most=2 * _draws(settings),
        seed=settings.random.seed,
    )
    return {
        "lifetime_cost": lifetime_table(costs, money),
        "cost_by_type": types_table(costs, money),
        "cost_quantities": counts_table(costs),
        "cost_break_even": break_even_table(costs, money, effect),
        "cost_tornado": tornado_table(costs, money, effect, ratios),
        "cost_of_late": late_table(costs, money, seed=settings.random.seed),
        "cost_assumptions": assumptions_table(costs, money, _origins(settings.finance)),
        "fleet_cost_by_year": fleet.by_year,
        "conversion_by_unit": booked(fleet.conversions, settings.finance.capital_from),
    }


def _draws(settings: Settings) -> int:
    return min(DRAWS, settings.survival.bootstrap_draws)


def booked(conversions: pd.DataFrame, capital_from: float | None) -> pd.DataFrame:
    """Flag what the first cost of each conversion would be booked as.

    Parameters
    ----------
    conversions : DataFrame
        first_cost (currency; NaN where nothing was counted).
    capital_from : float or None
        Amount from which it is capital; without it the flag asks for the setting.
    """
    first = conversions["first_cost"].astype(float)
    if capital_from is None:
        flag = np.where(first.notna(), UNDECIDED, "")
    else:
        flag = np.where(first >= capital_from, "capital", "expense")
        flag = np.where(first.notna(), flag, "")
    return conversions.assign(booked_as=flag)


def _origins(finance: Finance) -> dict[str, str]:
    def whose(key: str) -> str:
        return "settings" if key in finance.model_fields_set else "default of this program"

    held = "settings" if finance.holding_miles else "middle of the units' planned sales"
    return {
        "discount_rate": whose("discount_rate"),
        "price_escalation": whose("price_escalation"),
        "holding_miles": f"{held}, at most {finance.years} years",
        "annual_miles": "middle of the units, last year's odometers",
        "service_interval": "settings, intervals",
        "lube_interval": "settings, intervals",
        "lube_compliance": "lube table, last year; 1 where there is none",
        "extra_lube_visits": "from the two intervals and compliance",
        "trucks": "units with known miles",
        "likeness_within_truck": "records: types in duties with 20 failures or more",
    }
