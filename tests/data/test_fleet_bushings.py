"""How invented bushings live: the Weibull law of T, its modifiers, and the path of play."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_bushings import (
    BushingDraws,
    Bushings,
    free_play_mm,
    life_scale,
    new_bushings,
    refuses_grease,
)


def draws(rng: np.random.Generator, count: int) -> BushingDraws:
    return BushingDraws(*(1.0 - rng.random(count) for _ in range(6)))


def fitted(kind: int, count: int, scale: float = 500_000.0, seed: int = 1) -> Bushings:
    kinds = np.full(count, kind)
    return new_bushings(kinds, np.full(count, scale), draws(np.random.default_rng(seed), count))


def one(kind: int, wear_age: float, *, sudden: bool = False, seized: bool = False) -> Bushings:
    return Bushings(
        np.array([kind]),
        np.array([wear_age]),
        np.array([np.inf]),
        *(np.array([flag]) for flag in (seized, sudden, False, False)),
    )


@given(
    kind=st.sampled_from([sc.RUBBER, sc.THREADED, sc.ROLLER]),
    wear_age=st.floats(1_000.0, 2_000_000.0),
)
def test_play_starts_at_its_start_and_reaches_the_limit_at_t(kind: int, wear_age: float) -> None:
    bushing = one(kind, wear_age)
    assert free_play_mm(bushing, np.array([0.0]))[0] == sc.START_PLAY_MM[kind]
    assert free_play_mm(bushing, np.array([wear_age]))[0] == pytest.approx(sc.LIMIT_MM)


@given(
    kind=st.sampled_from([sc.RUBBER, sc.THREADED, sc.ROLLER]),
    sudden=st.booleans(),
    shares=st.tuples(st.floats(0.0, 3.0), st.floats(0.0, 3.0)),
)
def test_play_never_falls_and_never_passes_its_bound(
    kind: int, sudden: bool, shares: tuple[float, float]
) -> None:
    bushing = one(kind, 300_000.0, sudden=sudden and kind == sc.RUBBER)
    early, late = sorted(shares)
    before = free_play_mm(bushing, np.array([early * 300_000.0]))[0]
    after = free_play_mm(bushing, np.array([late * 300_000.0]))[0]
    assert 0.0 <= before <= after <= sc.LARGEST_PLAY_MM


def test_sudden_rubber_is_tight_until_t_and_over_from_then_on() -> None:
    bushing = one(sc.RUBBER, 200_000.0, sudden=True)
    assert free_play_mm(bushing, np.array([199_999.0]))[0] < 0.2 * sc.LIMIT_MM
    assert free_play_mm(bushing, np.array([200_000.0]))[0] > sc.LIMIT_MM


def test_a_seizing_pin_hardly_moves_and_refuses_grease_late() -> None:
    pin = one(sc.THREADED, 200_000.0, seized=True)
    for age, refuses in ((10_000.0, False), (119_000.0, False), (121_000.0, True)):
        assert free_play_mm(pin, np.array([age]))[0] == sc.SEIZED_PLAY_MM
        assert refuses_grease(pin, np.array([age]))[0] == refuses


@pytest.mark.parametrize("kind", [sc.RUBBER, sc.THREADED, sc.ROLLER])
def test_t_follows_its_weibull_law(kind: int) -> None:
    bushings = fitted(kind, 20_000)
    law = stats.weibull_min(sc.LIFE_SHAPE[kind], scale=500_000.0)
    good = ~bushings.bad_install
    assert stats.kstest(bushings.wear_age[good], law.cdf).pvalue > 0.001
    early = bushings.wear_age[~good]
    if kind == sc.ROLLER:
        infant = stats.weibull_min(0.8, scale=60_000.0)
        assert stats.kstest(early, infant.cdf).pvalue > 0.001
    else:
        assert len(early) == 0


def test_the_peculiar_have_their_shares() -> None:
    count = 40_000
    for kind, field, share in (
        (sc.ROLLER, "bad_install", 0.05),
        (sc.THREADED, "seized", 0.04),
        (sc.RUBBER, "sudden", 0.30),
    ):
        found = int(getattr(fitted(kind, count), field).sum())
        assert stats.binomtest(found, count, share).pvalue > 0.001
    broken = fitted(sc.RUBBER, count)
    assert stats.binomtest(int(np.isfinite(broken.break_age).sum()), count, 0.01).pvalue > 0.001
    assert (broken.break_age[np.isfinite(broken.break_age)] <= broken.wear_age.max()).all()
    before = np.isfinite(broken.break_age)
    assert (broken.break_age[before] < broken.wear_age[before]).all()


def test_modifiers_shorten_life_as_they_should() -> None:
    kinds, duty = np.arange(3), np.zeros(3, dtype=np.int64)
    plain, salt = np.zeros(3, dtype=bool), np.ones(3, dtype=bool)
    care, frailty = np.ones(3), np.ones(3)
    base = life_scale(kinds, duty, plain, care, frailty)
    assert base.tolist() == [520_000.0, 600_000.0, 900_000.0]
    assert life_scale(kinds, duty, salt, care, frailty) / base == pytest.approx([0.9, 0.8, 0.75])
    assert life_scale(kinds, duty, plain, care, 1.3 * frailty) / base == pytest.approx([1.3] * 3)
    # A Weibull hazard times c is a scale times c^(-1/shape).
    missed = life_scale(kinds, duty, plain, 0.5 * care, frailty) / base
    hazard = missed ** (-sc.LIFE_SHAPE)
    assert hazard == pytest.approx([1.0, np.exp(0.6), np.exp(0.8)])
