"""Lives cut into watched stretches of a pivot, and what was replaced there."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.replacements_per_pivot import COLUMNS, replacements_table


def life(unit: int, number: int, fitted: float, removed: float, **over: Any) -> dict[str, Any]:
    pivot = f"MD-{unit:03d}.1.left.fixed-eye"
    row = {
        "life_id": f"{pivot}#{number}",
        "pivot_id": pivot,
        "unit_id": f"MD-{unit:03d}",
        "bushing_type": "threaded",
        "fitted_odometer_miles": fitted,
        "removed_odometer_miles": removed,
        "records_begin_miles": -fitted,
        "last_seen_miles": 300_000.0 - fitted,
        "mode": "wear",
    }
    return {**row, **over}


def fleet(**second: Any) -> pd.DataFrame:
    """Twelve trucks of one pivot; its bushing is replaced at 100,000 miles, seen to 300,000."""
    rows = []
    for unit in range(12):
        rows.append(life(unit, 1, 0.0, 100_000.0))
        rows.append(life(unit, 2, 100_000.0, np.nan, mode="", **second))
    return pd.DataFrame(rows)


def test_one_replacement_a_pivot_is_counted_as_one() -> None:
    table = replacements_table(fleet())
    assert tuple(table.columns) == COLUMNS
    both = table[["counted", "miles", "at_risk", "replacements", "mean_cumulative"]]
    assert both.to_numpy().tolist() == [
        ["all", 100_000.0, 12, 12, 1.0],
        ["failed", 100_000.0, 12, 12, 1.0],
    ]


def test_a_preventive_replacement_is_no_failure() -> None:
    lives = fleet()
    lives.loc[lives["life_id"].str.endswith("#1"), "mode"] = ""
    table = replacements_table(lives)
    assert table["counted"].tolist() == ["all"]


def test_leaving_the_fleet_is_no_replacement() -> None:
    lives = fleet(removed_odometer_miles=300_000.0)
    assert replacements_table(lives)["miles"].max() == 100_000.0


def test_a_converted_pivot_joins_the_other_type() -> None:
    table = replacements_table(fleet(bushing_type="roller"))
    threaded = table[table["bushing_type"] == "threaded"]
    assert threaded["mean_cumulative"].max() == 1.0
    assert "roller" not in set(table["bushing_type"])  # watched, never replaced


def test_records_that_begin_late_are_watched_from_then() -> None:
    lives = fleet()
    lives["records_begin_miles"] = 40_000.0 - lives["fitted_odometer_miles"]
    lives.loc[lives["life_id"].str.endswith("#1"), "fitted_odometer_miles"] = np.nan
    lives.loc[lives["life_id"].str.endswith("#1"), "records_begin_miles"] = np.nan
    table = replacements_table(lives)
    assert table["from_miles"].unique().tolist() == [40_000.0]
    assert table["mean_cumulative"].max() == 1.0


def test_a_bushing_that_begins_before_the_last_ended_is_cut() -> None:
    lives = fleet()
    lives.loc[1, "fitted_odometer_miles"] = 90_000.0
    assert replacements_table(lives)["mean_cumulative"].max() == pytest.approx(1.0)


def test_too_few_trucks_give_no_curve() -> None:
    assert replacements_table(fleet().head(8)).empty
