"""The weighing of crossing ages against integration and finite differences."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from pivotlife.models import crossing_grid as grid
from pivotlife.models.crossing_curves import Curve

ONE = np.ones(1)
CURVE = Curve(2.2, 5e5, 2.2 * ONE, 5e5 * ONE, "threaded", "", is_bound=False)
PATH = grid.PlayPath(new_play=0.06, exponent=1.3, error_scale=0.05)
AGES = np.array([6e4, 1.1e5, 1.7e5, 2.2e5])
SHARES = np.array([0.21, 0.35, 0.52, 0.66])
NONE = np.zeros(4)
READINGS = grid.Readings(np.log(AGES), SHARES, np.zeros(4, dtype=np.int64), NONE, NONE)


def weights(bins: int) -> tuple[np.ndarray, np.ndarray]:
    edges = grid.crossing_edges([CURVE], 3e5, bins)
    prior = grid.log_masses(edges, 2.2 * ONE, 5e5 * ONE)
    like = grid.log_likelihood(PATH, READINGS, grid.bin_nodes(edges))
    return grid.posterior(prior, like), edges


def joint(age: float) -> float:
    """Prior density times the readings' density, written out again."""
    mean = 0.06 + 0.94 * (AGES / age) ** 1.3
    read = stats.t.pdf((SHARES - mean) / 0.05, df=4) / 0.05
    return float(stats.weibull_min.pdf(age, 2.2, scale=5e5) * np.prod(read))


@pytest.mark.parametrize("age", [2.5e5, 3.0e5, 3.3e5, 4.0e5])
def test_chances_agree_with_integration(age: float) -> None:
    points = [2.5e5, 3.0e5, 3.3e5, 4e5]
    whole = integrate.quad(joint, 1e4, 3e6, points=points, limit=400)[0]
    below = integrate.quad(joint, 1e4, age, points=[p for p in points if p < age], limit=400)[0]
    weighed, edges = weights(4_000)
    assert grid.chance_by(weighed, edges, np.array([age]))[0] == pytest.approx(
        below / whole, abs=1e-4
    )
    coarse, edges = weights(300)
    assert grid.chance_by(coarse, edges, np.array([age]))[0] == pytest.approx(
        below / whole, abs=0.02
    )


def test_masses_are_the_curve() -> None:
    edges = grid.crossing_edges([CURVE], 3e5, 300)
    masses = np.exp(grid.log_masses(edges, 2.2 * ONE, 5e5 * ONE))[0]
    assert masses.sum() == pytest.approx(1.0, abs=1e-12)
    cdf = stats.weibull_min.cdf(edges, 2.2, scale=5e5)
    assert np.cumsum(masses)[:-1] == pytest.approx(cdf, abs=1e-12)
    assert (
        (grid.bin_nodes(edges)[1:-1] > edges[:-1]) & (grid.bin_nodes(edges)[1:-1] < edges[1:])
    ).all()


def test_quantiles_undo_chances() -> None:
    weighed, edges = weights(300)
    for p in (0.1, 0.5, 0.9):
        age = grid.crossing_quantile(weighed, edges, p)
        assert grid.chance_by(weighed, edges, age)[0] == pytest.approx(p, abs=1e-9)


def test_the_grid_ignores_small_changes_of_the_oldest() -> None:
    one = grid.crossing_edges([CURVE], 3.0e5, 100)
    assert np.array_equal(one, grid.crossing_edges([CURVE], 3.1e5, 100))
    assert grid.crossing_edges([CURVE], 9e6, 100)[-1] >= 1.8e7


def test_the_slope_of_the_likelihood_is_right() -> None:
    edges = grid.crossing_edges([CURVE], 3e5, 120)
    prior = grid.log_masses(edges, 2.2 * ONE, 5e5 * ONE)
    nodes = grid.bin_nodes(edges)
    hidden = replace(READINGS, loaded=np.array([1.0, 0, 0, 1]), greased=np.array([0, 0, 1.0, 1]))
    hidden = replace(hidden, share=np.array([0.0, 0.35, 0.0, 0.66]))
    theta = np.array([0.1, math.log(1.7), math.log(0.08), math.log(0.8), -0.03])
    _, slope = grid._marginal(theta, hidden, prior, nodes)
    for i in range(theta.size):
        step = np.zeros(theta.size)
        step[i] = 1e-6
        up, _ = grid._marginal(theta + step, hidden, prior, nodes)
        down, _ = grid._marginal(theta - step, hidden, prior, nodes)
        assert slope[i] == pytest.approx((up - down) / 2e-6, rel=1e-4, abs=1e-6)


def test_hidden_play_is_brought_back() -> None:
    """A loaded, greased reading says the same as the clean one that it hides."""
    edges = grid.crossing_edges([CURVE], 3e5, 300)
    nodes = grid.bin_nodes(edges)
    path = replace(PATH, load_factor=0.7, grease_offset=-0.05)
    clean = grid.log_likelihood(path, READINGS, nodes)
    one = np.ones(4)
    greased = replace(READINGS, share=SHARES - 0.05, greased=one)
    assert grid.log_likelihood(path, greased, nodes) == pytest.approx(clean)
    loaded = replace(READINGS, share=SHARES * 0.7, loaded=one)
    best = nodes[np.argmax(grid.log_likelihood(path, loaded, nodes))]
    assert best == pytest.approx(nodes[np.argmax(clean)], rel=0.03)
