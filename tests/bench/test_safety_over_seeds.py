"""Twenty invented fleets with faults: nothing over its limit is left, nothing broken drives on."""

from __future__ import annotations

from pathlib import Path

import pytest

from danger_check import assert_nothing_dangerous_is_left, list_alone
from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate

SEEDS = range(101, 121)

pytestmark = pytest.mark.slow


def test_nothing_dangerous_is_left(tmp_path: Path) -> None:
    dangers = 0
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        simulate(folder, seed=seed)
        settings = folder / "settings.toml"
        shortlist = list_alone(settings, LAST_RECORDED_DAY)
        dangers += assert_nothing_dangerous_is_left(settings, shortlist, LAST_RECORDED_DAY)
    print(f"\n{len(SEEDS)} seeds: {dangers} pivots over their limit or units to park, none left")
    assert dangers > 100
