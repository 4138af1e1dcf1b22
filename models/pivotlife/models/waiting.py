"""Waiting one or more visits against renewing now.

Let V1 be the visit at hand, V2, V3, ... the ones after, c_j the chance of being over the limit by
Vj. Given not over at V1, the chance of passing the limit by the k-th visit after is
q_k = (c_(k+1) - c_1) / (1 - c_1). Waiting k visits and renewing there costs and keeps

    W_k = q_k (late - planned) + P(sudden failure until then) (road - planned),
    v_k = g x expected miles = g sum_(j < k) (1 - q_j) (V_(j+2) - V_(j+1)),

g being the long-run cost of a mile on what would be fitted. Renewing now is right when no wait
pays. Where the chance per mile does not fall, one visit decides; where it falls (early failures), a
wait over several visits may pay although the first does not.

Before a planned sale nothing is credited beyond it: a wait ends at the sale, saves the whole
renewal, and costs the late finding in full where it comes.

Not here: where chances come from, what a pivot shares with its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pivotlife.models.arrays import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Outlook:
    """What is expected of each pivot at its coming visits.

    Attributes
    ----------
    chance : ndarray, shape (n, K + 1)
        Chance of being over the limit by V1, V2, ..., never falling; NaN unknown.
    miles : ndarray, shape (n, K + 1), miles
        True miles of the unit at these visits.
    sale_miles : ndarray, shape (n,), miles
        Planned sale; infinity where none is planned.
    """

    chance: FloatArray
    miles: FloatArray
    sale_miles: FloatArray


@dataclass(frozen=True, eq=False)
class Stakes:
    """What is at stake, arrays of shape (n,) in the currency.

    Attributes
    ----------
    planned, late, road : ndarray
        Cost of a planned renewal, of one found late (without tyres), of one on the road.
    late_per_mile : ndarray
        Tyres worn per mile over the limit; half a gap is driven so on average.
    sudden_per_mile : ndarray
        Rate of failing without warning.
    rate : ndarray
        g, long-run cost of a mile on what would be fitted.
    """

    planned: FloatArray
    late: FloatArray
    road: FloatArray
    late_per_mile: FloatArray
    sudden_per_mile: FloatArray
    rate: FloatArray


@dataclass(frozen=True, eq=False)
class Waits:
    """Each wait's cost and worth, shape (n, K + 1); the last column is the wait until the sale.

    Attributes
    ----------
    cost, kept, miles : ndarray
        W and v in the currency, expected miles; NaN where figures are missing, kept -inf where
        the wait does not exist.
    best : ndarray of int, shape (n,)
        The first visit where waiting for it pays, else the wait that pays most; the first where
        none pays.
    """

    cost: FloatArray
    kept: FloatArray
    miles: FloatArray
    best: IntArray

    def at_best(self) -> tuple[FloatArray, FloatArray]:
        """Cost and worth of the best wait, shape (n,)."""
        rows = np.arange(len(self.best))
        return self.cost[rows, self.best], self.kept[rows, self.best]


def passed_between(chance: FloatArray) -> FloatArray:
    """Chance of passing the limit by V2, V3, ... given not over at V1, shape (n, K)."""
    left = 1.0 - chance[:, :1]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(left > 0, (chance[:, 1:] - chance[:, :1]) / left, 1.0)
    ratio = np.where(np.isnan(chance[:, 1:]) | np.isnan(left), np.nan, ratio)
    return np.asarray(np.clip(ratio, 0.0, 1.0))


def weigh_waits(outlook: Outlook, stakes: Stakes) -> Waits:
    """Weigh every wait of every pivot.

    Parameters
    ----------
    outlook : Outlook
    stakes : Stakes

    Returns
    -------
    Waits
    """
    passed = passed_between(outlook.chance)
    gaps = np.diff(outlook.miles, axis=1)
    alive = np.concatenate([np.ones((len(gaps), 1)), 1.0 - passed[:, :-1]], axis=1)
    miles = np.cumsum(alive * gaps, axis=1)
    ahead = outlook.miles[:, 1:] - outlook.miles[:, :1]
    late = (stakes.late - stakes.planned)[:, None] + stakes.late_per_mile[:, None] * gaps / 2.0
    shares = np.diff(np.concatenate([np.zeros((len(gaps), 1)), passed], axis=1), axis=1)
    cost = np.cumsum(shares * late, axis=1) + _sudden(ahead, stakes, stakes.planned)
    kept = stakes.rate[:, None] * miles
    gone = outlook.miles[:, 1:] > outlook.sale_miles[:, None]
    kept = np.where(gone, -np.inf, kept)
    sold = _until_sale(outlook, stakes, passed, late[:, 0])
    cost, kept, miles = (
        np.concatenate([part, end[:, None]], axis=1)
        for part, end in zip((cost, kept, miles), sold, strict=True)
    )
    gain = kept - cost
    pays = gain > 0
    most = np.argmax(np.where(np.isnan(gain), -np.inf, gain), axis=1)
    first = np.where(pays[:, 0], 0, most)
    none = ~pays.any(axis=1)
    best = np.where(none, np.where(np.isfinite(kept[:, 0]) | np.isnan(kept[:, 0]), 0, most), first)
    return Waits(cost, kept, miles, best.astype(np.int64))


def _sudden(ahead: FloatArray, stakes: Stakes, saved: FloatArray) -> FloatArray:
    chance = -np.expm1(-stakes.sudden_per_mile[:, None] * np.maximum(ahead, 0.0))
    return np.asarray(chance * (stakes.road - saved)[:, None])


def _until_sale(
    outlook: Outlook, stakes: Stakes, passed: FloatArray, late_extra: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cost, worth and miles of never renewing; -inf worth where the sale is beyond the visits."""
    left = outlook.sale_miles - outlook.miles[:, 0]
    within = outlook.sale_miles < outlook.miles[:, -1]
    left = np.where(within, np.maximum(left, 0.0), 0.0)
    start = np.concatenate([np.zeros((len(passed), 1)), passed], axis=1)
    ahead = outlook.miles - outlook.miles[:, :1]
    chance = np.zeros(len(left))
    for j in range(passed.shape[1]):
        part = np.clip((left - ahead[:, j]) / np.diff(ahead, axis=1)[:, j], 0.0, 1.0)
        chance = chance + part * (start[:, j + 1] - start[:, j])
    nothing = np.zeros_like(stakes.planned)
    cost = chance * (late_extra + stakes.planned) + _sudden(left[:, None], stakes, nothing)[:, 0]
    kept = np.where(within, stakes.planned, -np.inf)
    return cost, np.where(np.isnan(outlook.miles[:, 0]), np.nan, kept), left
