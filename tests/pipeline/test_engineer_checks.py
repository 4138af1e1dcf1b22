"""The engineer's checks of a finished run."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.pipeline.engineer_checks import CHECK_TABLES, usual_limit
from pivotlife.pipeline.results import RunResult


@pytest.mark.parametrize("name", CHECK_TABLES)
def test_every_table_has_rows(small_run: RunResult, name: str) -> None:
    assert len(small_run.tables[name]) > 0


def test_seizures_are_not_announced_by_play(small_run: RunResult) -> None:
    missed = small_run.tables["missed_by_play"].set_index(["bushing_type", "mode"])
    assert missed.loc[("threaded", "wear"), "share_missed"] < 0.3
    assert missed.loc[("rubber-bonded", "split"), "warning"] != ""


def test_sensitivity_begins_with_the_published_b10(small_run: RunResult) -> None:
    comparison = small_run.tables["comparison"]
    pooled = comparison[
        (comparison[["duty", "node", "life_order"]] == "all").all(axis=1)
        & (comparison["mode"] == "any")
        & (comparison["informative_removals"] == "censored")
    ].set_index("bushing_type")
    usual = small_run.tables["sensitivity"].query("assumption == 'last good on record'")
    for row in usual.itertuples():
        assert row.b10 == pytest.approx(pooled.loc[row.bushing_type, "b10"])


def test_the_study_of_the_gauges_is_read(small_run: RunResult) -> None:
    gauge = small_run.tables["gauge"]
    chosen = gauge[gauge["chosen"] & (gauge["quantity"] == "repeatability")]
    assert chosen["readings"].tolist() == [90]
    assert chosen["standard_deviation_mm"].iloc[0] == pytest.approx(0.15, abs=0.05)
    ledger = small_run.tables["ledger"]
    assert (ledger.loc[ledger["table"] == "gauge_study", "fate"] == "context").sum() == 90


def test_the_limit_of_most_readings_counts() -> None:
    assert usual_limit(pd.DataFrame({"limit_mm": [3.2, 3.2, 2.0, np.nan]})) == 3.2
    assert usual_limit(pd.DataFrame({"limit_mm": [np.nan]})) is None
