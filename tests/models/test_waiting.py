"""Waiting one visit, several, or until the sale: amounts by hand and the optimum it must find."""

from __future__ import annotations

import numpy as np
import pytest

from pivotlife.models.replacement import age_replacement
from pivotlife.models.waiting import Outlook, Stakes, Waits, passed_between, weigh_waits


def stakes(n: int, rate: float, **over: float) -> Stakes:
    figures = {"planned": 100.0, "late": 300.0, "road": 500.0, "late_per_mile": 0.0}
    figures |= {"sudden_per_mile": 0.0, "rate": rate} | over
    return Stakes(**{name: np.full(n, value) for name, value in figures.items()})


def weigh(
    chance: list[list[float]],
    rate: float,
    sale: float = np.inf,
    gap: float = 1_000.0,
    **over: float,
) -> Waits:
    table = np.array(chance)
    miles = np.broadcast_to(gap * np.arange(table.shape[1]), table.shape)
    outlook = Outlook(table, miles, np.full(len(table), sale))
    return weigh_waits(outlook, stakes(len(table), rate, **over))


def test_amounts_by_hand() -> None:
    waits = weigh([[0.2, 0.36, 0.52]], rate=0.05, late_per_mile=0.02)
    # Given not over at the first: 0.2 by the second, 0.4 by the third; half a gap of tyres is 10.
    assert passed_between(np.array([[0.2, 0.36, 0.52]]))[0] == pytest.approx([0.2, 0.4])
    assert waits.cost[0, :2] == pytest.approx([0.2 * 210, 0.4 * 210])
    assert waits.kept[0, :2] == pytest.approx([50.0, 50.0 + 0.8 * 50.0])
    assert waits.kept[0, 2] == -np.inf
    assert waits.best.tolist() == [0]


def test_sudden_failures_count_over_the_whole_wait() -> None:
    waits = weigh([[0.0, 0.0, 0.0]], rate=0.05, sudden_per_mile=1e-4)
    assert waits.cost[0, :2] == pytest.approx([400 * -np.expm1(-0.1), 400 * -np.expm1(-0.2)])


def test_a_falling_chance_may_make_a_longer_wait_right() -> None:
    """Early failures: the first gap alone says renew, three gaps say wait."""
    waits = weigh([[0.0, 0.3, 0.31, 0.32]], rate=0.05)
    assert waits.cost[0, 0] > waits.kept[0, 0]
    assert waits.best[0] == 2
    cost, kept = waits.at_best()
    assert cost[0] < kept[0]


def test_with_a_rising_chance_one_visit_decides() -> None:
    random = np.random.default_rng(1)
    hazards = np.sort(random.uniform(0.0, 0.6, (500, 4)), axis=1)
    chance = 1.0 - np.cumprod(1.0 - np.c_[np.zeros(500), hazards], axis=1)
    waits = weigh(chance.tolist(), rate=0.05)
    cost, kept = waits.at_best()
    assert ((cost >= kept) == (waits.cost[:, 0] >= waits.kept[:, 0])).all()


def test_nothing_is_credited_past_the_sale() -> None:
    near = weigh([[0.0, 0.2, 0.4]], rate=10.0, sale=500.0)
    assert (near.kept[0, :2] == -np.inf).all()
    assert near.best[0] == 2
    # Half the first gap: a chance of 0.1 of a late finding in full against one renewal.
    assert near.cost[0, 2] == pytest.approx(0.1 * 300)
    assert near.kept[0, 2] == 100.0
    worn = weigh([[0.0, 0.9, 1.0]], rate=10.0, sale=1_900.0)
    assert worn.cost[0, 2] > worn.kept[0, 2]
    sold = weigh([[0.5, 0.9, 1.0]], rate=10.0, sale=-5.0)
    assert (sold.cost[0, 2], sold.kept[0, 2]) == (0.0, 100.0)


def test_missing_figures_stay_missing() -> None:
    waits = weigh([[0.1, np.nan, np.nan], [np.nan, np.nan, np.nan]], rate=0.05)
    cost, kept = waits.at_best()
    assert np.isnan(cost).all()
    assert weigh([[0.1, 0.2, 0.3]], rate=np.nan).best.tolist() == [0]
    assert not np.isnan(kept).any() or np.isnan(cost).all()


@pytest.mark.parametrize(("shape", "late"), [(2.0, 5.0), (3.0, 2.0), (5.0, 20.0)])
def test_dense_visits_find_the_age_replacement_optimum(shape: float, late: float) -> None:
    scale = 600_000.0
    best = age_replacement(shape, scale, 1.0, late)
    visits = scale / 10_000 * np.arange(1, 20_001)
    over = -np.expm1(-((visits / scale) ** shape))
    window = np.lib.stride_tricks.sliding_window_view
    outlook = Outlook(window(over, 4), window(visits, 4), np.full(len(visits) - 3, np.inf))
    n = len(visits) - 3
    given = stakes(n, best.cost_per_mile, planned=1.0, late=late, road=late)
    cost, kept = weigh_waits(outlook, given).at_best()
    first = int(np.argmax(cost >= kept))
    assert visits[first] == pytest.approx(best.optimal_miles, rel=1e-3)
