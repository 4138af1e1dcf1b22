"""Several ages of one pivot joined into one row."""

from __future__ import annotations

import pandas as pd

from pivotlife.models.age_cases import over_ages

CASES = pd.DataFrame(
    {
        "row": [0, 1, 1, 1],
        "chance_over_by_next_visit": [0.5, 0.8, 0.4, 0.1],
        "chance_lower": [0.4, 0.7, 0.3, 0.05],
        "chance_upper": [0.6, 0.9, 0.5, 0.2],
        "miles_until_due": [1.0, 0.0, 5.0, 9.0],
        "method": ["a", "b", "c", "d"],
    }
)


def test_means_count_by_share_and_ends_are_those_of_likely_ages() -> None:
    found = over_ages(CASES, CASES["row"], pd.Series([1.0, 0.02, 0.49, 0.49]))
    assert (
        found.loc[[0]].to_numpy().tolist() == CASES.drop(columns="row").iloc[:1].to_numpy().tolist()
    )
    two = found.loc[1]
    assert two["chance_over_by_next_visit"] == 0.02 * 0.8 + 0.49 * 0.4 + 0.49 * 0.1
    assert (two["chance_lower"], two["chance_upper"]) == (0.05, 0.5)
    assert two["miles_until_due"] == 5.0
    assert two["method"] == "c"


def test_the_mean_stays_within_its_bounds() -> None:
    wide = CASES.assign(chance_upper=[0.6, 0.9, 0.41, 0.2])
    two = over_ages(wide, wide["row"], pd.Series([1.0, 0.04, 0.94, 0.02])).loc[1]
    assert two["chance_over_by_next_visit"] > 0.41
    assert two["chance_upper"] == two["chance_over_by_next_visit"]


def test_single_cases_pass_as_they_are() -> None:
    alone = CASES.iloc[:2]
    found = over_ages(alone, alone["row"], pd.Series([1.0, 1.0]))
    assert found.index.tolist() == [0, 1]
    assert found["method"].tolist() == ["a", "b"]
