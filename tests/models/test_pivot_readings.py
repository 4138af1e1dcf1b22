"""Readings and ages before they are weighed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.pivot_readings import (
    good_findings_of,
    usable_readings,
    with_ages,
    with_unknown_ages,
)


def test_repeats_are_averaged_and_the_worst_direction_counts() -> None:
    day = pd.Timestamp("2026-01-01")
    rows = pd.DataFrame(
        {
            "life_id": "L1",
            "age_miles": 1e5,
            "free_play_mm": [1.0, 1.2, 0.5, np.nan],
            "limit_mm": 3.2,
            "reading_date": day,
            "direction": ["vertical", "vertical", "lateral", "lateral"],
        }
    )
    found = usable_readings(rows)
    assert found["free_play_mm"].tolist() == [1.1]


def test_a_doubtful_zero_beside_a_play_of_the_same_day_does_not_halve_it() -> None:
    rows = pd.DataFrame(
        {
            "life_id": ["a", "a", "b", "b", "c"],
            "age_miles": 1e5,
            "free_play_mm": [2.8, 0.0, 2.8, 0.0, 0.0],
            "limit_mm": 3.2,
            "reading_date": pd.Timestamp("2026-01-01"),
            "direction": "vertical",
            "is_suspect": [False, True, False, False, True],
        }
    )
    # A zero that nothing speaks against is a repeat like any other, and a lone one is weighed.
    assert usable_readings(rows)["free_play_mm"].tolist() == [2.8, 1.4, 0.0]


def test_rows_without_age_play_or_limit_are_no_readings() -> None:
    rows = pd.DataFrame(
        {
            "life_id": list("abcde"),
            "age_miles": [1e5, np.nan, -5.0, 1e5, 1e5],
            "free_play_mm": [1.0, 1.0, 1.0, np.inf, 1.0],
            "limit_mm": [3.2, 3.2, 3.2, 3.2, np.nan],
        }
    )
    assert usable_readings(rows.assign(is_suspect=[True, *[False] * 4])).empty
    assert usable_readings(rows)["life_id"].tolist() == ["a"]
    # A doubtful zero is weighed where growth is fitted; leaving it out would show too much wear.
    zero = rows.assign(is_suspect=True, free_play_mm=0.0)
    assert usable_readings(zero)["life_id"].tolist() == ["a", "d"]
    assert usable_readings(zero.assign(is_tight=True)).empty


def test_ages_count_from_fitting() -> None:
    in_service = pd.DataFrame(
        {
            "unit_id": ["A", "B", "C"],
            "fitted_miles": [100_000.0, np.nan, 0.0],
            "age_at_most_miles": [400_000.0, 300_000.0, 10.0],
            "age_at_least_miles": [400_000.0, 120_000.0, 10.0],
        }
    )
    visits = pd.DataFrame(
        {
            "unit_id": ["A", "B"],
            "miles_now": [400_000.0, 350_000.0],
            "visit_date": pd.NaT,
            "visit_miles": [410_000.0, 360_000.0],
            "next_visit_date": pd.NaT,
            "next_visit_miles": [430_000.0, 380_000.0],
        }
    )
    found = with_ages(in_service, visits)
    assert found["age_miles"].tolist()[:2] == [300_000.0, 300_000.0]
    assert found["next_age"].tolist()[:2] == [330_000.0, 330_000.0]
    assert np.isnan(found["age_miles"][2])
    assert found["age_warning"].tolist() == [
        "",
        "fitted at an unknown odometer: taken as fitted with the truck",
        "no miles record of this unit",
    ]


def test_unknown_ages_are_tried_where_something_was_read() -> None:
    pivots = pd.DataFrame(
        {
            "open_miles": [0.0, 80_000.0, 80_000.0],
            "age_miles": 200_000.0,
            "visit_age": 210_000.0,
            "next_age": 220_000.0,
        },
        index=[4, 7, 9],
    )
    used = pd.DataFrame(
        {"row": [4, 7, 7], "age_miles": [1e5, 1e5, 1.5e5], "free_play_mm": [1.0, 1.0, 1.5]}
    )
    cases, read = with_unknown_ages(pivots, used)
    assert cases["row"].tolist() == [4, 7, 9, 7, 7]
    assert cases["younger_miles"].tolist() == [0.0, 0.0, 0.0, 40_000.0, 80_000.0]
    assert cases["next_age"].tolist() == [220_000.0] * 3 + [180_000.0, 140_000.0]
    ages = read.sort_values(["case", "age_miles"])[["case", "age_miles"]].to_numpy().tolist()
    assert ages == [[0, 1e5], [1, 1e5], [1, 1.5e5], [3, 6e4], [3, 1.1e5], [4, 2e4], [4, 7e4]]


def test_good_findings_are_those_of_bushings_of_unknown_age() -> None:
    pivots = pd.DataFrame(
        {
            "life_id": ["a", "b", ""],
            "fitted_miles": [np.nan, 1e5, np.nan],
            "born_miles": [2e5, 1e5, 0.0],
        },
        index=[4, 5, 6],
    )
    readings = pd.DataFrame(
        {
            "life_id": ["a", "a", "a", "a", "b", ""],
            "true_miles": [3e5, 4e5, 4.5e5, 5e5, 3e5, 3e5],
            "is_good": [True, True, True, False, True, True],
            "is_suspect": [False, False, True, False, False, False],
        }
    )
    found = good_findings_of(pivots, readings)
    assert found["row"].tolist() == [4, 4]
    assert found["age_miles"].tolist() == [1e5, 2e5]
    assert good_findings_of(pivots, readings.drop(columns="is_good")).empty
