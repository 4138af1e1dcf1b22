"""Readings and ages in the shape the crossing estimate needs.

Repeats of one direction on one day, under the same load and grease, are averaged; of several such
figures the largest counts.

Not here: how a reading comes under suspicion, what the numbers mean for a pivot.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.crossing_grid import FloatArray, Readings

#: Readings that agree in these are repeats of one another.
_ALIKE = ("direction", "load_state", "greased_before")
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
        greased_before, and is_suspect (bool: may not have been measured at all).

    Returns
    -------
    DataFrame
        The same columns, rows sorted by life and age, fresh index.
    """
    numbers = readings[["age_miles", "free_play_mm", "limit_mm"]]
    good = np.isfinite(numbers.to_numpy(dtype=float)).all(axis=1)
    good &= (numbers["age_miles"] >= 0) & (numbers["free_play_mm"] >= 0) & (numbers["limit_mm"] > 0)
    if "is_suspect" in readings:
        good &= ~readings["is_suspect"].astype(bool)
    rows = readings.loc[good]
    day = "reading_date" if "reading_date" in rows else "age_miles"
    alike = [name for name in _ALIKE if name in rows]
    mean = rows.groupby(["life_id", day, *alike])["free_play_mm"].transform("mean")
    rows = rows.assign(free_play_mm=mean)
    rows = rows.sort_values(["life_id", day, "free_play_mm"], kind="stable")
    one_a_day: pd.DataFrame = rows.drop_duplicates(["life_id", day], keep="last")
    return one_a_day.reset_index(drop=True)


def with_ages(in_service: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Add each pivot's age now and at its next two visits.

    Parameters
    ----------
    in_service : DataFrame
        unit_id, fitted_miles (NaN = unknown), age_at_most_miles.
    visits : DataFrame
        unit_id, miles_now, visit_date, visit_miles, next_visit_date, next_visit_miles.

    Returns
    -------
    DataFrame
        Fresh index; born_miles (unit's miles when the bushing was new), age_miles, visit_age,
        next_age (miles), visit_date, next_visit_date, age_warning.
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
    lost = pivots["miles_now"].isna()
    pivots["age_warning"] = np.select(
        [lost, pivots["age_miles"].isna(), fitted.isna()],
        [
            "no miles record of this unit",
            "age unknown",
            "fitted at an unknown odometer: taken as fitted with the truck",
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
        life_id, true_miles, free_play_mm; optional reading_date, is_suspect, direction,
        load_state, greased_before.

    Returns
    -------
    DataFrame
        Usable readings with `row`, the pivot's index, and age_miles.
    """
    wanted = ["life_id", "true_miles", "free_play_mm", "reading_date", "is_suspect", *_ALIKE]
    rows = readings[[name for name in wanted if name in readings]]
    starts = pivots[["life_id", "born_miles", "limit_mm"]].rename_axis("row").reset_index()
    starts = starts.loc[starts["life_id"].astype(str) != ""]
    rows = rows.merge(starts, on="life_id", how="inner")
    rows["age_miles"] = rows["true_miles"] - rows["born_miles"]
    return usable_readings(rows)


def life_readings(rows: pd.DataFrame, life: pd.Series) -> tuple[Readings, pd.DataFrame]:
    """Put usable readings life by life.

    Parameters
    ----------
    rows : DataFrame
        age_miles, free_play_mm, limit_mm; optional load_state, greased_before ("" = unknown, taken
        as unloaded and not greased).
    life : Series
        Life of each row.

    Returns
    -------
    Readings
        Lives numbered in rising order of `life`.
    DataFrame
        First row of each life, in that order.
    """
    number = pd.Series(pd.factorize(life, sort=True)[0], index=rows.index)
    order = number.sort_values(kind="stable").index
    sorted_rows = rows.loc[order]
    # A reading on the day of fitting has age 0; a mile keeps its logarithm finite.
    ages = np.maximum(sorted_rows["age_miles"].to_numpy(dtype=float), 1.0)
    share = sorted_rows["free_play_mm"] / sorted_rows["limit_mm"]
    ordered = number.loc[order].to_numpy(dtype=np.int64)
    readings = Readings(
        np.log(ages),
        share.to_numpy(dtype=float),
        ordered,
        _mark(sorted_rows, "load_state", "loaded"),
        _mark(sorted_rows, "greased_before", "yes"),
    )
    return readings, sorted_rows.loc[~pd.Series(ordered, index=order).duplicated()]


def _mark(rows: pd.DataFrame, column: str, word: str) -> FloatArray:
    """1 where a column says the word, 0 where it does not or is absent."""
    if column not in rows:
        return np.zeros(len(rows))
    return np.asarray(rows[column] == word, dtype=float)
