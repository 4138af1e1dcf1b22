"""The longest believable run of odometer values, against brute force over all subsets."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pivotlife.pipeline.odometer_chain import agrees, best_split, longest_chain

DAILY_MAXIMUM = 100.0

#: A narrow grid of days and miles, so that most values contradict some other.
values = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 20).map(lambda n: 50.0 * n)), max_size=8
)


def split(points: list[tuple[int, float]]) -> tuple[np.ndarray, np.ndarray]:
    table = np.array(points, dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def largest(fits: np.ndarray) -> int:
    """Size of the largest set whose pairs all agree, by trying every set."""
    size = len(fits)
    for wanted in range(size, 0, -1):
        for chosen in combinations(range(size), wanted):
            if fits[np.ix_(chosen, chosen)].all():
                return wanted
    return 0


@settings(max_examples=400, deadline=None)
@given(values)
def test_no_larger_set_without_a_contradiction_exists(points: list[tuple[int, float]]) -> None:
    day, miles = split(points)
    kept = np.flatnonzero(longest_chain(day, miles, DAILY_MAXIMUM))
    fits = agrees(day, miles, DAILY_MAXIMUM)
    assert fits[np.ix_(kept, kept)].all()
    assert len(kept) == largest(fits)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.floats(0.0, 100.0)), max_size=40))
def test_a_truck_that_drives_believably_keeps_every_value(
    steps: list[tuple[int, float]],
) -> None:
    day = np.cumsum([wait for wait, _ in steps], dtype=float)
    miles = np.cumsum([wait * daily for wait, daily in steps], dtype=float)
    assert longest_chain(day, miles, DAILY_MAXIMUM).all()


def test_the_order_of_the_rows_does_not_matter() -> None:
    rng = np.random.default_rng(3)
    day = rng.integers(0, 400, 60).astype(float)
    miles = np.where(rng.random(60) < 0.2, rng.uniform(0, 40_000, 60), 90.0 * day)
    shuffled = rng.permutation(60)
    kept = longest_chain(day, miles, DAILY_MAXIMUM)
    assert (kept[shuffled] == longest_chain(day[shuffled], miles[shuffled], DAILY_MAXIMUM)).all()


def test_values_of_one_day_may_differ_by_a_day_of_driving_and_no_more() -> None:
    day = np.array([0.0, 5.0, 5.0, 5.0, 9.0])
    miles = np.array([0.0, 300.0, 390.0, 410.0, 700.0])
    kept = longest_chain(day, miles, DAILY_MAXIMUM)
    # 300 and 410 are more than one day apart: one of them goes.
    assert kept.sum() == 4
    assert kept[[0, 2, 4]].all()


def test_three_steps_that_each_fit_may_not_fit_together() -> None:
    day = np.zeros(3)
    miles = np.array([0.0, 100.0, 200.0])
    assert longest_chain(day, miles, DAILY_MAXIMUM).sum() == 2


def test_copies_decide_between_equally_large_sets_only() -> None:
    day, miles = np.array([0.0, 10.0, 10.0]), np.array([0.0, 300.0, 900.0])
    for copies, winner in (([1, 3, 1], 1), ([1, 1, 3], 2)):
        kept = longest_chain(day, miles, DAILY_MAXIMUM, np.array(copies))
        assert np.flatnonzero(kept).tolist() == [0, winner]
    # Nine copies of a value that contradicts two others do not outvote them.
    day, miles = np.array([0.0, 10.0, 20.0]), np.array([0.0, 90_000.0, 900.0])
    kept = longest_chain(day, miles, DAILY_MAXIMUM, np.array([1, 9, 1]))
    assert np.flatnonzero(kept).tolist() == [0, 2]


def test_the_best_split_parts_an_old_meter_from_a_new_one() -> None:
    day = np.arange(0.0, 200.0, 10.0)
    miles = np.where(day < 120.0, 5_000.0 + 50.0 * day, 50.0 * (day - 120.0))
    parts = best_split(day, miles, DAILY_MAXIMUM)
    assert parts is not None
    assert parts.first_after == 120.0
    assert (parts.before == (day < 120.0)).all()
    assert (parts.after == (day >= 120.0)).all()


def test_a_split_that_is_not_worth_it_is_none() -> None:
    day = np.arange(0.0, 200.0, 10.0)
    assert best_split(day, 50.0 * day, DAILY_MAXIMUM, at_least=21) is None
    assert best_split(np.zeros(3), np.zeros(3), DAILY_MAXIMUM) is None


@pytest.mark.parametrize("size", [0, 1])
def test_nothing_and_one_value_are_kept(size: int) -> None:
    assert longest_chain(np.zeros(size), np.zeros(size), DAILY_MAXIMUM).all()
