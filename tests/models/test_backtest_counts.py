"""Caught, missed, needless: each bushing once."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pandas as pd

from pivotlife.models.backtest_counts import BACKTEST_COLUMNS, backtest_table, counts

FLAGGED = {"decision": "replace", "rule": "waiting-costs-more"}


def table(backtests: ModuleType) -> pd.DataFrame:
    def row(name: str, month: int = 0, **over: Any) -> dict[str, Any]:
        day = backtests.DAY + pd.DateOffset(months=month)
        return backtests.pair(unit_id=name, bushing=name, standing_date=day, **over)

    nothing = {"outcome": "unverified", "how": "", "weight": 0.0}
    worn = {"outcome": "worn"}
    return pd.DataFrame(
        [
            row("caught", 0, **FLAGGED, **nothing),
            row("caught", 1, **FLAGGED, **worn, how="tear-down"),
            row("read", 0, **FLAGGED, **worn),
            row("needless", 0, **FLAGGED),
            row("needless", 1, **FLAGGED),
            row("unseen", 0, **FLAGGED, **nothing),
            row("missed", 0, decision="leave", **worn),
            row("measured", 0, decision="leave", **nothing),
            row("measured", 1, decision="measure", **worn),
            row("partner", 0, decision="replace", rule="joins-job"),
            row("ordered", 0, **FLAGGED, **worn, held=True),
            row("open", 0, **FLAGGED, **worn, is_due=False),
            row("left", 0),
        ]
    )


def test_each_bushing_is_counted_once(backtests: ModuleType) -> None:
    assert counts(table(backtests)) == {
        "flagged": 4,
        "worn_at_tear_down": 1,
        "worn_otherwise": 1,
        "needless": 1,
        "never_looked_at": 1,
        "missed": 1,
        "sent_to_measure": 1,
    }


def test_a_later_reading_over_the_limit_is_found_worn(backtests: ModuleType) -> None:
    pairs = table(backtests)
    later = pairs["bushing"].isin(["needless", "left"])
    told = counts(pairs.assign(worn_later_miles=pairs["worn_later_miles"].mask(later, 111_000.0)))
    assert (told["needless"], told["worn_otherwise"]) == (0, 2)
    assert (told["missed"], told["flagged"]) == (2, 4)


def test_the_table_says_it_in_a_sentence(backtests: ModuleType) -> None:
    made = backtest_table(table(backtests))
    assert list(made.columns) == list(BACKTEST_COLUMNS)
    assert made[["bushing_type", "duty"]].to_numpy().tolist() == [
        ["all", "all"],
        ["threaded", "all"],
        ["threaded", "regional"],
    ]
    said = made["sentence"].iloc[0]
    assert said.startswith(
        "Of 4 pivots flagged, 1 was found worn at tear-down and 1 otherwise, 1 was still within"
        " their limit, 1 had no look that tells."
    )
    assert "1 was found worn that the list had left" in said
    assert said.endswith("Too few were found worn to say whether the chances are right.")


def test_chances_that_failed_are_named(backtests: ModuleType) -> None:
    made = backtest_table(backtests.many(1, truth=5.0))
    whole = made.iloc[0]
    assert whole["verdict"] == "not calibrated"
    assert "did not come true" in whole["sentence"]
    held = backtest_table(backtests.many(1)).iloc[0]
    assert "The chances held" in held["sentence"]
