"""Sums of jointly drawn kits: binomial and Poisson closed forms, and the visit that goes whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pivotlife.models.demand import (
    DemandError,
    convolve,
    count_distribution,
    count_quantile,
    summed_by_group,
)


def test_a_hundred_visits_of_all_six_or_none_take_ninety_kits() -> None:
    # Binomial closed form: six times the 95 % point of Binomial(100, 0.1), which is 15.
    visits = np.tile([0.9, 0, 0, 0, 0, 0, 0.1], (100, 1))
    together = convolve(visits)
    assert count_quantile(together, 0.95) == 6 * stats.binom.ppf(0.95, 100, 0.1) == 90
    alone = convolve(np.tile([0.9, 0.1], (600, 1)))
    assert count_quantile(alone, 0.95) == stats.binom.ppf(0.95, 600, 0.1) == 72
    kits = np.arange(601)
    assert together @ kits == pytest.approx(alone @ kits) == pytest.approx(60.0)


@pytest.mark.parametrize(("visits", "chance"), [(1, 0.3), (40, 0.25), (250, 0.02)])
def test_single_kits_are_binomial(visits: int, chance: float) -> None:
    found = convolve(np.tile([1 - chance, chance], (visits, 1)))
    expected = stats.binom.pmf(np.arange(visits + 1), visits, chance)
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_many_rare_kits_are_nearly_poisson() -> None:
    # Le Cam: the total difference of all chances is at most 2 sum p^2 = 2 * 2000 * 1e-6.
    found = convolve(np.tile([0.999, 0.001], (2000, 1)))
    poisson = stats.poisson.pmf(np.arange(2001), 2.0)
    assert np.abs(found - poisson).sum() <= 2 * 2000 * 0.001**2
    assert count_quantile(found, 0.95) == stats.poisson.ppf(0.95, 2.0)


@given(
    st.lists(
        st.lists(st.integers(0, 9), min_size=3, max_size=3).filter(any), min_size=1, max_size=12
    )
)
def test_means_and_variances_add_up(weights: list[list[int]]) -> None:
    visits = np.array(weights, dtype=float)
    visits /= visits.sum(axis=1, keepdims=True)
    found, kits = convolve(visits), np.arange(3)
    mean, square = visits @ kits, visits @ kits**2
    whole = np.arange(len(found))
    assert found.sum() == pytest.approx(1.0)
    assert found @ whole == pytest.approx(mean.sum())
    spread = found @ whole**2 - (found @ whole) ** 2
    assert spread == pytest.approx((square - mean**2).sum(), abs=1e-9)


def test_groups_are_convolved_like_single_visits() -> None:
    rng = np.random.default_rng(5)
    draws, laws = 30, 2
    kits = rng.integers(0, 4, (2, 6, laws, draws)) * (rng.random((2, 6, laws, draws)) < 0.4)
    group, unit, law, draw = np.nonzero(kits)
    taken = kits[group, unit, law, draw]
    alone, whole = summed_by_group(group, law, unit + 6 * group, taken, (2, laws, draws), 2)
    mixed = []
    for place in range(2):
        by_law = [
            convolve(
                np.array([np.bincount(kits[place, u, one], minlength=4) / draws for u in range(6)])
            )
            for one in range(laws)
        ]
        mixed.append(np.mean(by_law, axis=0))
        np.testing.assert_allclose(alone[place, :19], mixed[-1], atol=1e-12)
    # Under each law both groups are convolved before the laws are mixed.
    both = np.mean(
        [
            convolve(
                np.array(
                    [
                        np.bincount(kits[g, u, one], minlength=4) / draws
                        for g in range(2)
                        for u in range(6)
                    ]
                )
            )
            for one in range(laws)
        ],
        axis=0,
    )
    np.testing.assert_allclose(whole[0, : len(both)], both[: whole.shape[1]], atol=1e-12)


def test_nothing_taken_is_surely_nothing() -> None:
    none = np.zeros(0, dtype=np.int64)
    alone, whole = summed_by_group(none, none, none, none, (3, 2, 10), 3)
    assert alone.shape[0] == 3
    np.testing.assert_allclose(alone[:, 0], 1.0)
    np.testing.assert_allclose(whole[:, 0], 1.0)


def test_draws_become_a_distribution() -> None:
    np.testing.assert_allclose(count_distribution(np.array([0, 6, 0, 0])), [0.75, *[0] * 5, 0.25])


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(DemandError, match="at least one draw"):
        count_distribution(np.array([], dtype=np.int64))
    with pytest.raises(DemandError, match="add up to 1"):
        convolve(np.array([[0.5, 0.4]]))
