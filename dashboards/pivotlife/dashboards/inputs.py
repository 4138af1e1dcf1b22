"""What the pages are drawn from: finished tables and the run's own record.

Everything here was computed elsewhere. The pages format it, count its rows and add up its
amounts; they fit nothing.

Not here: reading files, choosing what a number means.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pivotlife.models.errors import PivotlifeError


class PageError(PivotlifeError, ValueError):
    """Tables that lack what the pages have to show."""


#: Table name -> columns that the pages read. More columns are welcome and ignored.
COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "comparison": (
        *("bushing_type", "duty", "node", "life_order", "mode", "lives", "units", "failures"),
        *("shape", "shape_lower", "shape_upper", "scale", "scale_lower", "scale_upper"),
        *("b10", "b10_lower", "b10_upper", "b50", "b50_lower", "b50_upper"),
        *("interval_method", "informative_removals", "warning"),
    ),
    "lives": ("life_id", "bushing_type", "in_fit", "evidence"),
    "ledger": ("table", "fate", "reason"),
    "quarantine": ("table", "row_number", "row_id", "reasons", "row", "acted_on", "file"),
    "growth": (
        *("pivot_id", "readings_used", "play_at_visit_mm", "play_at_visit_lower_mm"),
        *("play_at_visit_upper_mm", "miles_until_due", "warning"),
    ),
    "shortlist": (
        *("rank", "unit_id", "depot", "visit_date", "visit_odometer_miles", "pivot_id", "axle"),
        *("side", "node", "bushing_type", "decision", "mandatory", "rule", "reason"),
        *("last_reading_date", "last_free_play_mm", "limit_mm", "limit_source"),
        *("chance_over_now", "chance_over_by_next_visit", "chance_lower", "chance_upper"),
        *("wait_cost", "kept_value", "labour_hours", "joined_because", "postponed"),
        *("postponed_cost", "source_rows", "fit_instead", "fit_instead_kit_id"),
    ),
    "curves": (
        *("bushing_type", "duty", "curve", "miles", "survival", "lower", "upper", "at_risk"),
        "beyond_data",
    ),
    "plot_points": (
        *("bushing_type", "duty", "miles", "failed_share", "lower", "upper", "at_risk"),
    ),
    "life_ratios": (
        *("numerator_type", "denominator_type", "duty", "estimand", "method", "ratio"),
        *("ratio_lower", "ratio_upper", "p_value_holm", "numerator_failures"),
        *("denominator_failures", "units", "effective_sample_size", "verdict"),
    ),
    "balance": (
        *("numerator_type", "denominator_type", "duty", "covariate", "difference_before"),
        *("difference_after", "numerator_effective", "denominator_effective"),
    ),
    "lube_effect": (
        *("bushing_type", "failures", "units", "time_ratio_per_10_points"),
        *("time_ratio_per_10_points_lower", "time_ratio_per_10_points_upper"),
        *("time_ratio_per_missed_service", "time_ratio_per_missed_service_lower"),
        *("time_ratio_per_missed_service_upper", "services_due", "note"),
    ),
    "outlast": (
        *("numerator_type", "denominator_type", "duty", "until_miles", "chance_numerator"),
        *("chance_numerator_lower", "chance_numerator_upper", "chance_denominator"),
        *("chance_denominator_lower", "chance_denominator_upper", "chance_undecided"),
    ),
    "decidable": (
        *("numerator_type", "denominator_type", "duty", "excluded_below", "excluded_above"),
        *("numerator_failures_per_month", "denominator_failures_per_month", "state", "months"),
        "sentence",
    ),
    "prices": ("key", "value", "unit", "source", "date", "is_default"),
    "cost_items": ("bushing_type", "case", "item", "amount"),
    "planned_cost": (
        *("unit_id", "depot", "visit_date", "pivots", "labour_hours", "parts", "labour"),
        *("alignment", "cash", "downtime_days", "downtime"),
    ),
    "cost_by_type": (
        *("bushing_type", "duty", "reference_type", "trucks_drawn", "holding_miles", "cash"),
        *("cash_p10", "cash_p90", "downtime", "downtime_p10", "downtime_p90", "cash_per_year"),
        *("parts_per_1000", "labour_per_1000", "lube_per_1000", "other_per_1000"),
        *("downtime_per_1000", "cash_saved", "downtime_saved", "saving", "saving_p10"),
        *("saving_p90", "chance_cheaper", "chance_cheaper_one_truck", "payback_year"),
        *("policy", "note"),
    ),
    "cost_quantities": ("bushing_type", "duty", "year", "count", "mean"),
    "cost_break_even": (
        *("bushing_type", "reference_type", "duty", "figure", "unit", "now", "break_even"),
        *("cheaper", "note"),
    ),
    "cost_tornado": (
        *("bushing_type", "reference_type", "duty", "figure", "low", "high", "saving_at_low"),
        *("saving_now", "saving_at_high", "swing"),
    ),
    "cost_of_late": (
        *("bushing_type", "reference_type", "duty", "times", "late_cost_more", "saving_held"),
        *("saving_chosen_anew", "policy", "reference_policy"),
    ),
    "cost_assumptions": ("duty", "key", "value", "unit", "source"),
    "fleet_cost_by_year": (
        *("year", "units", "cash", "cash_p10", "cash_p90", "downtime", "downtime_p10"),
        "downtime_p90",
    ),
    "conversion_by_unit": (
        *("unit_id", "depot", "duty", "present_type", "to_type", "miles_left", "first_cost"),
        *("saving", "saving_p10", "saving_p90", "chance_pays", "verdict", "note", "booked_as"),
    ),
    "suspects": ("table", "row_id", "unit_id", "kind", "evidence", "excluded"),
    "profile": ("topic", "item", "count", "share", "value", "unit", "detail"),
    "kit_matches": ("pivot_id", "kit_id", "verdict", "decides", "drive_tool", "supply"),
    "kits_to_stage": (
        *("depot", "visit_date", "kit_id", "bushing_type", "node", "drive_tool", "kits"),
        *("from_shelf", "to_order", "order_by_date", "status"),
    ),
    "hours_by_week": (
        *("depot", "week_start", "mandatory_hours", "measure_hours", "choice_hours"),
        *("planned_hours", "bay_hours", "shortage_hours", "postponed_hours", "postponed_pivots"),
    ),
    "inspection_gaps": ("depot", "unit_id", "pivot_id", "miles_since_reading", "overdue_miles"),
    "lube_compliance": (
        *("level", "depot", "unit_id", "services_due", "services_done", "last_service_date"),
        "compliance",
    ),
    "repeat_repairs": (
        *("unit_id", "depot", "pivot_id", "bushing_type", "first_date", "second_date"),
        *("miles_between", "first_reason", "second_reason", "is_certain"),
    ),
    "changes": (
        *("unit_id", "pivot_id", "change", "decision_before", "decision_now", "cause", "detail"),
    ),
    "unit_sizes": (
        *("unit_id", "side_bar_centres_mm", "spring_width_mm", "bushing_outside_diameter_mm"),
        "pin_diameter_mm",
    ),
    "life_counts": ("bushing_type", "evidence", "lives"),
    "incidence": (
        *("bushing_type", "mode", "failures", "curve", "miles", "share_taken"),
        "share_if_only_mode",
    ),
    "missed_by_play": (
        *("bushing_type", "mode", "failures", "with_reading", "missed", "share_missed"),
        *("share_missed_lower", "share_missed_upper", "median_last_play_mm"),
        *("median_last_play_over_limit", "warning"),
    ),
    "fit_check": (
        *("bushing_type", "duty", "lives", "failures", "p_value", "draws", "aic_weibull"),
        *("aic_lognormal", "aic_exponential", "best_by_aic", "warning"),
    ),
    "early_failures": (
        *("bushing_type", "cut", "value", "first_miles", "lives", "observed", "expected"),
        *("chance", "warning"),
    ),
    "sensitivity": ("bushing_type", "assumption", "b10", "b10_lower", "b10_upper", "note"),
    "recurrences": (
        *("bushing_type", "counted", "from_miles", "miles", "replacements", "mean_cumulative"),
        *("lower", "upper"),
    ),
    "gauge": (
        *("source", "version", "chosen", "quantity", "inspector", "tool", "readings"),
        *("standard_deviation_mm", "lower_mm", "upper_mm", "percent_of_total_variation"),
        *("percent_of_tolerance", "distinct_categories", "warning"),
    ),
    "settled_readings": (
        *("settled", "inspector", "sheets", "readings", "taken_as_loaded", "difference_mm"),
    ),
    "budget": ("month", "depot", "item", "expected", "p10", "p90", "from_shortlist"),
    "kit_demand": (
        *("month", "depot", "kit_id", "mean", "p90", "stock_for_service_level", "on_hand"),
        *("on_order", "lead_time_days", "short_by", "bushing_type", "node"),
    ),
    "warranty_claims": (
        *("status", "pivot_id", "depot", "kit_id", "reason", "expires_date", "days_left"),
        *("amount", "chance_over_now"),
    ),
    "spend_against_forecast": (
        *("month", "depot", "item", "forecast", "p10", "p90", "actual", "inside"),
        *("repair_lines", "forecast_made_on", "forecast_from"),
    ),
    "long_run_cost": (
        *("bushing_type", "duty", "cost_per_mile", "how", "share_read", "readings", "visits"),
        "share_source",
    ),
}


@dataclass(frozen=True)
class PageInputs:
    """One run, ready to be shown.

    Parameters
    ----------
    as_of : datetime.date
        The day the run speaks for: nothing later was known to it.
    tables : mapping of str to DataFrame
        The tables of `COLUMNS`. Miles, millimetres, hours, days, one currency; chances and
        shares in [0, 1]. Missing text is "", missing numbers NaN, missing dates NaT.
    run : mapping
        The run's record: `seed`, `counts`, `notes`, `currency`, `settings_file`, `versions`,
        `stages`.
    fleet_name : str
        The name written at the head of every page.

    Raises
    ------
    PageError
        When a table or a column is missing; the text lists all of them.
    """

    as_of: dt.date
    tables: Mapping[str, pd.DataFrame]
    run: Mapping[str, Any]
    fleet_name: str

    def __post_init__(self) -> None:
        missing = [
            f"{name}: the whole table"
            if name not in self.tables
            else f"{name}: {', '.join(lacking)}"
            for name, columns in COLUMNS.items()
            if (lacking := _lacking(self.tables.get(name), columns))
        ]
        if missing:
            msg = (
                f"the pages cannot be drawn, {len(missing)} tables are incomplete "
                f"({'; '.join(missing)}); hand over these tables, empty ones with their columns"
            )
            raise PageError(msg)

    @property
    def currency(self) -> str:
        """The one currency of all amounts."""
        return str(self.run.get("currency", ""))


def _lacking(frame: pd.DataFrame | None, columns: tuple[str, ...]) -> list[str]:
    present = () if frame is None else frame.columns
    return [column for column in columns if column not in present]
