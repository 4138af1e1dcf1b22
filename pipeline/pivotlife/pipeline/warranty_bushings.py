"""Bushings whose fitting is on record: from which kit, when, and what became of them.

A life is tied to the repair that began it by its pivot and true miles. Only repairs that surely
meant that pivot count: a claim names one bushing.

Not here: whether a warranty covers them (`models.warranty`).
"""

from __future__ import annotations

import pandas as pd

from pivotlife.pipeline.histories import Histories


def fitted_bushings(
    histories: Histories, repairs: pd.DataFrame, visits: pd.DataFrame, growth: pd.DataFrame
) -> pd.DataFrame:
    """Collect the bushings that a repair line with a kit fitted.

    Parameters
    ----------
    histories : Histories
    repairs : DataFrame
        Judged repairs with true miles.
    visits : DataFrame
        unit_id, depot, miles_now, miles_per_day.
    growth : DataFrame
        pivot_id, chance_over_now.

    Returns
    -------
    DataFrame
        As `models.warranty.warranty_claims` takes them.
    """
    fitted = _fittings(histories.renewals, repairs)
    lives = histories.lives.assign(miles=histories.lives["fitted_odometer_miles"].round())
    table = lives.merge(fitted, on=["pivot_id", "miles"], how="inner")
    units = visits[["unit_id", "depot", "miles_now", "miles_per_day"]]
    table = table.merge(units, on="unit_id", how="left")
    table["depot"] = table["depot"].fillna("").astype(object)
    table["in_service"] = table["life_id"].isin(histories.in_service["life_id"])
    ended = table["removed_odometer_miles"].fillna(table["miles_now"])
    table["age_miles"] = (ended - table["fitted_odometer_miles"]).clip(lower=0.0)
    table["failed_age_miles"] = table["first_evidence_miles"]
    table["failed_date"] = _failed_on(table, histories, fitted)
    chance = growth.set_index("pivot_id")["chance_over_now"]
    table["chance_over_now"] = table["pivot_id"].map(chance).where(table["in_service"])
    return table


def _fittings(renewals: pd.DataFrame, repairs: pd.DataFrame) -> pd.DataFrame:
    """One row for each fitting of a pivot: miles, day, kit, price paid for one kit."""
    rows = repairs[["source_row", "kit_id", "parts_cost", "pivots_in_kit", "true_miles"]]
    rows = rows.drop_duplicates("source_row")
    done = renewals[renewals["certain"].astype(bool)].merge(rows, on="source_row")
    done = done[done["kit_id"].ne("") & done["true_miles"].notna()]
    each = done["pivots_in_kit"].astype(float).fillna(1.0).clip(lower=1.0)
    done = done.assign(
        miles=done["true_miles"].round(),
        fitted_date=done["date"],
        paid=done["parts_cost"].astype(float) / each,
    )
    wanted = ["pivot_id", "miles", "fitted_date", "kit_id", "paid", "source_row"]
    return done[wanted].drop_duplicates(["pivot_id", "miles"])


def _failed_on(table: pd.DataFrame, histories: Histories, fitted: pd.DataFrame) -> pd.Series:
    """Day on which each bushing was first found bad; NaT where it was not."""
    readings = histories.readings
    bad = readings[readings["is_bad"].astype(bool)].groupby("life_id")["reading_date"].min()
    found = table["life_id"].map(bad)
    # Without a bad reading it was found when it came out: the day its successor went in.
    out = table[["pivot_id"]].assign(miles=table["removed_odometer_miles"].round())
    next_in = out.merge(
        fitted[["pivot_id", "miles", "fitted_date"]], on=["pivot_id", "miles"], how="left"
    )["fitted_date"]
    next_in.index = table.index
    return found.fillna(next_in).where(table["first_evidence_miles"].notna())
