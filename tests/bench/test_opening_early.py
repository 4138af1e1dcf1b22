"""Does it cost less to open an axle before any of its pivots is due by itself?

Two or three pivots that share set-ups, at the default prices and with a late find four times as
long off the road, on a life curve alone and with wear that is read exactly at each visit. The cost
of each rule over all futures is exact (value iteration), as is that of the best rule there is;
drawn futures, the same luck for both rules, check it and give the difference its standard error.
A whole axle of six has too many joint states to go through: it is drawn, and asked at each visit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from axle_futures import GAP, Futures, Places, ageing, job, late_extra, wearing
from axle_rules import long_run, renewed
from prices import COSTS

pytestmark = pytest.mark.slow
PLACES: dict[str, Places] = {
    "a shackle": (("left", "shackle-lower"), ("left", "shackle-upper")),
    "both eyes": (("left", "fixed-eye"), ("right", "fixed-eye")),
    "a side": (("left", "fixed-eye"), ("left", "shackle-lower"), ("left", "shackle-upper")),
}
CHAINS: dict[str, Callable[[int], np.ndarray]] = {
    "curve, shape 3": lambda n: ageing(3.0, 400_000.0, n),
    "curve, shape 2": lambda n: ageing(2.0, 400_000.0, n),
    "wear read, variation 0.6": lambda n: wearing(0.075 * n, 0.6, n),
    "wear read, variation 1.5": lambda n: wearing(0.075 * n, 1.5, n),
}
STATES = {2: 30, 3: 20}
AXLES, VISITS = 2_000, 400


@pytest.mark.parametrize("times", [1.0, 4.0])
@pytest.mark.parametrize("where", list(PLACES))
@pytest.mark.parametrize("chain", list(CHAINS))
def test_opening_early_costs_no_more(chain: str, where: str, times: float) -> None:
    longer = COSTS.downtime_days_late - COSTS.downtime_days_planned
    costs = replace(COSTS, downtime_days_late=COSTS.downtime_days_planned + times * longer)
    places = PLACES[where]
    moves = CHAINS[chain](STATES[len(places)])
    rate = long_run(moves, costs)
    rules = [renewed(moves, places, costs, rate, early=early) for early in (False, True)]
    futures = Futures(moves, places, costs)
    late, early, best = (futures.rate(rule) for rule in (*rules, None))
    drawn = futures.drawn(rules, AXLES, VISITS, 7)
    beside = drawn[1] / drawn[0].mean() - drawn[0] / drawn[0].mean()
    error = float(beside.std(ddof=1) / np.sqrt(AXLES))
    print(
        f"{chain}, {where}, late x {times:g}: waiting for a due one {late / best - 1:+.2%} over"
        f" the best, opening early {early / best - 1:+.2%}; early over waiting"
        f" {early / late - 1:+.2%}, drawn {beside.mean():+.2%} (se {error:.2%})"
    )
    # Drawn axles begin new, which 400 visits all but forget.
    assert beside.mean() == pytest.approx(early / late - 1.0, abs=4 * error + 0.002)
    assert early <= 1.001 * late


SIX: Places = tuple(
    (side, node)
    for side in ("left", "right")
    for node in ("fixed-eye", "shackle-lower", "shackle-upper")
)


@pytest.mark.parametrize("chain", list(CHAINS))
def test_six_pivots_of_an_axle_cost_no_more_for_opening_early(chain: str) -> None:
    moves = CHAINS[chain](30)
    rate = long_run(moves, COSTS)
    reach, random = np.cumsum(moves, axis=1), np.random.default_rng(11)
    axles, visits, begun = 400, 90, 30
    paid, states = np.zeros((2, axles)), np.zeros((2, axles, 6), dtype=np.int64)
    for visit in range(begun + visits):
        luck = random.random((axles, 6))
        for number, early in enumerate((False, True)):
            now = states[number]
            done = renewed(moves, SIX, COSTS, rate, early=early, states=now)
            over = (now == len(moves) - 1).sum(axis=1)
            price = np.array([job(COSTS, SIX, row) for row in done]) + late_extra(COSTS) * over
            paid[number] += price * (visit >= begun)
            fresh = np.where(done, 0, now)
            moved = (luck[..., None] > reach[fresh]).sum(axis=2)
            states[number] = moved.clip(0, len(moves) - 1)
    beside = (paid[1] - paid[0]) / paid[0].mean()
    error = float(beside.std(ddof=1) / np.sqrt(axles))
    cost = paid.mean(axis=1) / (6 * visits * GAP) * 1_000.0
    print(
        f"{chain}, six pivots: {cost[0]:.3f} a pivot and 1,000 miles, opening early"
        f" {beside.mean():+.2%} (se {error:.2%})"
    )
    assert beside.mean() < 2 * error + 0.001
