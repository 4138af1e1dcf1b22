"""Axles as Markov chains of invented wear, independent of the product: whole futures, priced.

Each pivot is in one of n states short of its limit, or over it, and moves on at each gap by chances
of its own; a renewed one begins anew. Prices are added up as a shop would. A rule is a table that
says for every joint state which pivots are renewed; its long-run cost comes from iterating over all
futures (relative value iteration, which also finds the best rule of all), and again from drawing.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.stats import gamma

from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost

KIND, DUTY, GAP = "threaded", "line-haul", 25_000.0
#: Visits ahead of which the chance of being over is told.
_AHEAD = 60
Places = Sequence[tuple[str, str]]


def ageing(shape: float, scale: float, states: int) -> np.ndarray:
    """Nothing is read: a state is a number of gaps driven, the life is Weibull."""
    hazard = (np.arange(states + 1) * GAP / scale) ** shape
    fails = -np.expm1(hazard[:-1] - hazard[1:])
    moves = np.zeros((states + 1, states + 1))
    for age in range(states):
        moves[age, min(age + 1, states - 1)] = 1.0 - fails[age]
        moves[age, states] = fails[age]
    moves[states, states] = 1.0
    return moves


def wearing(mean: float, variation: float, states: int) -> np.ndarray:
    """Wear is read exactly: steps of a gap are gamma, in states, `mean` of them on average."""
    power = variation**-2
    below = gamma(power, scale=mean / power).cdf(np.arange(states + 1) - 0.5)
    below[0] = 0.0
    steps = np.diff(np.append(below, 1.0))
    moves = np.zeros((states + 1, states + 1))
    for state in range(states):
        for step, chance in enumerate(steps):
            moves[state, min(state + step, states)] += chance
    moves[states, states] = 1.0
    return moves


def outlook(moves: np.ndarray) -> np.ndarray:
    """Chance of being over at this visit and the next ones, shape (states + 1, ahead)."""
    ahead = [np.eye(len(moves))]
    for _ in range(_AHEAD - 1):
        ahead.append(ahead[-1] @ moves)
    return np.stack([power[:, -1] for power in ahead], axis=1)


def joint(moves: np.ndarray, places: Places) -> np.ndarray:
    """Every joint state, shape (states, pivots)."""
    return np.array(list(itertools.product(range(len(moves)), repeat=len(places))))


def lines(moves: np.ndarray, places: Places, states: np.ndarray) -> pd.DataFrame:
    """Joint states as one unit's lines each, as `choose` takes them."""
    seen = outlook(moves)
    own = states.ravel()
    units = np.repeat(np.arange(len(states)), len(places))
    sides, nodes = (np.tile([place[k] for place in places], len(states)) for k in (0, 1))
    rows = pd.DataFrame(
        {
            "unit_id": [f"U{unit:07}" for unit in units],
            "pivot_id": [f"U{unit:07}.{n}" for n, unit in enumerate(units)],
            "side": sides,
            "node": nodes,
            "mandatory": own == len(moves) - 1,
            "chance_over_by_next_visit": seen[own, 1],
            "chance_lower": seen[own, 1],
            "chance_upper": seen[own, 1],
            "chance_ahead_1": seen[own, 2],
            "chance_ahead_2": seen[own, 3],
            "miles_until_due": np.array([_due(row) for row in seen])[own],
        }
    )
    same = {"axle": 1, "bushing_type": KIND, "duty": DUTY, "visit_miles": 1e6, "miles_now": 1e6}
    same |= {"next_visit_miles": 1e6 + GAP, "age_miles": 1e5, "age_known": True, "reason": ""}
    same |= {"readings_used": 1, "chance_over_now": 0.0, "chance_over_at_visit": 0.0}
    same |= {"last_reading_doubted": False, "last_reading_miles": 1e6, "last_free_play_mm": 1.0}
    return rows.assign(**same, fitted_miles=9e5, last_good_miles=1e5)


def _due(chance: np.ndarray) -> float:
    """Miles until one in five is over."""
    at = int(np.argmax(chance >= 0.2))
    if chance[-1] < 0.2:
        return float("inf")
    if at == 0:
        return 0.0
    return (at - 1 + (0.2 - chance[at - 1]) / (chance[at] - chance[at - 1])) * GAP


def job(costs: CostItems, places: Places, done: Sequence[bool]) -> float:
    """Price of renewing some pivots of an axle at once."""
    if not any(done):
        return 0.0
    hours = 0.0
    for side in ("left", "right"):
        nodes = [node for (at, node), is_done in zip(places, done, strict=True) if is_done
                 and at == side]  # fmt: skip
        shackles = sum(node.startswith("shackle") for node in nodes)
        eyes = len(nodes) - shackles
        hours += costs.hours_first_pivot * bool(nodes)
        hours += costs.hours_same_shackle * max(shackles - 1, 0)
        hours += costs.hours_same_side * (eyes if shackles else max(eyes - 1, 0))
    once = costs.alignment * costs.alignment_share
    once += costs.downtime_days_planned * costs.downtime_per_day
    return hours * costs.shop_rate + costs.parts[KIND] * sum(done) + once


def late_extra(costs: CostItems) -> float:
    """What a pivot found over costs beyond a planned renewal."""
    return late_cost(costs, KIND, GAP / 2.0) - planned_cost(costs, KIND)


class Futures:
    """All futures of one axle under any rule.

    Parameters
    ----------
    moves : ndarray, shape (states + 1, states + 1)
    places : sequence of (side, node)
    costs : CostItems
    """

    def __init__(self, moves: np.ndarray, places: Places, costs: CostItems) -> None:
        self.moves, self.pivots = moves, len(places)
        self.states = joint(moves, places)
        self.actions = np.array(list(itertools.product([False, True], repeat=self.pivots)))
        over = self.states == len(moves) - 1
        priced = np.array([job(costs, places, action) for action in self.actions])
        self.cost = priced + late_extra(costs) * over.sum(axis=1)[:, None]
        left = (over[:, None, :] & ~self.actions[None]).any(axis=2)
        self.open = np.where(left, np.inf, self.cost)

    def rate(self, renewed: np.ndarray | None = None) -> float:
        """Long-run cost per mile of a rule (bool, one row a state), or of the best of all."""
        rows = np.arange(len(self.states))
        value = np.zeros(len(rows))
        at = None if renewed is None else self.numbers(renewed)
        while True:
            ahead = np.stack([self._next(value, action) for action in self.actions], axis=1)
            whole = self.open + ahead
            new = whole.min(axis=1) if at is None else whole[rows, at]
            moved = new - value
            if moved.max() - moved.min() < 1e-6:
                return float(moved.max() + moved.min()) / 2.0 / GAP
            value = new - new[0]

    def numbers(self, renewed: np.ndarray) -> np.ndarray:
        """Number of each state's action."""
        return np.asarray(renewed @ (1 << np.arange(self.pivots)[::-1]))

    def drawn(self, rules: Sequence[np.ndarray], axles: int, visits: int, seed: int) -> np.ndarray:
        """Cost per mile of drawn axles under each rule, same luck for all, (rules, axles)."""
        random = np.random.default_rng(seed)
        reach = np.cumsum(self.moves, axis=1)
        size, paid = len(self.moves), np.zeros((len(rules), axles))
        state = np.zeros((len(rules), axles, self.pivots), dtype=np.int64)
        weight = size ** np.arange(self.pivots)[::-1]
        numbers = [self.numbers(rule) for rule in rules]
        for _ in range(visits):
            luck = random.random((axles, self.pivots))
            for number, rule in enumerate(rules):
                row = state[number] @ weight
                paid[number] += self.cost[row, numbers[number][row]]
                begun = np.where(rule[row], 0, state[number])
                state[number] = (luck[..., None] > reach[begun]).sum(axis=2).clip(0, size - 1)
        return paid / (visits * GAP)

    def _next(self, value: np.ndarray, action: np.ndarray) -> np.ndarray:
        expected = value.reshape((len(self.moves),) * self.pivots)
        for pivot, is_renewed in enumerate(action):
            moves = np.broadcast_to(self.moves[0], self.moves.shape) if is_renewed else self.moves
            expected = np.moveaxis(np.tensordot(moves, expected, axes=(1, pivot)), 0, pivot)
        return expected.reshape(-1)
