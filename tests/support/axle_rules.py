"""The product's own choices laid over every joint state of an invented axle (`axle_futures`)."""

from __future__ import annotations

import numpy as np

from axle_futures import DUTY, GAP, KIND, Futures, Places, joint, late_extra, lines
from pivotlife.models.decision_costs import CostItems, planned_cost
from pivotlife.models.decision_economics import DecisionOptions, choose
from pivotlife.models.decision_groups import grouped
from pivotlife.models.decision_together import opened_together

ALONE: Places = (("left", "shackle-lower"),)


def renewed(
    moves: np.ndarray,
    places: Places,
    costs: CostItems,
    rate: float,
    *,
    early: bool,
    states: np.ndarray | None = None,
) -> np.ndarray:
    """What the shortlist renews in joint states (all), with or without opening early."""
    table = lines(moves, places, joint(moves, places) if states is None else states)
    options = DecisionOptions(measure_miles={DUTY: 2 * GAP}, rates={(KIND, DUTY): rate})
    table = table.join(choose(table, costs, options))
    over = table["mandatory"]
    table["decision"] = table["decision"].mask(over, "replace")
    table["rule"] = table["rule"].mask(over, "over-limit")
    table = grouped(opened_together(table, costs) if early else table, costs)
    return (table["decision"] == "replace").to_numpy().reshape(-1, len(places))


def long_run(moves: np.ndarray, costs: CostItems) -> float:
    """The rule's own rate for one pivot by itself: three rounds, or until it moves by under 2 %."""
    futures = Futures(moves, ALONE, costs)
    rate = (planned_cost(costs, KIND) + late_extra(costs)) / (10.0 * GAP)
    for _ in range(6):
        found = futures.rate(renewed(moves, ALONE, costs, rate, early=False))
        settled = abs(found / rate - 1.0) < 0.02
        rate = found
        if settled:
            break
    return rate
