"""Luck that a truck's bushings share: against the normal copula's closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, norm

from cost_lives import MONEY, NEVER, WORK, life
from pivotlife.models.cost_lines import COUNTS
from pivotlife.models.lifetime_cost import duty_cost, truck_counts
from pivotlife.models.redrawn_lives import fleet_likeness
from pivotlife.models.truck_luck import drawn_hardships, shared, shared_given_good
from pivotlife.models.truck_miles import survival
from pivotlife.models.weibull import fit_weibull

ALIKE = 0.3


def both_fail(share: float, likeness: float) -> float:
    """Chance that two bushings of one truck fail, each failing with a chance of `share`."""
    score = norm.ppf(share)
    pair = multivariate_normal([0.0, 0.0], [[1.0, likeness], [likeness, 1.0]])
    return float(pair.cdf([score, score]))


def test_shared_draws_stay_even_and_are_alike_as_said() -> None:
    random = np.random.default_rng(1)
    hardship = random.standard_normal((40_000, 1))
    even = shared(random.uniform(1e-12, 1.0, (40_000, 2)), hardship, np.full(1, ALIKE))
    assert np.quantile(even, [0.1, 0.5, 0.9]) == pytest.approx([0.1, 0.5, 0.9], abs=0.006)
    score = norm.ppf(even)
    # Standard error of a correlation: (1 - 0.09) / 200.
    assert np.corrcoef(score.T)[0, 1] == pytest.approx(ALIKE, abs=4 * 0.91 / 200)
    plain = random.uniform(size=7)
    assert shared(plain, hardship[:7, 0], np.zeros(1)) is plain


def test_the_spread_of_one_truck_is_that_of_the_copula() -> None:
    """Six bushings seen once, at 100,000 of 110,000 miles: failures a truck, mean and variance.

    Var = 6 F (1 - F) + 30 (P(two fail) - F^2), the bivariate normal's own integral.
    """
    one = replace(life("threaded", 2.2, 150_000.0, draws=1, spread=0.0), likeness=ALIKE)
    trucks = 20_000
    made = truck_counts(
        replace(WORK, gap_miles=100_000.0, horizon_miles=110_000.0),
        *([one], [NEVER], np.zeros(trucks, dtype=int), 4),
    )
    finds = made[0, :, 1:, COUNTS.index("late_finds")].sum(axis=1)
    share = float(1.0 - survival(np.array(100_000.0), np.array(2.2), np.array(150_000.0)))
    variance = 6 * share * (1 - share) + 30 * (both_fail(share, ALIKE) - share**2)
    assert finds.mean() == pytest.approx(6 * share, abs=4 * np.sqrt(variance / trucks))
    assert finds.var() == pytest.approx(variance, rel=0.04)
    assert variance > 1.8 * 6 * share * (1 - share)


def test_a_truck_stays_itself_over_later_bushings() -> None:
    """What one truck takes early and late goes together; hard trucks take more than their share.

    In the long run a truck of hardship z renews a pivot every m(z) miles and half a gap, m(z) its
    mean life; renewals of the average truck are the mean of miles / (m(z) + gap / 2).
    """
    shape, scale, gap = 2.2, 90_000.0, WORK.gap_miles
    one = replace(life("threaded", shape, scale, draws=1, spread=0.0), likeness=ALIKE)
    trucks = 1_500
    work = replace(WORK, horizon_miles=1_300_000.0)
    made = truck_counts(work, [one], [NEVER], np.zeros(trucks, dtype=int), 4)
    kits = made[0, :, 1:, COUNTS.index("kits")]
    early, late = kits[:, 4:10].sum(axis=1), kits[:, 10:18].sum(axis=1)
    grid = np.linspace(-5.0, 5.0, 401)
    ages = np.linspace(500.0, 400_000.0, 800)
    lasted = norm.ppf(survival(ages, np.array(shape), np.array(scale)))
    root, rest = np.sqrt(ALIKE), np.sqrt(1.0 - ALIKE)
    mean = norm.cdf((lasted - root * grid[:, None]) / rest).sum(axis=1) * 500.0 + 250.0
    weight = norm.pdf(grid) / norm.pdf(grid).sum()
    expected = 6 * 8 * WORK.annual_miles * float(weight @ (1.0 / (mean + gap / 2.0)))
    assert late.mean() == pytest.approx(expected, abs=4 * late.std() / np.sqrt(trucks))
    assert np.corrcoef(early, late)[0, 1] > 0.5


def test_lives_known_to_reach_an_age_reach_it() -> None:
    random = np.random.default_rng(2)
    even = random.uniform(1e-12, 1.0, 30_000)
    lasted = np.full(1, 0.4)
    for hardship in (-2.0, 0.0, 2.0):
        left = shared_given_good(even, np.full(1, hardship), np.full(1, ALIKE), lasted)
        assert left.max() <= 0.4
        assert left.min() > 0.0
    assert shared_given_good(even, np.zeros(1), np.zeros(1), lasted) == pytest.approx(0.4 * even)


def test_what_is_known_of_a_truck_tells_of_its_other_bushings() -> None:
    """Drawn hardships against their exact mean, and the life of one bushing given five others.

    Five were good at an age that 60 % reach, the sixth is new: the chance that it lasts that long
    is P(six last) / P(five last) of the copula, here by drawing a million trucks outright.
    """
    random = np.random.default_rng(3)
    trucks, share = 40_000, 0.6
    lasted = np.where(np.arange(6) < 5, share, 1.0) * np.ones((trucks, 1))
    z = drawn_hardships(
        random.uniform(size=trucks),
        np.arange(trucks),
        np.full(1, ALIKE),
        lasted,
        np.zeros((trucks, 6)),
    )
    sixth = shared(random.uniform(1e-12, 1.0, trucks), z, np.full(1, ALIKE))
    grid = np.linspace(-8.0, 8.0, 4_001)
    each = norm.cdf((norm.ppf(share) - np.sqrt(ALIKE) * grid) / np.sqrt(1.0 - ALIKE))
    weight = norm.pdf(grid) * each**5
    exact = float((weight * each).sum() / weight.sum())
    assert (sixth < share).mean() == pytest.approx(exact, abs=4 * 0.45 / np.sqrt(trucks))
    mean = float((weight * grid).sum() / weight.sum())
    assert z.mean() == pytest.approx(mean, abs=4 * z.std() / np.sqrt(trucks))
    assert exact > share + 0.1


def test_a_bushing_that_is_over_tells_of_a_hard_truck() -> None:
    ones, none = np.ones((4_000, 6)), np.zeros((4_000, 6))
    even = np.random.default_rng(4).uniform(size=4_000)
    args = (even, np.arange(4_000), np.full(1, ALIKE))
    plain = drawn_hardships(*args, ones, none)
    assert plain.mean() == pytest.approx(0.0, abs=4 / np.sqrt(4_000))
    assert plain.std() == pytest.approx(1.0, abs=0.04)
    over = none.copy()
    over[:, 0] = 0.8
    assert drawn_hardships(*args, ones, over).mean() > 0.5


def watched(trucks: int, spread: float, seed: int) -> pd.DataFrame:
    """First lives of six pivots a truck, seen every 15,000 of 400,000 miles.

    Lives are Weibull (2.6, 280,000 miles) times a lognormal factor of the truck's own.
    """
    random = np.random.default_rng(seed)
    age = 280_000.0 * random.weibull(2.6, (trucks, 6))
    age *= np.exp(spread * random.standard_normal((trucks, 1)))
    lower = np.floor(np.minimum(age, 390_000.0) / 15_000.0) * 15_000.0
    upper = np.where(age < 390_000.0, lower + 15_000.0, np.inf)
    unit = np.repeat(np.arange(trucks), 6)
    lives = {"lower_miles": lower.ravel(), "upper_miles": upper.ravel(), "unit_id": unit}
    return pd.DataFrame(lives)


def test_the_range_of_one_truck_s_cost_is_right() -> None:
    """A fleet whose trucks differ by a factor of spread 0.2: eight in ten within P10 to P90.

    Curve and likeness come from 400 trucks that were watched; the trucks whose cost is foretold are
    others, driven by the true law with a factor of their own. Wear taken as independent puts little
    more than half of them within its range.
    """
    fit = fit_weibull(watched(400, 0.2, 6))
    likeness = fleet_likeness([fit])
    trucks = 3_000
    work = replace(WORK, horizon_miles=600_000.0)
    factor = np.exp(0.2 * np.random.default_rng(5).standard_normal(trucks))
    true = life("threaded", 2.6, 280_000.0, draws=trucks, spread=0.0)
    said = life("threaded", fit.shape, fit.scale, draws=1, spread=0.0)
    held = {"threaded": NEVER}
    own = replace(true, scales=true.scales * factor)
    each = duty_cost(work, [own], MONEY, held=held, seed=3, trucks_per_draw=1)
    cost = each.whole(MONEY)[0]
    within = {}
    for alike in (likeness, 0.0):
        foretold = replace(said, likeness=alike)
        made = duty_cost(work, [foretold], MONEY, held=held, seed=8, trucks_per_draw=trucks)
        low, high = np.quantile(made.whole(MONEY)[0], (0.1, 0.9))
        within[alike] = float(((cost >= low) & (cost <= high)).mean())
    assert within[likeness] == pytest.approx(0.8, abs=0.05)
    assert within[0.0] < 0.65
