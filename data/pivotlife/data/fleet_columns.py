"""Headers of the files that the invented fleet writes, in the order of the native format."""

from __future__ import annotations

from typing import Final

NATIVE_COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "units": (
        "unit_id", "depot", "duty", "road_salt", "in_service_date", "in_service_odometer",
        "records_begin_date", "records_begin_odometer", "holding_odometer", "left_fleet_date",
        "left_fleet_odometer", "left_fleet_reason", "side_bar_centres", "spring_width",
        "bushing_outside_diameter", "pin_diameter", "length_unit", "odometer_unit",
    ),
    "pivots": (
        "unit_id", "axle", "side", "node", "bushing_type", "fitted_odometer", "odometer_unit",
    ),
    "readings": (
        "reading_id", "unit_id", "axle", "side", "node", "reading_date", "entered_date",
        "odometer", "odometer_unit", "free_play", "free_play_unit", "direction", "load_state",
        "greased_before", "after_repair", "finding", "takes_grease", "inspector", "tool",
        "repeat", "remark",
    ),
    "repairs": (
        "repair_id", "unit_id", "axle", "side", "node", "repair_date", "entered_date", "odometer",
        "odometer_unit", "action", "reason", "bushing_type", "kit_id", "pivots_in_kit",
        "teardown_finding", "teardown_free_play", "free_play_unit", "parts_cost", "labour_hours",
        "downtime_days", "place", "currency", "remark",
    ),
    "lube": ("unit_id", "lube_date", "odometer", "odometer_unit", "all_took_grease", "remark"),
    "odometer": ("unit_id", "read_date", "odometer", "odometer_unit", "source"),
    "meters": ("unit_id", "change_date", "old_reading", "new_reading", "odometer_unit"),
    "visits": ("unit_id", "visit_date", "depot", "purpose"),
    "kits": (
        "kit_id", "bushing_type", "node", "outside", "side_bar_centres", "spring_width",
        "bushing_outside_diameter", "tolerance", "length_unit", "price", "lead_time_days",
        "drive_tool", "on_hand", "on_order", "warranty_miles", "warranty_months",
    ),
    "capacity": ("depot", "week_start", "bay_hours"),
    "gauge_study": ("part", "inspector", "trial", "free_play", "free_play_unit"),
}  # fmt: skip

#: Column that names a row, where a table has one, and the prefix of the names.
ROW_ID: Final[dict[str, str]] = {
    "units": "unit_id",
    "readings": "reading_id",
    "repairs": "repair_id",
    "kits": "kit_id",
}
ID_PREFIX: Final[dict[str, str]] = {"readings": "RD", "repairs": "RP"}

#: Column with the day on which a row happened, where odometer values are dated.
DATE_COLUMN: Final[dict[str, str]] = {
    "readings": "reading_date",
    "repairs": "repair_date",
    "lube": "lube_date",
    "odometer": "read_date",
    "meters": "change_date",
}

TRUTH_COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    "lives": (
        "life_id", "unit_id", "pivot_id", "axle", "side", "node", "bushing_type", "duty",
        "road_salt", "life_order", "fitted_date", "fitted_true_miles", "failure_age_miles",
        "mode", "wear_age_miles", "start_play_mm", "exponent", "sudden", "bad_install",
        "worn_bore", "lube_compliance", "frailty", "end_date", "end_true_miles", "end_reason",
        "failed", "recorded",
    ),
    "readings": ("reading_id", "life_id", "age_miles", "true_play_mm"),
    "type_truth": ("bushing_type", "duty", "mode", "b10", "b50", "mean_to_500000"),
    "faults": (
        "table", "row_id", "row_number", "column", "kind", "true_value", "written_value",
    ),
    "odometers": ("table", "row_id", "true_miles"),
}  # fmt: skip
