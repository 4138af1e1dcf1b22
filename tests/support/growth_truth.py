"""Chances of an invented fleet beside what was true, standing on a past day (all invented).

The chance speaks of the play at an age, so the truth is asked at the same age: the true age at
which play reaches the limit against the bushing's true age at the miles of each expected visit. A
pin that seizes never gets over the limit. Nothing later than the day is read.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd

from pivotlife.models.growth_cells import fit_laws
from pivotlife.models.growth_table import growth_table
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.life_pace import paced_fits
from pivotlife.models.safety import standing_orders
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline import stages
from pivotlife.pipeline.decision_inputs import scale_bounds
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings


def outcomes(folder: Path, days: list[dt.date]) -> pd.DataFrame:
    """Chances and outcomes of every pivot in service whose bushing the truth knows.

    `at_visit`, `between` (chance of passing the limit between the visits, given not over at the
    first), `over_at_visit`, `over_by_next` (truth), `held` (a safety order stands), `day`.
    """
    settings = load_settings(folder / "settings.toml")
    progress = Progress(stages.COUNT, quiet=True)
    intake = stages.read(settings, progress)
    truth = pd.read_csv(folder / "truth" / "lives.csv", parse_dates=["fitted_date", "end_date"])
    return pd.concat(
        [_standing_on(day, intake, settings, progress, truth) for day in days], ignore_index=True
    )


def _standing_on(day, intake, settings, progress, truth):
    records = stages.build(intake, settings, day, progress)
    histories = records.histories
    bounds = scale_bounds(histories.lives, settings.survival.assumed_shape)
    fits = fit_by_type_and_duty(histories.lives)
    curves = CurveBook(fits, bounds, paced=paced_fits(histories.lives))
    readings = growth_readings(histories)
    laws = fit_laws(readings, histories.lives)
    table = growth_table(histories.in_service, readings, records.visits, laws, curves)
    orders = standing_orders(
        records.evidence.evidence, records.evidence.clearances, histories.in_service
    )
    unit = histories.in_service.set_index("pivot_id")["unit_id"]
    frame = table.assign(unit_id=table["pivot_id"].map(unit), day=day)
    frame = frame.merge(
        records.visits[["unit_id", "visit_miles", "next_visit_miles"]], on="unit_id"
    )
    frame["held"] = frame["pivot_id"].isin(orders["pivot_id"])
    return _with_truth(frame, _in_service(truth, pd.Timestamp(day)))


def _in_service(truth: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    there = (truth["fitted_date"] <= day) & (truth["end_date"] >= day)
    return truth[there].sort_values("life_order").drop_duplicates("pivot_id", keep="last")


def _with_truth(frame: pd.DataFrame, truth: pd.DataFrame) -> pd.DataFrame:
    wanted = ["pivot_id", "bushing_type", "fitted_true_miles", "wear_age_miles", "mode"]
    both = frame.merge(truth[wanted], on="pivot_id", suffixes=("", "_true"))
    both = both[both["chance_over_by_next_visit"].notna()]
    plays = both["mode"] != "seized"
    for name, miles in (("over_at_visit", "visit_miles"), ("over_by_next", "next_visit_miles")):
        age = both[miles] - both["fitted_true_miles"]
        both[name] = plays & (age >= both["wear_age_miles"])
    first, second = both["chance_over_at_visit"], both["chance_over_by_next_visit"]
    between = ((second - first) / (1.0 - first).clip(lower=1e-9)).clip(0.0, 1.0)
    return both.assign(at_visit=first, between=between)


def brier_over_base_rate(chance: pd.Series, happened: pd.Series) -> tuple[float, float]:
    """Return the Brier score over that of the base rate, and its standard error (by pivot)."""
    happened = happened.astype(float)
    base = float(happened.mean())
    score = (chance - happened) ** 2
    spread = float(score.std() / np.sqrt(len(score)))
    return float(score.mean()) / (base * (1 - base)), spread / (base * (1 - base))
