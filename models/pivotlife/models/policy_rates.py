"""Long-run cost of a mile under the rule itself, by simulation with visits and readings.

Start from a rate, let the rule act on the drawn bushings with it, take what that costs per mile as
the next rate; three rounds, or until it moves by less than 2 %. A bushing is renewed at the first
visit where no wait pays or where it reads at or over the limit; one that is truly over at a visit
costs the late amount. All bushings start new, so cost over miles of many is the long-run rate
(renewal-reward).

Not here: drawing the bushings (`policy_paths`), prices.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pivotlife.models.arrays import FloatArray
from pivotlife.models.policy_paths import Paths
from pivotlife.models.waiting import Outlook, Stakes, weigh_waits

ROUNDS: Final = 3
SETTLED: Final = 0.02


@dataclass(frozen=True)
class Prices:
    """Costs of one renewal: planned, found late (tyres of half a gap included), on the road.

    `sudden_per_mile` is the rate of failing without warning.
    """

    planned: float
    late: float
    road: float = 0.0
    sudden_per_mile: float = 0.0


def rule_stops(paths: Paths, prices: Prices, rate: float) -> npt.NDArray[np.bool_]:
    """Say at which visits the rule renews, given not over there, shape (n, V)."""
    n, visits, columns = paths.chance.shape
    chance = paths.chance.reshape(n * visits, columns)
    known = np.isfinite(chance[:, 0])
    rows = int(known.sum())
    ahead = np.broadcast_to(paths.gap * np.arange(columns), (rows, columns))
    outlook = Outlook(chance[known], np.asarray(ahead), np.full(rows, np.inf))
    amounts = (prices.planned, prices.late, prices.road, 0.0, prices.sudden_per_mile, rate)
    waits = weigh_waits(outlook, Stakes(*(np.full(rows, amount) for amount in amounts)))
    cost, kept = waits.at_best()
    stops = np.zeros(n * visits, dtype=bool)
    stops[known] = cost >= kept
    return stops.reshape(n, visits) | (paths.reading >= paths.limit_mm)


def cost_of_stops(paths: Paths, stops: npt.NDArray[np.bool_], prices: Prices) -> float:
    """Cost per mile when each bushing is renewed at its first stop, or late when found over."""
    over = paths.age >= paths.crossing[:, None]
    end = np.argmax(stops | over, axis=1)
    none = ~(stops | over).any(axis=1)
    end = np.where(none, paths.age.shape[1] - 1, end)
    rows = np.arange(len(end))
    late = over[rows, end]
    miles = paths.age[rows, end]
    cost = np.where(late, prices.late, prices.planned)
    return float(cost.sum() / miles.sum())


def rule_rate(paths: Paths, prices: Prices, start: float, rounds: int = ROUNDS) -> float:
    """Long-run cost per mile under the rule.

    Parameters
    ----------
    paths : Paths
    prices : Prices
    start : float, currency per mile
        Such as the age-replacement rate.
    rounds : int

    Returns
    -------
    float, currency per mile
        Sudden failures add their rate x (road - planned) to every mile.
    """
    rate = start
    for _ in range(rounds):
        found = cost_of_stops(paths, rule_stops(paths, prices, rate), prices)
        settled = abs(found / rate - 1.0) < SETTLED
        rate = found
        if settled:
            break
    return rate + prices.sudden_per_mile * max(prices.road - prices.planned, 0.0)


def clairvoyant_rate(paths: Paths, prices: Prices) -> float:
    """Cost per mile of renewing at the last visit before the true crossing."""
    over = paths.age >= paths.crossing[:, None]
    first = np.where(over.any(axis=1), np.argmax(over, axis=1), over.shape[1])
    stops = np.zeros(over.shape, dtype=bool)
    before = first - 1
    there = before >= 0
    stops[np.flatnonzero(there), before[there]] = True
    return cost_of_stops(paths, stops, prices)


def limit_rate(paths: Paths, prices: Prices) -> float:
    """Cost per mile of renewing only what is found over the limit."""
    return cost_of_stops(paths, np.zeros(paths.age.shape, dtype=bool), prices)


def threshold_rate(paths: Paths, prices: Prices, share: float) -> float:
    """Cost per mile of renewing whatever reads at this share of the limit or more."""
    return cost_of_stops(paths, paths.reading >= share * paths.limit_mm, prices)


def mileage_rate(paths: Paths, prices: Prices, miles: float) -> float:
    """Cost per mile of renewing at the first visit at this age or beyond."""
    return cost_of_stops(paths, paths.age >= miles, prices)


def best_mileage(paths: Paths, prices: Prices, miles: FloatArray) -> float:
    """Return the age that costs least as a fixed interval on these bushings."""
    return float(miles[int(np.argmin([mileage_rate(paths, prices, m) for m in miles]))])


def best_threshold(paths: Paths, prices: Prices, shares: FloatArray) -> float:
    """Return the share of the limit that costs least on these bushings."""
    return float(shares[int(np.argmin([threshold_rate(paths, prices, s) for s in shares]))])
