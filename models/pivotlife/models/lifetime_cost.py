"""Lifetime cost of a bushing type: physical counts by year first, then money.

A truck of a duty gets six new bushings of one type today (year 0) and is driven until it is sold;
`truck_miles` tells what that takes. Trucks are drawn with the lives that the records allow, and
each with a hardship that its bushings share, so that luck and ignorance are in the spread; all
types meet the same luck. Money is counts x
amounts x price growth x discount, and the sums over a year's end are exact in every price.

Extra lube visits come from the intervals alone: where greasing is due more often than service,
each missing one is a visit of its own, done as often as the fleet does its lube services.
Rubber-bonded bushings take none.

Not here: trucks as they stand today (`unit_conversion`), comparing types (`cost_comparison`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pivotlife.models.arrays import FloatArray
from pivotlife.models.cash_flows import discount_factors, price_factors
from pivotlife.models.cost_lines import CASH, COUNTS, DOWNTIME, unit_amounts
from pivotlife.models.cost_policy import (
    Policy,
    TypeLife,
    candidates,
    choose_policy,
    fitted_bushings,
)
from pivotlife.models.truck_luck import shared
from pivotlife.models.truck_miles import PLACES, Axles, drawn_lives, drive

#: Trucks drawn for each of the lives that the records allow, and in the search of a policy.
TRUCKS_PER_DRAW = 20
_SEARCHED = 240
_SEARCHED_PER_DRAW = 4


@dataclass(frozen=True)
class DutyWork:
    """How trucks of a duty are driven and served.

    Attributes
    ----------
    duty : str
    gap_miles, lube_miles : float, miles
        Between services, and between greasings that are due.
    annual_miles : float, miles per year
    horizon_miles : float, miles
        Distance until the truck is sold: nothing is counted beyond.
    compliance : float, 0 to 1
        Share of the lube services that are done.
    reference_type : str
        Type that most of the duty's pivots carry today.
    early_miles : float, miles
        Below this age nothing is renewed on its age alone.
    trucks : int
        Units of the duty in the fleet.
    """

    duty: str
    gap_miles: float
    lube_miles: float
    annual_miles: float
    horizon_miles: float
    compliance: float
    reference_type: str
    early_miles: float = 60_000.0
    trucks: int = 0

    @property
    def years(self) -> int:
        """Years until the sale, the last one begun counted whole."""
        return max(1, int(np.ceil(self.horizon_miles / self.annual_miles - 1e-9)))

    @property
    def extra_lube_per_mile(self) -> float:
        """Lube visits per mile that no service covers, at full compliance."""
        return max(0.0, 1.0 / self.lube_miles - 1.0 / self.gap_miles)


@dataclass(frozen=True)
class Money:
    """Prices of today, and how money of later years counts.

    Attributes
    ----------
    figures : mapping of figure key to number
        The price list: currency, hours, days, shares.
    discount_rate, price_escalation : float, per year
    """

    figures: Mapping[str, float]
    discount_rate: float = 0.0
    price_escalation: float = 0.0

    def factors(self, years: int) -> FloatArray:
        """Worth today of a thing bought in each year at today's price, shape (years + 1,)."""
        return np.asarray(
            price_factors(self.price_escalation, years)
            * discount_factors(self.discount_rate, years)
        )

    def with_figures(self, **changed: float) -> Money:
        """Return the same with some figures changed."""
        return replace(self, figures={**self.figures, **changed})


@dataclass(frozen=True, eq=False)
class DutyCost:
    """What trucks of one duty take, by type.

    Attributes
    ----------
    work : DutyWork
    lives : tuple of TypeLife, one a type
    policies : tuple of Policy, one a type
    counts : ndarray, shape (types, trucks, years + 1, n_counts)
        Trucks of one drawn life stand together; year 0 is the fitting today.
    draws : int
    """

    work: DutyWork
    lives: tuple[TypeLife, ...]
    policies: tuple[Policy, ...]
    counts: FloatArray
    draws: int
    types: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "types", tuple(life.bushing_type for life in self.lives))

    def amounts(self, money: Money, kind: str) -> FloatArray:
        """Discounted cost of a kind, by type and truck, shape (types, trucks), currency."""
        return priced(self.counts, self.types, money, kind)

    def whole(self, money: Money) -> FloatArray:
        """Cash and downtime together, by type and truck: what choices weigh."""
        return self.amounts(money, CASH) + self.amounts(money, DOWNTIME)


@dataclass(frozen=True, eq=False)
class Lifetime:
    """What trucks take in every duty, and the money it is priced with."""

    costs: tuple[DutyCost, ...]
    money: Money

    @property
    def policies(self) -> dict[str, dict[str, Policy]]:
        """Policies in force, by duty and type."""
        return {
            cost.work.duty: dict(zip(cost.types, cost.policies, strict=True)) for cost in self.costs
        }


def priced(counts: FloatArray, types: Sequence[str], money: Money, kind: str) -> FloatArray:
    """Discount and price counts, shape (types, trucks, years + 1, n_counts) to (types, trucks)."""
    factors = money.factors(counts.shape[2] - 1)
    unit = np.stack([unit_amounts(money.figures, name, kind) for name in types])
    return np.asarray(np.einsum("kryc,y,kc->kr", counts, factors, unit, optimize=True))


def duty_cost(
    work: DutyWork,
    lives: Sequence[TypeLife],
    money: Money,
    *,
    held: Mapping[str, Policy] | None = None,
    trucks_per_draw: int = TRUCKS_PER_DRAW,
    seed: int = 0,
) -> DutyCost:
    """Count what trucks of a duty take over their remaining miles, for every type.

    Parameters
    ----------
    work : DutyWork
    lives : sequence of TypeLife, all with the same number of draws
    money : Money
        Prices by which policies are chosen; the counts themselves do not depend on it.
    held : mapping of bushing type to Policy, optional
        Policies in force; those missing are chosen.
    trucks_per_draw, seed : int

    Returns
    -------
    DutyCost
    """
    policies = tuple(
        (held or {}).get(life.bushing_type) or best_policy(work, life, money, seed=seed)[0]
        for life in lives
    )
    draws = len(lives[0].shapes)
    draw = np.repeat(np.arange(draws), trucks_per_draw)
    counts = truck_counts(work, lives, policies, draw, seed)
    return DutyCost(work, tuple(lives), policies, counts, draws)


def best_policy(
    work: DutyWork, life: TypeLife, money: Money, held: Policy | None = None, *, seed: int = 0
) -> tuple[Policy, float]:
    """Find the marks that cost least, and the share they save against those held (`held`)."""
    tried = candidates(life)
    if held is not None and held not in tried:
        tried = [*tried, held]
    draws = len(life.shapes)
    draw = np.arange(min(_SEARCHED, _SEARCHED_PER_DRAW * draws)) % draws
    counts = truck_counts(work, [life] * len(tried), tried, draw, seed + 1)
    types = [life.bushing_type] * len(tried)
    cost = priced(counts, types, money, CASH) + priced(counts, types, money, DOWNTIME)
    return choose_policy(tried, cost.mean(axis=1), held)


def truck_counts(
    work: DutyWork,
    lives: Sequence[TypeLife],
    policies: Sequence[Policy],
    draw: np.ndarray,
    seed: int,
) -> FloatArray:
    """Drive trucks that start on new bushings and count by year.

    Parameters
    ----------
    work : DutyWork
    lives, policies : sequences, one an option
    draw : ndarray of int, shape (trucks,)
        Which of the drawn lives each truck has.
    seed : int

    Returns
    -------
    ndarray, shape (options, trucks, years + 1, n_counts)
    """
    trucks, options = len(draw), len(lives)
    fitted = fitted_bushings(lives, policies, draw)
    uniform = np.random.default_rng([seed, 1]).uniform(1e-12, 1.0, (trucks, len(PLACES)))
    hardship = np.random.default_rng([seed, 3]).standard_normal(trucks)
    even = shared(uniform, hardship[:, None], fitted.likeness)
    start = np.zeros((options, trucks, len(PLACES)))
    axles = Axles(
        horizon=np.full(trucks, work.horizon_miles),
        first_visit=np.full(trucks, work.gap_miles),
        present=np.ones((trucks, len(PLACES)), dtype=bool),
        age=start,
        life=drawn_lives(even, fitted.shape, fitted.scale) + start,
        refit=np.zeros((options, 1), dtype=bool),
        converted=np.zeros((options, 1, 1), dtype=bool),
        hardship=hardship,
    )
    counts = np.zeros((options, trucks, work.years + 1, len(COUNTS)))
    for step in drive(axles, fitted, work.gap_miles, work.early_miles, seed):
        year = int(np.clip(np.ceil(step.miles[0] / work.annual_miles - 1e-9), 1, work.years))
        counts[:, :, year] += np.moveaxis(step.counts, 0, -1)
    for number, life in enumerate(lives):
        counts[number, :, 0] = first_fitting(life.bushing_type != work.reference_type)
        counts[number, :, :, COUNTS.index("lube_visits")] = lube_visits(work, life)
    return counts


def first_fitting(is_conversion: bool) -> FloatArray:
    """Count six new bushings on one axle, shape (n_counts,)."""
    done = {"kits": 6, "sides_opened": 2, "further_on_shackle": 2, "further_on_side": 2}
    done |= {"jobs_as_planned": 1, "conversions": 6 if is_conversion else 0}
    return np.array([float(done.get(name, 0)) for name in COUNTS])


def lube_visits(work: DutyWork, life: TypeLife) -> FloatArray:
    """Lube visits beside the services in each year, shape (years + 1,)."""
    begun = work.annual_miles * np.arange(work.years + 1)
    driven = np.diff(np.minimum(begun, work.horizon_miles), prepend=0.0)
    rate = work.extra_lube_per_mile * work.compliance if life.takes_grease else 0.0
    return np.asarray(driven * rate)
