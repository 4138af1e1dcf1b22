"""The invented gauge study: whole, readable, and with the fleet's own gauge error."""

from __future__ import annotations

import numpy as np

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_gauge_study import gauge_study_table
from pivotlife.models.gauge import gauge_study


def test_every_inspector_reads_every_part_three_times() -> None:
    table = gauge_study_table(7)
    assert len(table) == 90
    assert table.groupby(["part", "inspector"])["trial"].nunique().eq(3).all()
    assert not table.duplicated(["part", "inspector", "trial"]).any()
    assert table.equals(gauge_study_table(7))
    assert not table.equals(gauge_study_table(8))


def test_the_gauge_error_of_the_fleet_is_found_in_it() -> None:
    spreads = [
        gauge_study(
            gauge_study_table(seed).rename(columns={"free_play": "free_play_mm"})
        ).pooled.repeatability
        for seed in range(20)
    ]
    # 78 degrees of freedom a study: the standard error of the mean of 20 is 0.003.
    assert np.mean(spreads) == np.clip(
        np.mean(spreads), sc.GAUGE_SD_MM - 0.01, sc.GAUGE_SD_MM + 0.01
    )
