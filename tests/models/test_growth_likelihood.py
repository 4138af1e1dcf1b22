"""The growth likelihood against brute-force integration that shares no code with it."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.stats import gumbel_r, multivariate_normal, norm

from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_law import Density, GrowthLaw, law_from_vector
from pivotlife.models.growth_likelihood import Likelihood, log_likelihood
from pivotlife.models.growth_readings import growth_readings

Floats = NDArray[np.float64]
DENSITIES: tuple[Density, ...] = ("normal", "weibull")


def a_law(density: Density, **overrides: float) -> GrowthLaw:
    values = {
        "alpha_mm": 0.62,
        "sigma_a_mm": 0.08,
        "sigma_e_mm": 0.14,
        "exponent": 1.3,
        "log_rate_centre": 0.75,
        "log_rate_spread": 0.5,
        "load_factor": 0.75,
        "grease_offset_mm": -0.2,
    } | overrides
    return GrowthLaw(density=density, miles_scale=100_000.0, **values)


def column(life: pd.DataFrame, name: str) -> Floats:
    return np.asarray(life[name], dtype=float) if name in life else np.zeros(len(life))


def flag(life: pd.DataFrame, name: str, word: str) -> Floats:
    words = list(life[name]) if name in life else [""] * len(life)
    return np.array([float(found == word) for found in words])


def brute_measured(law: GrowthLaw, life: pd.DataFrame) -> float:
    """Log-likelihood of one life: the full covariance of its readings, a fine grid over log r."""
    load = 1.0 + (law.load_factor - 1.0) * flag(life, "load_state", "loaded")
    offset = law.grease_offset_mm * flag(life, "greased_before", "yes")
    x = (column(life, "miles") / law.miles_scale) ** law.exponent
    noise = law.sigma_e_mm**2 + column(life, "resolution_mm") ** 2 / 12
    covariance = law.sigma_a_mm**2 * np.outer(load, load) + np.diag(noise)
    kind = norm if law.density == "normal" else gumbel_r

    def log_density(log_r: Floats) -> Floats:
        mean = np.outer(np.exp(log_r), load * x)
        left = column(life, "free_play_mm") - offset - load * law.alpha_mm - mean
        found = multivariate_normal(np.zeros(len(x)), covariance).logpdf(left)
        by_law = kind.logpdf(log_r, law.log_rate_centre, law.log_rate_spread)
        return np.asarray(found + by_law)

    low, high = (law.log_rate_centre + law.log_rate_spread * end for end in (-9.0, 30.0))
    for _ in range(4):
        log_r = np.linspace(low, high, 6_001)
        value = log_density(log_r)
        seen = np.flatnonzero(value > value.max() - 60.0)
        low, high = log_r[max(seen[0] - 1, 0)], log_r[min(seen[-1] + 1, 6_000)]
    top = value.max()
    return float(top + np.log(np.exp(value - top).sum() * (log_r[1] - log_r[0])))


def brute_with_zeros(law: GrowthLaw, life: pd.DataFrame) -> float:
    """Log-likelihood of one life by a fine grid over starting play and log r."""
    log_r = law.log_rate_centre + law.log_rate_spread * np.linspace(-8, 12, 1_201)
    a = law.alpha_mm + law.sigma_a_mm * np.linspace(-7, 7, 141)
    kind = norm if law.density == "normal" else gumbel_r
    value = kind.logpdf(log_r, law.log_rate_centre, law.log_rate_spread)[:, None]
    value = value + norm.logpdf(a, law.alpha_mm, law.sigma_a_mm)[None, :]
    columns = (column(life, name) for name in ("miles", "free_play_mm", "resolution_mm"))
    for miles, play, width in zip(*columns, strict=True):
        sd = np.sqrt(law.sigma_e_mm**2 + width**2 / 12)
        expected = a[None, :] + np.exp(log_r)[:, None] * (miles / law.miles_scale) ** law.exponent
        if play <= width / 2:
            below = norm.cdf((width / 2 - expected) / sd)
            with np.errstate(divide="ignore"):
                seen = np.log(law.not_measured + (1.0 - law.not_measured) * below)
            value = value + seen
        else:
            value = value + norm.logpdf(play, expected, sd)
    top = value.max()
    cell = (log_r[1] - log_r[0]) * (a[1] - a[0])
    return float(top + np.log(np.exp(value - top).sum() * cell))


@pytest.mark.parametrize("density", DENSITIES)
@pytest.mark.parametrize("exponent", [1.3, 3.0])
def test_fifty_pivots_equal_brute_force_to_one_millionth(
    factory: ModuleType, density: Density, exponent: float
) -> None:
    frame = factory.readings(
        50,
        11,
        density=density,
        exponent=exponent,
        alpha=1.2,
        loaded=0.3,
        greased=0.3,
        resolution=0.1,
    )
    law = a_law(density, exponent=exponent, alpha_mm=1.2)
    found = log_likelihood(law, growth_readings(frame)).by_life
    expected = np.array([brute_measured(law, life) for _, life in frame.groupby("pivot_id")])
    assert len(found) == 50
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-7)
    assert found.sum() == pytest.approx(expected.sum(), abs=1e-6)


@pytest.mark.parametrize("density", DENSITIES)
@pytest.mark.parametrize("not_measured", [0.0, 0.04, 0.3])
def test_lives_with_zeros_equal_brute_force(
    factory: ModuleType, density: Density, not_measured: float
) -> None:
    frame = factory.readings(
        40, 3, density=density, alpha=0.1, sigma_e=0.15, exponent=3.0, resolution=0.05, gap=12_000.0
    )
    law = a_law(density, exponent=2.8, alpha_mm=0.1, sigma_e_mm=0.15, not_measured=not_measured)
    if not_measured:
        # Some zeros beside high readings, as where nobody measured.
        frame.loc[(frame.index % 7 == 3) & (frame.free_play_mm < 3.0), "free_play_mm"] = 0.0
    zeros = (frame.free_play_mm <= 0.025).groupby(frame.pivot_id).sum()
    assert (zeros == 1).sum() >= 4
    assert (zeros >= 2).sum() >= 4
    found = log_likelihood(law, growth_readings(frame)).by_life
    lives = [pivot for pivot in range(40) if zeros[pivot] > 0]
    expected = [brute_with_zeros(law, frame[frame.pivot_id == pivot]) for pivot in lives]
    np.testing.assert_allclose(found[lives], expected, rtol=0, atol=2e-4)


@pytest.mark.parametrize("density", DENSITIES)
@pytest.mark.parametrize(("n_nodes", "not_measured"), [(7, 0.0), (11, 0.0), (11, 0.05)])
def test_the_gradient_is_that_of_the_likelihood(
    factory: ModuleType, density: Density, n_nodes: int, not_measured: float
) -> None:
    frame = factory.readings(
        120, 5, density=density, alpha=0.2, loaded=0.4, greased=0.4, resolution=0.2
    )
    data = growth_readings(frame)
    assert len(data.censored_life) > 5
    vector = a_law(density, alpha_mm=0.25).vector()

    def found(at: Floats) -> Likelihood:
        return log_likelihood(law_from_vector(at, density, 1e5, not_measured), data, n_nodes)

    gradient = found(vector).gradient
    for j in range(8):
        step = np.eye(8)[j] * 1e-4
        ahead, behind = (found(vector + sign * step).total for sign in (1, -1))
        assert gradient[j] == pytest.approx((ahead - behind) / 2e-4, rel=2e-3, abs=0.2)


def test_a_life_without_reading_adds_nothing(factory: ModuleType) -> None:
    frame = factory.readings(20, 2)
    more = pd.concat(
        [frame, pd.DataFrame({"pivot_id": [99], "miles": [5e4], "free_play_mm": [np.nan]})]
    )
    for density in DENSITIES:
        law = a_law(density)
        alone = log_likelihood(law, growth_readings(frame))
        found = log_likelihood(law, growth_readings(more))
        assert found.by_life[-1] == pytest.approx(0.0, abs=1e-6)
        np.testing.assert_allclose(found.gradient, alone.gradient, rtol=1e-5, atol=1e-4)


@pytest.mark.parametrize("density", DENSITIES)
def test_the_law_of_all_bushings_equals_drawing(density: Density) -> None:
    law = a_law(density)
    random = np.random.default_rng(8)
    start = random.normal(law.alpha_mm, law.sigma_a_mm, 400_000)
    rate = law.rate_quantile(random.random(400_000))
    for miles in (60_000.0, 150_000.0):
        share = np.mean(start + rate * law.powered(np.array(miles)) >= 3.0)
        assert law.chance_over(3.0, np.array(miles)) == pytest.approx(share, abs=0.003)
    for probability in (0.05, 0.5):
        at = law.crossing_miles(3.0, probability)
        assert law.chance_over(3.0, np.array(at)) == pytest.approx(probability, abs=1e-9)


def test_a_weibull_density_makes_crossing_ages_weibull() -> None:
    law = a_law("weibull", sigma_a_mm=1e-9)
    ages = np.array([law.crossing_miles(3.0, p) for p in (0.1, 0.5, 0.9)])
    line = np.log(-np.log(1 - np.array([0.1, 0.5, 0.9])))
    slopes = np.diff(line) / np.diff(np.log(ages))
    np.testing.assert_allclose(slopes, law.weibull_shape(), rtol=1e-6)


ASKED = ((0.6, 3e4), (3.0, 1.2e5), (5.0, 1.5e5))


def brute_chances(law: GrowthLaw, life: pd.DataFrame) -> list[float]:
    """Chances of being over, by a fine grid over starting play and the rate's probability."""
    n = 1_500
    tail = np.geomspace(1e-9, 0.5 / n, 120)
    edges = np.unique(np.r_[tail, (np.arange(n) + 0.5) / n, 1.0 - tail])
    rate = law.rate_quantile(0.5 * (edges[1:] + edges[:-1]))
    a = law.alpha_mm + law.sigma_a_mm * np.linspace(-5, 5, 121)
    value = np.log(np.diff(edges))[:, None] + norm.logpdf(a, law.alpha_mm, law.sigma_a_mm)[None, :]
    columns = (column(life, name) for name in ("miles", "free_play_mm", "resolution_mm"))
    for age, play, width in zip(*columns, strict=True):
        sd = np.sqrt(law.sigma_e_mm**2 + width**2 / 12)
        expected = a[None, :] + rate[:, None] * (age / law.miles_scale) ** law.exponent
        if play <= width / 2:
            below = norm.cdf((width / 2 - expected) / sd)
            with np.errstate(divide="ignore"):
                seen = np.log(law.not_measured + (1.0 - law.not_measured) * below)
            value = value + seen
        else:
            value = value - 0.5 * ((play - expected) / sd) ** 2
    weight = np.exp(value - value.max())
    weight /= weight.sum()
    grown = rate[:, None] * (np.array([miles for _, miles in ASKED]) / law.miles_scale) ** (
        law.exponent
    )
    limits = [limit for limit, _ in ASKED]
    return [
        float((weight * (a[None, :] + grown[:, j, None] >= limit)).sum())
        for j, limit in enumerate(limits)
    ]


@pytest.mark.parametrize("density", DENSITIES)
@pytest.mark.parametrize("not_measured", [0.0, 0.05])
def test_the_chance_equals_brute_force(
    factory: ModuleType, density: Density, not_measured: float
) -> None:
    frame = factory.readings(
        16, 13, density=density, alpha=0.1, sigma_e=0.15, exponent=2.0, resolution=0.1, most=5
    )
    law = a_law(density, alpha_mm=0.1, sigma_e_mm=0.15, exponent=2.0, not_measured=not_measured)
    young = frame.pivot_id.isin([1, 2, 3]) & (frame.miles < 60_000)
    frame.loc[young, "free_play_mm"] = 0.0
    if not_measured:
        # A lone zero at a good age, and one that contradicts those before it.
        frame.loc[frame.pivot_id.isin([4, 5]), "free_play_mm"] = 0.0
        frame.loc[frame.groupby("pivot_id").tail(1).index[6:9], "free_play_mm"] = 0.0
    growth = FreePlayGrowth(wild="keep")
    growth.law_ = law
    found = np.array([growth.chance_over(frame, *asked) for asked in ASKED]).T
    expected = np.array([brute_chances(law, life) for _, life in frame.groupby("pivot_id")])
    assert (np.abs(expected - 0.5) < 0.45).sum() >= 8
    # With both meanings of a zero the starting play given the rate is further from normal.
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.01 if not_measured else 0.005)
