"""How often the intervals of B10 hold the truth, with few failures.

A thousand fleets of independent pivots and a thousand of six pivots a truck, 10 to 40 failures in
each; a fleet outside these numbers is drawn again. Lives follow a Weibull law and are seen as the
product sees them: looked at about every 25,000 miles, three in ten of them from a later age on, one
failure in ten known to the mile, the others in a gap, the rest not failed when last looked at.
Pivots of one truck share a factor on their life whose logarithm has the spread 0.2, as in the
invented fleet; the truth is then the age by which one in ten of all their bushings has failed.

`PIVOTLIFE_BENCH_FLEETS` sets fewer fleets.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.special import roots_hermitenorm

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import check_lives
from pivotlife.models.type_cell import QUANTITIES, Study, fit_numbers
from pivotlife.models.weibull import Method, fit_weibull

FLEETS = int(os.environ.get("PIVOTLIFE_BENCH_FLEETS", "1000"))
SHAPE, SCALE, GAP, LATE, EXACT = 2.2, 300_000.0, 25_000.0, 0.3, 0.1
FEWEST, MOST = 10, 40
LEVEL, DRAWS = 0.95, 200
#: Two standard errors of the share, where fewer fleets are drawn than the targets are meant for.
NOISE = 2.0 * np.sqrt(LEVEL * (1.0 - LEVEL) / FLEETS)
METHODS: Final[tuple[Method, ...]] = ("profile", "wald", "sandwich")

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Likeness:
    """Pivots of a truck, and the spread of the logarithm of the factor that they share."""

    pivots: int
    spread: float

    def b10(self) -> float:
        """Return the age by which a tenth of all bushings have failed."""
        nodes, weights = roots_hermitenorm(60)
        scales = SCALE * np.exp(self.spread * nodes)
        weights = weights / weights.sum()

        def over(miles: float) -> float:
            return float(weights @ np.exp(-((miles / scales) ** SHAPE))) - 0.9

        return float(brentq(over, 1e-3 * SCALE, 3.0 * SCALE))


def drawn(random: np.random.Generator, likeness: Likeness, expected: float) -> pd.DataFrame:
    """Return one fleet's lives; about ``expected`` of them fail."""
    trucks = max(2, round(expected / (0.37 * likeness.pivots)))
    unit = np.repeat(np.arange(trucks), likeness.pivots)
    factor = np.exp(likeness.spread * random.standard_normal(trucks))[unit]
    start = np.where(random.random(trucks) < LATE, random.uniform(0.0, 0.5 * SCALE, trucks), 0.0)
    end = start + random.uniform(0.2 * SCALE, 1.2 * SCALE, trucks)
    age = SCALE * factor * random.weibull(SHAPE, unit.size)
    visits = np.cumsum(GAP * random.uniform(0.8, 1.2, (trucks, 80)), axis=1) + start[:, None]
    visits = np.where(visits <= end[:, None], visits, np.inf)[unit]
    before = np.where(visits < age[:, None], visits, -np.inf).max(axis=1)
    found = visits[np.arange(unit.size), np.sum(visits < age[:, None], axis=1)]
    # A bushing counts from the first visit that found it good, unless it was watched from new.
    late = start[unit] > 0.0
    entry = np.where(late, visits[:, 0], 0.0)
    lower = np.where(late, before, np.maximum(before, 0.0))
    exact = np.isfinite(found) & (random.random(unit.size) < EXACT)
    frame = pd.DataFrame(
        {
            "unit_id": unit,
            "entry_miles": entry,
            "lower_miles": np.where(exact, age, lower),
            "upper_miles": np.where(exact, age, found),
        }
    )
    seen = np.isfinite(lower) & np.isfinite(entry) & ((lower > entry) | np.isfinite(found))
    chosen: pd.DataFrame = frame[seen & (age > entry)]
    return chosen


def held(likeness: Likeness, seed: int) -> tuple[dict[str, tuple[float, float]], int, str]:
    """Return the intervals of B10 of one fleet by method, its failures, the default's method."""
    random = np.random.default_rng(seed)
    while True:
        lives = check_lives(drawn(random, likeness, random.uniform(FEWEST + 2.0, MOST - 2.0)))
        if FEWEST <= lives.n_failures <= MOST:
            break
    try:
        fit = fit_weibull(lives)
    except NoMaximumError:
        return {}, lives.n_failures, "none"
    numbers, method, _ = fit_numbers(fit, Study(DRAWS, seed, LEVEL, {}))
    found = {"default": (numbers["b10_lower"], numbers["b10_upper"])}
    for name in METHODS:
        limits = fit.interval(QUANTITIES["b10"], LEVEL, name)
        found[name] = (limits.lower, limits.upper)
    return found, lives.n_failures, method


def study(likeness: Likeness, seeds: range) -> pd.DataFrame:
    """Return by method how often B10 is held and on which side it is missed."""
    truth = likeness.b10()
    found = [held(likeness, seed) for seed in seeds]
    methods = pd.Series([method for _, _, method in found]).value_counts().to_dict()
    print(
        f"\n{len(found)} fleets, {likeness.pivots} pivots a truck, spread {likeness.spread}: "
        f"B10 {truth:,.0f}, {np.mean([n for _, n, _ in found]):.1f} failures on average, "
        f"default by {methods}"
    )
    rows = []
    for name in ("default", *METHODS):
        limits = np.array([own.get(name, (np.nan, np.nan)) for own, _, _ in found])
        low, high = limits.T
        share = np.mean((low <= truth) & (truth <= high))
        rows.append(
            {
                "method": name,
                "held": share,
                "standard_error": np.sqrt(share * (1.0 - share) / len(found)),
                "below_truth": np.mean(high < truth),
                "above_truth": np.mean(low > truth),
                "no_upper_limit": np.mean(np.isinf(high)),
            }
        )
    table = pd.DataFrame(rows).set_index("method")
    print(table.round(4).to_string())
    return table


def test_profile_intervals_of_independent_pivots_hold_b10() -> None:
    table = study(Likeness(pivots=1, spread=0.0), range(FLEETS))
    assert table.loc["default", "held"] == table.loc["profile", "held"]
    assert table.loc["profile", "held"] == pytest.approx(LEVEL, abs=max(0.02, NOISE))
    # Wald's limits miss on one side: the reason why they are not the default.
    above = table["above_truth"]
    assert above["wald"] >= above["profile"]


def test_default_intervals_of_six_like_pivots_a_truck_hold_b10() -> None:
    table = study(Likeness(pivots=6, spread=0.2), range(FLEETS))
    assert table.loc["default", "held"] == pytest.approx(LEVEL, abs=max(0.03, NOISE))
