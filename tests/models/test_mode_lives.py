"""Lives as one failure mode sees them, and removals counted as failures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.errors import LivesError
from pivotlife.models.lives import check_lives, lives_for_mode
from pivotlife.models.mode_lives import COLUMNS, other_mode_gaps, removals_as_failures

IN_SERVICE: dict[str, Any] = {
    "life_id": "L1",
    "pivot_id": "MD-001.1.left.fixed-eye",
    "unit_id": "MD-001",
    "node": "fixed-eye",
    "bushing_type": "threaded",
    "fitted_odometer_miles": 0.0,
    "removed_odometer_miles": np.nan,
    "entry_miles": 0.0,
    "lower_miles": 100_000.0,
    "upper_miles": np.inf,
    "in_fit": True,
    "evidence": "in-service",
    "mode": "",
    "informative": "no",
    "removed_reason": "",
    "last_good_miles": 100_000.0,
    "first_evidence_miles": np.nan,
    "last_seen_miles": 130_000.0,
    "last_visit_miles": 120_000.0,
    "records_begin_miles": -50_000.0,
    "duty": "regional",
    "life_order": "first",
}
WORN = {
    "evidence": "bad-reading",
    "mode": "wear",
    "upper_miles": 120_000.0,
    "first_evidence_miles": 120_000.0,
    "last_seen_miles": 120_000.0,
    "removed_odometer_miles": 120_000.0,
}
BROKE = {
    "evidence": "broke",
    "mode": "broken",
    "lower_miles": 115_000.0,
    "upper_miles": 115_000.0,
    "first_evidence_miles": 115_000.0,
    "last_seen_miles": 115_000.0,
}
RENEWED = {
    "evidence": "preventive",
    "informative": "yes",
    "removed_reason": "preventive",
    "removed_odometer_miles": 110_000.0,
}


def life(**changes: Any) -> pd.DataFrame:
    return pd.DataFrame([{**IN_SERVICE, **changes}])


def ages(frame: pd.DataFrame) -> list[float]:
    row = frame.iloc[0]
    return [row["entry_miles"], row["lower_miles"], row["upper_miles"]]


def test_any_keeps_the_default_ages_and_the_named_columns() -> None:
    chosen = lives_for_mode(life(**WORN), "any")
    assert tuple(chosen.columns) == COLUMNS
    assert ages(chosen) == [0.0, 100_000.0, 120_000.0]
    assert chosen["weight"].tolist() == [1.0]


@pytest.mark.parametrize("word", [False, "false", "no"])
def test_any_leaves_out_what_is_not_in_the_fit(word: object) -> None:
    assert lives_for_mode(life(in_fit=word), "any").empty


def test_a_mode_keeps_its_own_failures() -> None:
    assert ages(lives_for_mode(life(**WORN), "wear")) == [0.0, 100_000.0, 120_000.0]


def test_another_modes_failure_ends_the_life_mid_gap() -> None:
    assert ages(lives_for_mode(life(**WORN), "rough")) == [0.0, 110_000.0, np.inf]


def test_another_modes_failure_in_a_wide_gap_ends_it_where_it_was_last_good() -> None:
    wide = life(**WORN)
    chosen = lives_for_mode(wide, "rough", median_miles=90_000.0)
    assert ages(chosen) == [0.0, 100_000.0, np.inf]
    assert other_mode_gaps(wide, "rough", median_miles=90_000.0) == (0, 1)
    assert other_mode_gaps(wide, "rough", median_miles=110_000.0) == (1, 0)
    assert other_mode_gaps(wide, "any") == (0, 0)


def test_a_break_on_the_road_says_nothing_about_wear_since_the_last_reading() -> None:
    assert ages(lives_for_mode(life(**BROKE), "wear")) == [0.0, 100_000.0, np.inf]


def test_a_sudden_mode_watches_every_mile_in_service() -> None:
    assert ages(lives_for_mode(life(), "broken")) == [0.0, 130_000.0, np.inf]
    late = life(records_begin_miles=40_000.0, entry_miles=60_000.0)
    assert ages(lives_for_mode(late, "broken")) == [40_000.0, 130_000.0, np.inf]


def test_a_sudden_mode_keeps_exact_breaks_and_survives_wear() -> None:
    assert ages(lives_for_mode(life(**BROKE), "broken")) == [0.0, 115_000.0, 115_000.0]
    assert ages(lives_for_mode(life(**WORN), "broken")) == [0.0, 120_000.0, np.inf]


def test_a_sudden_mode_uses_lives_that_were_worn_when_records_began_but_no_unknown_ages() -> None:
    prevalent = life(
        **{
            **WORN,
            "evidence": "prevalent",
            "in_fit": False,
            "lower_miles": np.nan,
            "last_good_miles": np.nan,
            "records_begin_miles": 30_000.0,
        }
    )
    assert ages(lives_for_mode(prevalent, "broken")) == [30_000.0, 120_000.0, np.inf]
    assert lives_for_mode(life(evidence="unknown-age"), "broken").empty


def test_a_crack_found_at_a_visit_lies_between_last_good_and_the_visit() -> None:
    cracked = life(**{**WORN, "mode": "broken"})
    assert ages(lives_for_mode(cracked, "broken")) == [0.0, 100_000.0, 120_000.0]


def test_renewed_in_good_time_counts_at_removal() -> None:
    counted, informative, unknown = removals_as_failures(life(**RENEWED))
    assert (informative, unknown) == (1, 0)
    assert ages(lives_for_mode(counted, "wear")) == [0.0, 100_000.0, 110_000.0]


def test_renewed_at_a_good_reading_counts_exactly_there() -> None:
    counted, _, _ = removals_as_failures(
        life(**RENEWED, last_good_miles=110_000.0, lower_miles=110_000.0)
    )
    assert ages(lives_for_mode(counted, "any")) == [0.0, 110_000.0, 110_000.0]


def test_unknown_reasons_count_too_and_other_removals_do_not() -> None:
    unknown = life(
        **{**RENEWED, "evidence": "other-removal", "informative": "no", "removed_reason": "unknown"}
    )
    sale = life(
        **{**RENEWED, "evidence": "other-removal", "informative": "no", "removed_reason": "sale"}
    )
    assert removals_as_failures(unknown)[1:] == (0, 1)
    assert removals_as_failures(sale)[1:] == (0, 0)


def test_every_mode_passes_the_gate(survival: Any) -> None:
    table = survival.table_of_lives(60, seed=2)
    for mode in ("any", "wear", "split", "rough", "broken"):
        assert check_lives(lives_for_mode(table, mode)).n_lives > 0


def test_missing_columns_are_named() -> None:
    with pytest.raises(LivesError, match="lacks the columns evidence"):
        lives_for_mode(life().drop(columns="evidence"), "any")
