"""Twenty invented fleets with faults: nothing over its limit is left, nothing broken drives on."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path

import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.pipeline.run import run
from pivotlife.pipeline.settings_file import load_settings

SEEDS = range(101, 121)

pytestmark = pytest.mark.slow


def checker() -> Callable[..., int]:
    """Take the check from the default suite, so that both look with the same eyes."""
    place = Path(__file__).parent.parent / "pipeline" / "test_run.py"
    spec = importlib.util.spec_from_file_location("run_checks", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    check: Callable[..., int] = module.assert_nothing_dangerous_is_left
    return check


def test_nothing_dangerous_is_left(tmp_path: Path) -> None:
    check = checker()
    dangers = 0
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        simulate(folder, seed=seed)
        result = run(load_settings(folder / "settings.toml"), LAST_RECORDED_DAY, quiet=True)
        dangers += check(folder / "settings.toml", result, LAST_RECORDED_DAY)
    print(f"\n{len(SEEDS)} seeds: {dangers} pivots over their limit or units to park, none left")
    assert dangers > 100
