"""B10 of fleets that renew in good time: imputed beside both naive counts, against the truth.

Mode wear, each duty fitted by itself and the log errors pooled over duties by lives. The truth is
the age by which a tenth of the fleet's own bushings truly wear out, worn bores and bad fittings
among them, because the records hold these as well. Beside it stand the law of the type on every
pivot of the duty in a sound bore, which leaves them out, and `completed truly`: the same table of
lives with the true age of every bushing that was drawn in the place of its draws, up to the same
last look, fitted the same way: what the draws alone have to answer for. Twenty seeds of 540 trucks
a share.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth_cells import fit_laws
from pivotlife.models.imputed_lives import completed_lives, looked_at_until
from pivotlife.models.mode_lives import lives_for_mode, removals_as_failures
from pivotlife.models.weibull import fit_weibull
from pivotlife.pipeline import stages
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings

pytestmark = pytest.mark.slow
SHARES = (0.8, 0.7, 0.55)
SEEDS = range(11, 31)
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


def truly_completed(
    lives: pd.DataFrame, drawn: frozenset[str], lived: pd.DataFrame
) -> pd.DataFrame:
    """Give every life that was drawn the true age of its bushing, found by pivot and fitting."""
    asked = lives[lives["life_id"].isin(drawn)].astype({"fitted_odometer_miles": float})
    asked = asked.reset_index().sort_values("fitted_odometer_miles")
    true = lived.sort_values("fitted_true_miles").astype({"fitted_true_miles": float})
    pairs = pd.merge_asof(
        asked[["index", "pivot_id", "entry_miles", "fitted_odometer_miles"]],
        true[["pivot_id", "fitted_true_miles", "wear_age_miles"]],
        left_on="fitted_odometer_miles",
        right_on="fitted_true_miles",
        by="pivot_id",
        direction="nearest",
    ).set_index("index")
    entry = pairs["entry_miles"].astype(float).fillna(0.0)
    age, until = pairs["wear_age_miles"], looked_at_until(lives).loc[pairs.index]
    end = age.clip(upper=until)
    table = lives.copy()
    table.loc[pairs.index, "lower_miles"] = end.clip(lower=entry)
    table.loc[pairs.index, "upper_miles"] = age.where(age <= until, np.inf)
    table.loc[pairs.index, "mode"] = np.where(age <= until, "wear", "")
    table.loc[pairs.index, "in_fit"] = end > entry
    return table


def worn_by_a_tenth(lived: pd.DataFrame, kind: str, duty: str) -> float:
    """Log of the age by which a tenth of the bushings of a type truly wear out in a duty."""
    cell = lived[(lived["bushing_type"] == kind) & (lived["duty"] == duty)]
    return float(np.log(cell["wear_age_miles"].quantile(0.1)))


def errors(folder: Path, told: Histories) -> dict[tuple[str, str], float]:
    """Pooled log error of B10 by type and way of counting."""
    readings = growth_readings(told)
    laws = fit_laws(readings, told.lives)
    completed = completed_lives(told.lives, readings, laws)
    law = pd.read_csv(folder / "truth" / "type_truth.csv")
    law = law[law["mode"] == "wear"].set_index(["bushing_type", "duty"])["b10"]
    lived = pd.read_csv(folder / "truth" / "lives.csv")
    ways = {
        "completed truly": [
            truly_completed(told.lives, completed.drawn | completed.read_again, lived)
        ],
        "censored": [told.lives],
        "imputed": list(completed.tables),
        "counted": [removals_as_failures(told.lives)[0]],
    }
    found = {}
    for kind in ("threaded", "roller"):
        lives = told.lives[told.lives["bushing_type"] == kind]["duty"].value_counts()
        truth = pd.Series({duty: worn_by_a_tenth(lived, kind, duty) for duty in DUTIES})
        sound = pd.Series({duty: np.log(law[kind, duty]) for duty in DUTIES})
        for way, tables in ways.items():
            b10 = pd.Series({duty: log_b10(tables, kind, duty) for duty in DUTIES})
            weight = lives.reindex(DUTIES).where(b10.notna())
            found[kind, way] = float(((b10 - truth) * weight).sum() / weight.sum())
            if way == "imputed":
                beside = float(((b10 - sound) * weight).sum() / weight.sum())
                found[kind, "imputed, against sound bores"] = beside
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
        error = off.std(ddof=1) / len(off) ** 0.5
        print(f"renewed at {share}: {kind}, {way}: B10 {off.mean():+.1%} (se {error:.1%})")
    for kind in ("threaded", "roller"):
        imputed = table[kind, "imputed"]
        assert abs(imputed.mean()) < 0.05
        assert abs(imputed.mean()) < abs(table[kind, "censored"].mean())
        assert abs(imputed.mean()) < abs(table[kind, "counted"].mean())
        assert abs((imputed - table[kind, "completed truly"]).mean()) < 0.05
