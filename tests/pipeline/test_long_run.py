"""The long-run cost of a mile in a run."""

from __future__ import annotations

from pivotlife.pipeline.long_run import BY_AGE, LONG_RUN_COLUMNS, SIMULATED
from pivotlife.pipeline.results import RunResult


def test_a_run_tells_the_cost_of_a_mile_and_what_it_rests_on(small_run: RunResult) -> None:
    table = small_run.tables["long_run_cost"]
    assert list(table.columns) == list(LONG_RUN_COLUMNS)
    assert set(table["how"]) <= {SIMULATED, BY_AGE}
    assert (table["cost_per_mile"] > 0).all()
    read = table.loc[table["bushing_type"] == "threaded", "share_read"]
    # The invented shop writes down 70 % of what is due every second service.
    assert read.between(0.15, 0.6).all()
    assert (small_run.folder / "long_run_cost.csv").is_file()
