"""From settings and fits to what the decision asks for: prices, bounds, rates of breaking.

Not here: the long-run cost of a mile (`long_run`), the decision (`models.decision`).
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pivotlife.models.conversion_offers import ConversionTerms
from pivotlife.models.decision import DecisionOptions
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.findings import SUDDEN_MODES
from pivotlife.models.life_curves import CurveBook, FittedCurve
from pivotlife.models.life_pace import paced_fits
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.no_failures import FEW_FAILURES, no_failure_bound, sudden_rate_upper
from pivotlife.pipeline.settings import Costs, Settings

#: One-sided confidence of the scale that stands in for a curve nobody could fit.
BOUND_LEVEL = 0.8


def cost_items(costs: Costs) -> CostItems:
    """Take the plain figures out of the settings' prices."""
    return CostItems(
        currency=costs.currency,
        parts={
            "rubber-bonded": costs.parts.rubber_bonded.value,
            "threaded": costs.parts.threaded.value,
            "roller": costs.parts.roller.value,
        },
        hours_first_pivot=costs.hours.first_pivot.value,
        hours_same_shackle=costs.hours.same_shackle.value,
        hours_same_side=costs.hours.same_side.value,
        hours_measure=costs.hours.measure.value,
        shop_rate=costs.shop_rate.value,
        alignment=costs.alignment.value,
        downtime_per_day=costs.downtime_per_day.value,
        downtime_days_planned=costs.downtime_days.planned.value,
        downtime_days_late=costs.downtime_days.late.value,
        downtime_days_roadside=costs.downtime_days.roadside.value,
        roadside=costs.roadside.value,
        tow=costs.tow.value,
        tyre_pair=costs.tyre_pair.value,
        tyre_loss_per_mile_over=costs.tyre_loss_per_mile_over.value,
        chance_roadside_when_over=costs.chance_roadside_when_over.value,
    )


def conversion_terms(settings: Settings, lube: pd.DataFrame) -> ConversionTerms:
    """Say what fitting another type costs besides kits.

    Parameters
    ----------
    settings : Settings
    lube : DataFrame
        Grease services by unit: level, unit_id, compliance (share; empty without a lube table).
    """
    hours = settings.costs.hours
    units = lube[lube["level"] == "unit"]
    done = pd.to_numeric(units["compliance"]).clip(upper=1.0)
    return ConversionTerms(
        hours_conversion=hours.conversion.value,
        hours_lube_visit=hours.lube_visit.value,
        lube_miles={str(duty): gap.lube_miles for duty, gap in settings.intervals.items()},
        service_miles={str(duty): gap.pm_miles for duty, gap in settings.intervals.items()},
        lube_compliance=dict(zip(units["unit_id"].astype(str), done.astype(float), strict=True)),
    )


def curve_book(
    lives: pd.DataFrame, fits: Mapping[tuple[str, str], FittedCurve], settings: Settings
) -> CurveBook:
    """Collect the life curves that speak for types and duties.

    Parameters
    ----------
    lives : DataFrame
        All lives, as in `lives.csv`.
    fits : mapping of (bushing type, duty or "all") to a Weibull fit
    settings : Settings
    """
    bounds = scale_bounds(lives, settings.survival.assumed_shape)
    return CurveBook(fits, bounds, seed=settings.random.seed, paced=paced_fits(lives))


def scale_bounds(
    lives: pd.DataFrame, assumed_shape: Mapping[str, float]
) -> dict[str, tuple[float, float]]:
    """Give every type the lowest scale its records allow for the assumed shape.

    Parameters
    ----------
    lives : DataFrame
        All lives, as in `lives.csv`.
    assumed_shape : mapping of bushing type to shape
        From the settings.

    Returns
    -------
    dict
        Bushing type to (assumed shape, scale in miles at the lower 80 % limit); types without a
        single watched mile are left out.
    """
    in_fit = lives_for_mode(lives, "any")
    bounds = {}
    for kind, group in in_fit.groupby("bushing_type"):
        shape = assumed_shape[str(kind)]
        scale = no_failure_bound(group, shape, BOUND_LEVEL)
        if scale > 0:
            bounds[str(kind)] = (shape, scale)
    return bounds


def sudden_rates(lives: pd.DataFrame) -> dict[str, float]:
    """Give every type the rate per mile at which its bushings break without warning.

    Failures divided by miles watched; with fewer than five failures the upper 80 % limit of a
    constant rate.
    """
    rates: dict[str, float] = {}
    for mode in SUDDEN_MODES:
        for kind, group in lives_for_mode(lives, mode).groupby("bushing_type"):
            upper = sudden_rate_upper(group)
            few = upper.failures < FEW_FAILURES or upper.miles <= 0
            rate = upper.rate_upper_per_mile if few else upper.failures / upper.miles
            rates[str(kind)] = rates.get(str(kind), 0.0) + rate
    return rates


def decision_options(
    long_run: pd.DataFrame, sudden: Mapping[str, float], settings: Settings
) -> DecisionOptions:
    """Collect what steers the choice besides prices.

    Parameters
    ----------
    long_run : DataFrame
        bushing_type, duty, cost_per_mile (`long_run.long_run_costs`).
    sudden : mapping of bushing type to rate per mile
    settings : Settings
    """
    return DecisionOptions(
        early_miles=settings.decision.early_miles,
        chance_now_alarm=settings.decision.chance_now_alarm,
        measure_miles={
            str(duty): interval.longest_gap_between_readings
            for duty, interval in settings.intervals.items()
        },
        rates={
            (str(row["bushing_type"]), str(row["duty"])): float(row["cost_per_mile"])
            for row in long_run.to_dict("records")
        },
        sudden_per_mile=dict(sudden),
    )
