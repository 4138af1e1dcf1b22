"""What to lay ready: kits by depot and visit, from the shelf first, else by order date.

Kits on the shelf go to the earliest visits first. A line beyond the stock must be ordered: in time
when today plus the lead time is not after the visit. What is already on order has no promised day
and is shown, never counted on. One kit is counted for each pivot.

Not here: which kit fits (`kit_match`), demand of later months.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.kit_match import MEASURE

SUPPLY_COLUMNS: Final = ("on_hand", "on_order", "lead_time_days", "order_by_date", "supply")
STAGE_COLUMNS: Final = (
    *("depot", "visit_date", "kit_id", "bushing_type", "node", "drive_tool", "units", "kits"),
    *("from_shelf", "to_order", "order_by_date", "on_hand", "on_order", "lead_time_days"),
    "status",
)
ON_SHELF: Final = "on the shelf"
ORDER: Final = "order"
TOO_LATE: Final = "too late to order for this visit"
UNKNOWN_LEAD: Final = "order; lead time not on record"
NOT_DUE: Final = "only if the reading asks for it"


def with_supply(lines: pd.DataFrame, kits: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Say of every line with a kit where that kit comes from.

    Parameters
    ----------
    lines : DataFrame, one row per pivot
        kit_id ("" = none), visit_date, unit_id, pivot_id, is_due (bool; False = the kit is only
        needed if the visit's reading asks for it).
    kits : DataFrame
        kit_id, on_hand, on_order (kits), lead_time_days (days).
    as_of : Timestamp
        Today.

    Returns
    -------
    DataFrame, same index
        The lines with `SUPPLY_COLUMNS`: order_by_date is the last day an order arrives in time,
        supply one of: on the shelf; order; too late to order for this visit; ...
    """
    # A kit listed for several nodes is one shelf: the smallest of its stocks is the safe one.
    stock = kits.groupby("kit_id")[["on_hand", "on_order"]].min()
    lead = kits.groupby("kit_id")["lead_time_days"].max()
    out = lines.copy()
    for name in ("on_hand", "on_order"):
        out[name] = out["kit_id"].map(stock[name]).astype(float)
    out["lead_time_days"] = out["kit_id"].map(lead).astype(float)
    out["order_by_date"] = out["visit_date"] - pd.to_timedelta(out["lead_time_days"], unit="D")
    named = out["kit_id"] != ""
    queue = out[named & out["is_due"]].sort_values(
        ["kit_id", "visit_date", "unit_id", "pivot_id"], kind="stable"
    )
    turn = queue.groupby("kit_id").cumcount().reindex(out.index)
    supply = np.select(
        [
            ~named,
            ~out["is_due"],
            turn < out["on_hand"].fillna(0.0),
            out["lead_time_days"].isna(),
            out["order_by_date"] < as_of,
        ],
        ["", NOT_DUE, ON_SHELF, UNKNOWN_LEAD, TOO_LATE],
        default=ORDER,
    )
    out["supply"] = pd.Series(supply, out.index, dtype=object)
    return out


def kits_to_stage(lines: pd.DataFrame) -> pd.DataFrame:
    """Sum the due lines by depot, visit day and kit.

    Parameters
    ----------
    lines : DataFrame
        From `with_supply`, with depot, bushing_type, node, drive_tool, verdict.

    Returns
    -------
    DataFrame
        `STAGE_COLUMNS`; one row per depot, day and kit (kit_id "" = measure before ordering),
        the earliest visit first within a depot.
    """
    due = lines[lines["is_due"].astype(bool)]
    if due.empty:
        return pd.DataFrame(columns=list(STAGE_COLUMNS))
    due = due.assign(
        shelf=due["supply"] == ON_SHELF,
        late=due["supply"] == TOO_LATE,
        day=due["visit_date"].fillna(pd.Timestamp.max.normalize()),
    )
    keys = ["depot", "day", "kit_id", "bushing_type", "node"]
    rows = due.groupby(keys, sort=True).agg(
        visit_date=("visit_date", "first"),
        drive_tool=("drive_tool", "first"),
        units=("unit_id", "nunique"),
        kits=("pivot_id", "size"),
        from_shelf=("shelf", "sum"),
        late=("late", "sum"),
        order_by_date=("order_by_date", "first"),
        on_hand=("on_hand", "first"),
        on_order=("on_order", "first"),
        lead_time_days=("lead_time_days", "first"),
    )
    rows = rows.reset_index()
    named = rows["kit_id"] != ""
    rows["to_order"] = (rows["kits"] - rows["from_shelf"]).where(named, 0)
    rows["order_by_date"] = rows["order_by_date"].where(rows["to_order"] > 0)
    rows["status"] = np.select(
        [~named, rows["to_order"] == 0, rows["late"] > 0], [MEASURE, ON_SHELF, TOO_LATE], ORDER
    )
    return rows[list(STAGE_COLUMNS)]
