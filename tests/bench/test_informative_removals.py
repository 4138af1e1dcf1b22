"""B10 of fleets that renew in good time: imputed beside both naive counts, against the truth.

Mode wear, each duty fitted by itself and the log errors pooled over duties by lives. Reduced to
two seeds of 540 trucks a share.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth_cells import fit_laws
from pivotlife.models.imputed_lives import completed_lives
from pivotlife.models.mode_lives import lives_for_mode, removals_as_failures
from pivotlife.models.weibull import fit_weibull
from pivotlife.pipeline import stages
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings

pytestmark = pytest.mark.slow
SHARES = (0.8, 0.7, 0.55)
SEEDS = (11, 12)
DUTIES = ("line-haul", "regional", "vocational")


def histories(folder: Path, seed: int, share: float) -> Histories:
    simulate(folder, units=540, seed=seed, renew_at=share)
    settings = load_settings(folder / "settings.toml")
    progress = Progress(stages.COUNT, quiet=True)
    intake = stages.read(settings, progress)
    return stages.build(intake, settings, LAST_RECORDED_DAY, progress).histories


def log_b10(tables: list[pd.DataFrame], kind: str, duty: str) -> float:
    found = []
    for table in tables:
        cell = table[(table["bushing_type"] == kind) & (table["duty"] == duty)]
        try:
            found.append(np.log(fit_weibull(lives_for_mode(cell, "wear")).quantile(0.1)))
        except NoMaximumError:
            return float("nan")
    return float(np.mean(found))


def errors(folder: Path, told: Histories) -> dict[tuple[str, str], float]:
    """Pooled log error of B10 by type and way of counting."""
    readings = growth_readings(told)
    laws = fit_laws(readings, told.lives)
    completed = completed_lives(told.lives, readings, laws)
    truth = pd.read_csv(folder / "truth" / "type_truth.csv")
    truth = truth[truth["mode"] == "wear"].set_index(["bushing_type", "duty"])["b10"]
    ways = {
        "censored": [told.lives],
        "imputed": list(completed.tables),
        "counted": [removals_as_failures(told.lives)[0]],
    }
    found = {}
    for kind in ("threaded", "roller"):
        lives = told.lives[told.lives["bushing_type"] == kind]["duty"].value_counts()
        for way, tables in ways.items():
            off = pd.Series({d: log_b10(tables, kind, d) - np.log(truth[kind, d]) for d in DUTIES})
            weight = lives.reindex(DUTIES).where(off.notna())
            found[kind, way] = float((off * weight).sum() / weight.sum())
    return found


@pytest.mark.parametrize("share", SHARES)
def test_b10_of_fleets_that_renew_in_good_time(tmp_path: Path, share: float) -> None:
    rows = []
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        rows.append(errors(folder, histories(folder, seed, share)))
    table = pd.DataFrame(rows)
    for kind, way in table.columns:
        off = np.expm1(table[kind, way])
        print(
            f"renewed at {share}: {kind}, {way}: B10 {off.mean():+.1%}"
            f" (seeds {off.round(3).tolist()})"
        )
    for kind in ("threaded", "roller"):
        imputed = abs(table[kind, "imputed"].mean())
        assert imputed < 0.2
        assert imputed < abs(table[kind, "counted"].mean())
