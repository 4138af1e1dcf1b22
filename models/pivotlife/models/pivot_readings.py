"""Readings of free play by pivot, and its age now and at its visits.

Repeats of one direction on one day, under the same load and grease, are averaged; of several such
figures the largest counts.

An age that nobody wrote down is tried out: the highest it can be, the lowest, and half-way between.
Old age is the cautious guess where nothing was read; where play was read, its readings tell which
of the ages they fit.

Not here: how a reading comes under suspicion, what the numbers mean for a pivot.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

#: Readings that agree in these are repeats of one another.
_OPTIONAL = ("is_suspect", "is_tight", "resolution_mm")
_ALIKE = ("direction", "load_state", "greased_before")
#: Places between the highest (0) and the lowest age (1) that are tried where it is unknown.
AGE_PLACES = (0.0, 0.5, 1.0)
UNKNOWN_AGE = "fitted at an unknown odometer: taken as fitted with the truck"
_VISIT_COLUMNS = (
    "unit_id",
    "miles_now",
    "visit_date",
    "visit_miles",
    "next_visit_date",
    "next_visit_miles",
)


def usable_readings(readings: pd.DataFrame) -> pd.DataFrame:
    """Keep readings with a play, a limit and an age, one per life and day.

    Parameters
    ----------
    readings : DataFrame
        life_id, age_miles, free_play_mm, limit_mm; optional reading_date, direction, load_state,
        greased_before, is_suspect (bool: left out unless it is a zero, which growth weighs) and
        is_tight (bool: of a pin that seized or takes no grease, which hides play).

    Returns
    -------
    DataFrame
        The same columns, rows sorted by life and age, fresh index.
    """
    numbers = readings[["age_miles", "free_play_mm", "limit_mm"]]
    good = np.isfinite(numbers.to_numpy(dtype=float)).all(axis=1)
    good &= (numbers["age_miles"] >= 0) & (numbers["free_play_mm"] >= 0) & (numbers["limit_mm"] > 0)
    if "is_tight" in readings:
        good &= ~readings["is_tight"].astype(bool)
    if "is_suspect" in readings:
        good &= ~readings["is_suspect"].astype(bool) | readings["free_play_mm"].eq(0.0)
    rows = readings.loc[good]
    day = "reading_date" if "reading_date" in rows else "age_miles"
    repeats = ["life_id", day, *(name for name in _ALIKE if name in rows)]
    if "is_suspect" in rows:
        # Beside a play that was read, a doubtful zero is no repeat: the mean would halve the play.
        shown = rows.groupby(repeats)["free_play_mm"].transform("max")
        rows = rows.loc[~(rows["is_suspect"].astype(bool) & shown.gt(0.0))]
    mean = rows.groupby(repeats)["free_play_mm"].transform("mean")
    rows = rows.assign(free_play_mm=mean)
    rows = rows.sort_values(["life_id", day, "free_play_mm"], kind="stable")
    one_a_day: pd.DataFrame = rows.drop_duplicates(["life_id", day], keep="last")
    return one_a_day.reset_index(drop=True)


def with_ages(in_service: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Add each pivot's age now and at its next two visits.

    Parameters
    ----------
    in_service : DataFrame
        unit_id, fitted_miles (NaN = unknown), age_at_most_miles, age_at_least_miles.
    visits : DataFrame
        unit_id, miles_now, visit_date, visit_miles, next_visit_date, next_visit_miles.

    Returns
    -------
    DataFrame
        Fresh index; born_miles (unit's miles when the bushing was new), age_miles, visit_age,
        next_age (miles), open_miles (how much younger it may be), visit_date, next_visit_date,
        age_warning.
    """
    kept = [name for name in in_service if name not in _VISIT_COLUMNS[1:]]
    pivots = in_service[kept].merge(visits[list(_VISIT_COLUMNS)], on="unit_id", how="left")
    fitted = pivots["fitted_miles"].astype(float)
    pivots["born_miles"] = fitted.fillna(pivots["miles_now"] - pivots["age_at_most_miles"])
    for name, miles in (
        ("age_miles", "miles_now"),
        ("visit_age", "visit_miles"),
        ("next_age", "next_visit_miles"),
    ):
        pivots[name] = (pivots[miles].astype(float) - pivots["born_miles"]).clip(lower=0.0)
    between = (pivots["age_at_most_miles"] - pivots["age_at_least_miles"]).astype(float)
    pivots["open_miles"] = between.where(fitted.isna(), 0.0).fillna(0.0).clip(lower=0.0)
    lost = pivots["miles_now"].isna()
    pivots["age_warning"] = np.select(
        [lost, pivots["age_miles"].isna(), fitted.isna()],
        [
            "no miles record of this unit",
            "age unknown",
            UNKNOWN_AGE,
        ],
        default="",
    )
    return pivots


def readings_of(pivots: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Find the readings of the lives now in service, aged from each pivot's own start.

    Parameters
    ----------
    pivots : DataFrame
        From `with_ages`; life_id, born_miles, limit_mm.
    readings : DataFrame
        life_id, true_miles, free_play_mm; optional reading_date, is_suspect, is_tight,
        resolution_mm, direction, load_state, greased_before.

    Returns
    -------
    DataFrame
        Usable readings with `row`, the pivot's index, and age_miles.
    """
    wanted = ["life_id", "true_miles", "free_play_mm", "reading_date", *_OPTIONAL, *_ALIKE]
    rows = readings[[name for name in wanted if name in readings]]
    starts = pivots[["life_id", "born_miles", "limit_mm"]].rename_axis("row").reset_index()
    starts = starts.loc[starts["life_id"].astype(str) != ""]
    rows = rows.merge(starts, on="life_id", how="inner")
    rows["age_miles"] = rows["true_miles"] - rows["born_miles"]
    return usable_readings(rows)


def good_findings_of(pivots: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Find when bushings of unknown age were found good, by play or by word.

    Parameters
    ----------
    pivots : DataFrame
        From `with_ages`; fitted_miles, life_id, born_miles.
    readings : DataFrame
        life_id, true_miles; optional is_good and is_suspect (bool).

    Returns
    -------
    DataFrame
        `row` (the pivot's index) and age_miles at the greatest age; empty without `is_good`.
    """
    if "is_good" not in readings:
        return pd.DataFrame({"row": pd.Series(dtype=int), "age_miles": pd.Series(dtype=float)})
    good = readings["is_good"].astype(bool) & readings["true_miles"].notna()
    if "is_suspect" in readings:
        good &= ~readings["is_suspect"].astype(bool)
    unknown = pivots["fitted_miles"].isna() & pivots["life_id"].astype(str).ne("")
    starts = pivots.loc[unknown, ["life_id", "born_miles"]].rename_axis("row").reset_index()
    rows = readings.loc[good, ["life_id", "true_miles"]].merge(starts, on="life_id", how="inner")
    rows["age_miles"] = (rows["true_miles"] - rows["born_miles"]).clip(lower=0.0)
    return rows.dropna()[["row", "age_miles"]]


def with_unknown_ages(
    pivots: pd.DataFrame, used: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Repeat pivots of unknown age under each age that is tried.

    Parameters
    ----------
    pivots : DataFrame
        From `with_ages`; open_miles, age_miles, visit_age, next_age.
    used : DataFrame
        From `readings_of`: row, age_miles, by rising age.

    Returns
    -------
    DataFrame
        One row for each pivot and tried age, fresh index, with `row` (the pivot's index) and
        `younger_miles` (taken off every age; 0 where the age is known or nothing was read).
    DataFrame
        The readings of each of those rows: `case` (its index) instead of `row`, ages to match.
    """
    first = used.groupby("row")["age_miles"].min().reindex(pivots.index)
    # A bushing was there when it was first read.
    span = pivots["open_miles"].clip(upper=first - 1.0).clip(lower=0.0).where(first.notna(), 0.0)
    open_age = span > 0.0
    parts = [pivots.assign(row=pivots.index, younger_miles=place * span) for place in AGE_PLACES]
    cases = pd.concat([parts[0], *(part.loc[open_age] for part in parts[1:])], ignore_index=True)
    for name in ("age_miles", "visit_age", "next_age"):
        cases[name] -= cases["younger_miles"]
    of_row = cases[["row", "younger_miles"]].rename_axis("case").reset_index()
    read = used.merge(of_row, on="row", how="inner")
    read["age_miles"] -= read["younger_miles"]
    return cases, read.drop(columns=["row", "younger_miles"])
