"""One small invented fleet, run once for all tests that look at a finished run."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.run import run
from pivotlife.pipeline.settings_file import load_settings

# The suite gives the same answer twice; `make search` lets hypothesis draw anew each time.
settings.register_profile("settled", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile(os.environ.get("PIVOTLIFE_EXAMPLES", "settled"))

FEW_DRAWS = "\n[survival]\nbootstrap_draws = 20\nfit_check_draws = 5\n"


@pytest.fixture(scope="session")
def last_day() -> dt.date:
    return LAST_RECORDED_DAY


@pytest.fixture(scope="session")
def small_fleet(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """Write an invented fleet and return its settings file; equal arguments share one."""
    written: dict[tuple[tuple[str, object], ...], Path] = {}

    def write(**options: object) -> Path:
        key = tuple(sorted({"units": 60, "seed": 11, **options}.items()))
        if key not in written:
            folder = tmp_path_factory.mktemp("fleet")
            simulate(folder, **dict(key))  # type: ignore[arg-type]  options as simulate names them
            settings = folder / "settings.toml"
            settings.write_text(settings.read_text(encoding="utf-8") + FEW_DRAWS, encoding="utf-8")
            written[key] = settings
        return written[key]

    return write


@pytest.fixture(scope="session")
def small_run(small_fleet: Callable[..., Path], last_day: dt.date) -> RunResult:
    return run(load_settings(small_fleet()), last_day, quiet=True)
