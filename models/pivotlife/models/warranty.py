"""Which bushings failed, or may still fail, inside their kit's warranty of miles and months.

A warranty runs out at its miles or its months, whichever comes first; one that a kit does not state
does not limit, and a kit that states neither, or nought, has none. A bushing that failed by then is
a claim: its supplier may owe the kit. How long after the failure a claim is accepted is for the
supplier's terms to say; here a claim counts as open until the warranty's own last day.

Bushings in service whose warranty runs out soon are listed as well: a reading before that day costs
a quarter of an hour, one after it comes too late.

Not here: whose fault a failure was, labour, what the supplier accepts.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

WARRANTY_COLUMNS: Final = (
    *("status", "unit_id", "depot", "pivot_id", "life_id", "bushing_type", "kit_id"),
    *("fitted_date", "fitted_odometer_miles", "failed_date", "age_miles", "warranty_miles"),
    *("warranty_months", "expires_date", "days_left", "amount", "chance_over_now", "reason"),
    "source_row",
)
CLAIM: Final = "claim now"
SOON: Final = "claim now, expires soon"
PAST: Final = "failed in time, warranty since over"
WATCH: Final = "read before it expires"
#: Days before the end that count as soon, and days for which a claim that is over is shown.
SOON_DAYS: Final = 90
PAST_DAYS: Final = 365
#: In the order of the table.
STATUSES: Final = (SOON, CLAIM, WATCH, PAST)
_CLAIMED: Final = "warranty"


def warranty_claims(
    bushings: pd.DataFrame, kits: pd.DataFrame, as_of: pd.Timestamp
) -> pd.DataFrame:
    """List claims, and bushings to read before their warranty runs out.

    Parameters
    ----------
    bushings : DataFrame, one row per bushing fitted from a kit
        unit_id, depot, pivot_id, life_id, bushing_type, kit_id, fitted_date,
        fitted_odometer_miles (true miles), failed_date (NaT: not known bad), failed_age_miles,
        age_miles (now, or when it came out), in_service (bool), miles_per_day (NaN unknown),
        chance_over_now, removed_reason ("" in service), paid (price paid for the kit, NaN
        unknown), source_row (of the repair that fitted it).
    kits : DataFrame
        kit_id, warranty_miles, warranty_months, price.
    as_of : Timestamp

    Returns
    -------
    DataFrame
        `WARRANTY_COLUMNS`, claims that expire soon first, bushings to read by chance times
        amount; amount is the price paid, else the kit's price today, in its currency; days_left
        is below 0 where the warranty is over.
    """
    rows = _with_terms(bushings, kits)
    rows["expires_date"] = _last_day(rows, as_of)
    rows["days_left"] = (rows["expires_date"] - as_of).dt.days
    by_miles = rows["failed_age_miles"] <= rows["warranty_miles"].fillna(np.inf)
    term = _by_months(rows).fillna(pd.Timestamp.max.normalize())
    failed = rows["failed_date"].notna() & by_miles & (rows["failed_date"] <= term)
    failed &= rows["removed_reason"] != _CLAIMED
    recent = (as_of - rows["failed_date"]).dt.days <= PAST_DAYS
    open_until = (term - as_of).dt.days
    soon = (rows["days_left"] >= 0) & (rows["days_left"] <= SOON_DAYS)
    watched = rows["in_service"].astype(bool) & rows["failed_date"].isna() & soon
    rows["status"] = np.select(
        [
            failed & (open_until >= 0) & (open_until <= SOON_DAYS),
            failed & (open_until >= 0),
            failed & recent,
            watched,
        ],
        [SOON, CLAIM, PAST, WATCH],
        default="",
    )
    # A claim stands on the months: miles driven after the failure do not end it.
    rows["expires_date"] = rows["expires_date"].mask(failed, _by_months(rows))
    rows["days_left"] = rows["days_left"].where(~failed, open_until.where(_by_months(rows).notna()))
    listed = rows[rows["status"] != ""]
    listed = listed.assign(
        reason=[_reason(row) for row in listed.to_dict("records")],
        place=listed["status"].map(STATUSES.index),
        hope=-(listed["chance_over_now"] * listed["amount"]).where(listed["status"] == WATCH),
    )
    order = ["place", "hope", "days_left", "unit_id", "pivot_id", "life_id"]
    return listed.sort_values(order, kind="stable", ignore_index=True).reindex(
        columns=list(WARRANTY_COLUMNS)
    )


def _with_terms(bushings: pd.DataFrame, kits: pd.DataFrame) -> pd.DataFrame:
    terms = kits.groupby("kit_id")[["warranty_miles", "warranty_months", "price"]].min()
    rows = bushings[bushings["kit_id"].isin(terms.index)].merge(
        terms.reset_index(), on="kit_id", how="left"
    )
    stated = rows[["warranty_miles", "warranty_months"]].fillna(0.0).max(axis=1) > 0
    rows = rows[stated & rows["fitted_date"].notna()].reset_index(drop=True)
    for name in ("warranty_miles", "warranty_months"):
        rows[name] = rows[name].astype(float).where(rows[name] > 0)
    failed = rows["failed_date"].notna()
    rows["age_miles"] = rows["age_miles"].mask(failed, rows["failed_age_miles"])
    rows["amount"] = rows["paid"].astype(float).fillna(rows["price"].astype(float))
    return rows


def _by_months(rows: pd.DataFrame) -> pd.Series:
    """Last day by the months; NaT where none are stated."""
    ends = [
        fitted + pd.DateOffset(months=int(months)) if np.isfinite(months) else pd.NaT
        for fitted, months in zip(rows["fitted_date"], rows["warranty_months"], strict=True)
    ]
    return pd.Series(pd.to_datetime(pd.Series(ends, dtype="datetime64[ns]")).to_numpy(), rows.index)


def _last_day(rows: pd.DataFrame, as_of: pd.Timestamp) -> pd.Series:
    """Day on which the warranty runs out, by months or at the unit's own pace by miles."""
    left = (rows["warranty_miles"] - rows["age_miles"]) / rows["miles_per_day"]
    # Without a pace only the months are known. A century is beyond every warranty.
    days = np.floor(left.astype(float).clip(-36_500.0, 36_500.0))
    by_miles = pd.Series(as_of, rows.index) + pd.to_timedelta(days, unit="D")
    by_months = _by_months(rows)
    ends: pd.Series = by_months.where(~(by_miles < by_months) & by_months.notna(), by_miles)
    return ends


def _reason(row: dict[Any, Any]) -> str:
    terms = " and ".join(
        f"{row[name]:,.0f} {word}"
        for name, word in (("warranty_miles", "miles"), ("warranty_months", "months"))
        if np.isfinite(row[name])
    )
    age = f"{row['age_miles']:,.0f} miles"
    fitted = f"fitted {row['fitted_date']:%Y-%m-%d}"
    if row["status"] == WATCH:
        ends = f"{row['expires_date']:%Y-%m-%d}"
        return f"In service for {age}, {fitted}; warranty of {terms} ends {ends}."
    found = f"{row['failed_date']:%Y-%m-%d}"
    return f"Found bad on {found} after {age}, {fitted}; warranty of {terms}."
