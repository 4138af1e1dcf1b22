"""The forecast made a year ago against what the repairs then cost.

Only what a repair line records is compared: kits, hours, and parts with labour. Alignments, tyres,
tows and days off the road stand in the budget and on no repair line. Hours are priced at the shop
rate that the forecast used, so that a difference is one of work, not of wages.

A month and depot is inside when what was spent lies between the forecast's P10 and P90; if the
bands are right eight in ten are, rather more where counts are small and cannot split evenly.

Not here: making the forecast (`budget`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.budget import ALL_DEPOTS
from pivotlife.models.decision_costs import CostItems

SPEND_COLUMNS: Final = (
    *("month", "depot", "item", "unit", "forecast", "p10", "p90", "actual", "difference"),
    *("inside", "repair_lines", "lines_without_cost", "forecast_made_on", "forecast_from"),
)
COMPARED: Final = ("kits", "labour_hours", "parts_and_labour")
YEAR: Final = "12 months"
_RENEWING: Final = ("replaced", "fitted")


def actual_spend(
    repairs: pd.DataFrame, depots: Mapping[str, str], costs: CostItems
) -> pd.DataFrame:
    """Add up what repairs renewed and cost, by month and depot and for all depots.

    Parameters
    ----------
    repairs : DataFrame, one row per line
        unit_id, repair_date, action, pivots_in_kit (NaN = 1), parts_cost, labour_hours (NaN =
        not recorded), optional currency.
    depots : mapping of unit to depot
    costs : CostItems
        Shop rate and currency; amounts in another currency count as not recorded.

    Returns
    -------
    DataFrame
        month ("2026-03"), depot, the items of `COMPARED`, repair_lines, lines_without_cost.
    """
    lines = repairs[repairs["action"].isin(_RENEWING)]
    parts = lines["parts_cost"].astype(float)
    if "currency" in lines:
        parts = parts.where(lines["currency"].isin(["", costs.currency]))
    hours = lines["labour_hours"].astype(float)
    money = parts.fillna(0.0) + hours.fillna(0.0) * costs.shop_rate
    rows = pd.DataFrame(
        {
            "month": lines["repair_date"].dt.strftime("%Y-%m"),
            "depot": lines["unit_id"].map(dict(depots)).fillna("").astype(str),
            "kits": lines["pivots_in_kit"].astype(float).fillna(1.0),
            "labour_hours": hours.fillna(0.0),
            "parts_and_labour": money,
            "repair_lines": 1,
            "lines_without_cost": (parts.isna() | hours.isna()).astype(int),
        }
    )
    both = pd.concat([rows, rows.assign(depot=ALL_DEPOTS)])
    return both.groupby(["month", "depot"], as_index=False).sum()


def spend_check(
    forecast: pd.DataFrame,
    repairs: pd.DataFrame,
    depots: Mapping[str, str],
    costs: CostItems,
    made_on: pd.Timestamp,
    as_of: pd.Timestamp,
    forecast_from: str = "",
) -> pd.DataFrame:
    """Hold a forecast against the repairs that followed.

    Parameters
    ----------
    forecast : DataFrame
        As `budget.budget_table` makes it: month, depot, item, unit, expected, p10, p90.
    repairs, depots, costs
        As for `actual_spend`.
    made_on, as_of : Timestamp
        Day the forecast stood on; today. Repairs after the one and until the other count, and
        only months that are over, twelve at most.
    forecast_from : str
        Where the forecast is from, told with every row.

    Returns
    -------
    DataFrame
        `SPEND_COLUMNS`, by month, depot ("all" last) and item, "12 months" last where they are
        all over; inside is True where the actual lies within the band.
    """
    since = repairs[(repairs["repair_date"] > made_on) & (repairs["repair_date"] <= as_of)]
    month = forecast["month"].astype(str)
    dated = month.str.fullmatch(r"\d{4}-\d{2}")
    ends = pd.to_datetime(month.where(dated), format="%Y-%m") + pd.offsets.MonthEnd(0)
    over = sorted(month[dated & (ends <= as_of)].unique())[:12]
    if not over:
        return pd.DataFrame(columns=list(SPEND_COLUMNS))
    actual = actual_spend(since, depots, costs)
    actual = actual[actual["month"].isin(over)]
    if len(over) == 12:
        year = actual.drop(columns="month").groupby("depot", as_index=False).sum()
        actual = pd.concat([actual, year.assign(month=YEAR)])
    counts = ["repair_lines", "lines_without_cost"]
    long = actual.melt(["month", "depot", *counts], list(COMPARED), "item", "actual")
    wanted = forecast[
        month.isin([*over, *([YEAR] if len(over) == 12 else [])]) & forecast["item"].isin(COMPARED)
    ]
    table = wanted.merge(long, on=["month", "depot", "item"], how="left")
    table[["actual", *counts]] = table[["actual", *counts]].fillna(0.0)
    return _judged(table, made_on, forecast_from)


def _judged(table: pd.DataFrame, made_on: pd.Timestamp, forecast_from: str) -> pd.DataFrame:
    actual = table["actual"].to_numpy(dtype=float)
    low, high = (table[name].to_numpy(dtype=float) for name in ("p10", "p90"))
    slack = 1e-9 * np.maximum(np.abs(high), 1.0)
    table = table.assign(
        forecast=table["expected"],
        difference=actual - table["expected"],
        inside=(actual >= low - slack) & (actual <= high + slack),
        forecast_made_on=made_on.normalize(),
        forecast_from=forecast_from,
    )
    whole = {"repair_lines": int, "lines_without_cost": int}
    return table.astype(whole)[list(SPEND_COLUMNS)].reset_index(drop=True)


def band_hits(checked: pd.DataFrame) -> pd.DataFrame:
    """Count, for each item, the months and depots whose actual lies within the band.

    Parameters
    ----------
    checked : DataFrame
        From `spend_check`.

    Returns
    -------
    DataFrame
        item, cells, inside, share; single depots and months only, sums are left out.
    """
    cells = checked[(checked["depot"] != ALL_DEPOTS) & (checked["month"] != YEAR)]
    hits = cells.groupby("item", sort=False)["inside"].agg(cells="size", inside="sum")
    hits["share"] = hits["inside"] / hits["cells"]
    return hits.reset_index()
