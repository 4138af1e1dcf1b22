"""Invented pivots whose bushings follow a known law, for tests of demand. Numbers are invented."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from pivotlife.models.demand_lives import Prospects, prospects
from pivotlife.models.demand_rounds import Habits, Renewals, draw_renewals
from pivotlife.models.life_curves import Curve

SIX = [
    (side, node)
    for side in ("left", "right")
    for node in ("fixed-eye", "shackle-lower", "shackle-upper")
]
ALONE = Habits({}, (0.0, 0.0, 0.0), follows_list=False)
PACE = 100.0


class OneCurve:
    """A book with one life curve, as uncertain as its draws say."""

    def __init__(self, shape: float, scale: float, scales: Sequence[float] | None = None) -> None:
        self.shape, self.scale = shape, scale
        self.scales = np.array(scales if scales is not None else [scale])

    def curve(self, bushing_type: str, duty: str) -> Curve:
        shapes = np.full(len(self.scales), self.shape)
        name = f"{bushing_type}, {duty}"
        return Curve(self.shape, self.scale, shapes, self.scales, name, "", is_bound=False)


def pivots(
    curve: OneCurve, *, units: int = 1, gap: float = 1_000.0, age: float = 0.0, **over: Any
) -> pd.DataFrame:
    """Six pivots a unit, all of one age, with the chances that the curve gives them."""
    rows = [
        {"unit_id": f"U{number:03d}", "axle": 1, "side": side, "node": node}
        for number in range(units)
        for side, node in SIX
    ]
    table = pd.DataFrame(rows)
    table["pivot_id"] = table["unit_id"] + ".1." + table["side"] + "." + table["node"]
    table = table.assign(
        depot="Northpit", duty="regional", bushing_type="threaded", age_miles=age,
        miles_now=age, miles_per_day=PACE, visit_miles=age + gap, next_visit_miles=age + 2 * gap,
        first_day=gap / PACE, second_day=2 * gap / PACE, gap_miles=gap, sale_miles=np.inf,
        announces=False, listed=-1, kit_id="",
    )  # fmt: skip
    used = (age / curve.scale) ** curve.shape
    names = ("chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit")
    for step, name in enumerate((*names, "chance_ahead_1")):
        hazard = ((age + step * gap) / curve.scale) ** curve.shape - used
        table[name] = -np.expm1(-hazard)
    table["chance_lower"] = table["chance_upper"] = table["chance_over_by_next_visit"]
    return table.assign(**over)


def known(table: pd.DataFrame, curve: OneCurve, *, sudden: float = 0.0, laws: int = 1) -> Prospects:
    return prospects(table, curve, {"threaded": sudden}, laws)


def draw(
    table: pd.DataFrame,
    curve: OneCurve,
    habits: Habits = ALONE,
    *,
    horizon: float = 730.0,
    draws: int = 400,
    laws: int = 1,
    sudden: float = 0.0,
    seed: int = 3,
) -> Renewals:
    what = known(table, curve, sudden=sudden, laws=laws)
    return draw_renewals(
        table, what, habits, horizon_days=horizon, draws=draws, laws=laws, seed=seed
    )


def counts(renewals: Renewals) -> np.ndarray:
    """Renewals in each draw."""
    return np.bincount(renewals.draw, minlength=renewals.draws)
