"""The gate: what passes, what is raised, what is left out, and how faults are named."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.errors import LivesError, PivotlifeError
from pivotlife.models.lives import check_lives


def lives(**columns: list[float]) -> pd.DataFrame:
    base = {"lower_miles": [10.0, 20.0, 30.0], "upper_miles": [10.0, 40.0, np.inf]}
    return pd.DataFrame({**base, **columns})


def test_absent_columns_mean_entry_when_new_weight_one_and_units_apart() -> None:
    checked = check_lives(lives())
    assert checked.entry.tolist() == [0.0, 0.0, 0.0]
    assert checked.weight.tolist() == [1.0, 1.0, 1.0]
    assert checked.n_units == 3
    assert checked.n_failures == 2
    assert checked.is_exact.tolist() == [True, False, False]


def test_a_life_never_watched_after_its_entry_is_left_out() -> None:
    checked = check_lives(lives(entry_miles=[0.0, 0.0, 30.0]))
    assert checked.n_lives == 2
    assert checked.left_out == 1


def test_a_lower_age_below_the_entry_is_raised_to_it() -> None:
    checked = check_lives(lives(entry_miles=[0.0, 25.0, 0.0]))
    assert checked.lower[1] == 25.0


def test_a_row_of_weight_zero_stands_for_nobody() -> None:
    assert check_lives(lives(weight=[1.0, 0.0, 2.0])).n_lives == 2


def test_all_faults_at_once_with_their_numbers_and_ids() -> None:
    frame = lives(lower_miles=[10.0, 50.0, -1.0], entry_miles=[10.0, 0.0, 0.0]).assign(
        life_id=["L1", "L2", "L3"]
    )
    with pytest.raises(LivesError) as caught:
        check_lives(frame)
    text = str(caught.value)
    assert "1 of 3 lives have a lower_miles above its upper_miles: L2" in text
    assert "1 of 3 lives have a failure at or before its entry_miles: L1" in text
    assert "1 of 3 lives have a lower_miles that is missing, infinite or negative: L3" in text
    assert isinstance(caught.value, PivotlifeError)


def test_only_the_first_five_ids_are_named() -> None:
    frame = pd.DataFrame({"lower_miles": [5.0] * 7, "upper_miles": [1.0] * 7})
    with pytest.raises(
        LivesError, match=r"7 of 7 lives .* row 0, row 1, row 2, row 3, row 4, \.\.\."
    ):
        check_lives(frame)


def test_a_missing_column_is_named() -> None:
    with pytest.raises(LivesError, match="lack the column upper_miles"):
        check_lives(pd.DataFrame({"lower_miles": [1.0]}))


@pytest.mark.parametrize("column", ["lower_miles", "upper_miles", "entry_miles", "weight"])
def test_missing_numbers_are_faults(column: str) -> None:
    with pytest.raises(LivesError, match=f"{column} that is missing"):
        check_lives(lives(**{column: [np.nan, 20.0, 30.0]}))


def test_text_is_a_fault() -> None:
    with pytest.raises(LivesError, match="lower_miles of the lives holds text that is no number"):
        check_lives(pd.DataFrame({"lower_miles": ["a"], "upper_miles": [1.0]}))
