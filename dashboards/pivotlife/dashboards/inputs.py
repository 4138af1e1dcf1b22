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
        *("postponed_cost", "source_rows"),
    ),
    "curves": (
        *("bushing_type", "duty", "curve", "miles", "survival", "lower", "upper", "at_risk"),
        "beyond_data",
    ),
    "plot_points": (
        *("bushing_type", "duty", "miles", "failed_share", "lower", "upper", "at_risk"),
    ),
    "prices": ("key", "value", "unit", "source", "date", "is_default"),
    "cost_items": ("bushing_type", "case", "item", "amount"),
    "planned_cost": (
        *("unit_id", "depot", "visit_date", "pivots", "labour_hours", "parts", "labour"),
        *("alignment", "cash", "downtime_days", "downtime"),
    ),
    "suspects": ("unit_id", "kind", "detail", "source_rows"),
    "life_counts": ("bushing_type", "evidence", "lives"),
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
