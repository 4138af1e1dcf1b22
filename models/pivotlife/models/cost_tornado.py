"""Which figure moves the saving most: each moved by itself, the others held.

Prices move by a quarter either way, rates and care by points, holding miles by a quarter, lives
between the ends of what the records allow, and the life ratio between the ends of the comparison
that evens out duty, salt, node and care. Policies are held. The steps are a choice of this program
and stand in the table.

Not here: figures at which the sign turns (`cost_break_even`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.cost_break_even import driven_anew, mean_saving, with_compliance
from pivotlife.models.cost_policy import TypeLife
from pivotlife.models.cost_tables import reference_place
from pivotlife.models.lifetime_cost import DutyCost, Money

TORNADO_COLUMNS: Final = (
    *("bushing_type", "reference_type", "duty", "figure", "low", "high", "saving_at_low"),
    *("saving_now", "saving_at_high", "swing"),
)
_QUARTER: Final = 0.25
_POINTS: Final = {"discount_rate": 0.03, "price_escalation": 0.02}
_CARE: Final = 0.15


@dataclass(frozen=True)
class Swing:
    """A figure at two values, and the saving at each."""

    figure: str
    low: float
    high: float
    saving_at_low: float
    saving_at_high: float


def tornado_table(
    costs: list[DutyCost],
    money: Money,
    lube_effect: Mapping[str, float],
    ratios: Mapping[tuple[str, str], tuple[float, float]],
) -> pd.DataFrame:
    """Move every figure by itself and say what the saving becomes.

    Parameters
    ----------
    costs : list of DutyCost
    money : Money
    lube_effect : mapping of bushing type to float
        Factor on the life for 10 points of lube compliance more.
    ratios : mapping of (type, reference type) to (low, high)
        Ratio of the ages by which one in ten has failed, evened out; pairs may be missing.

    Returns
    -------
    DataFrame
        `TORNADO_COLUMNS`, widest swing first within a type and duty; currency.
    """
    rows: list[dict[str, object]] = []
    for cost in costs:
        for place, kind in enumerate(cost.types):
            if place == reference_place(cost):
                continue
            swings = [
                *_prices(cost, place, money),
                *_rates(cost, place, money),
                *_driven(cost, place, money, lube_effect, ratios),
            ]
            now = mean_saving(cost, place, money)
            about = {
                "bushing_type": kind,
                "reference_type": cost.work.reference_type,
                "duty": cost.work.duty,
                "saving_now": now,
            }
            rows += [
                {**about, **vars(one), "swing": abs(one.saving_at_high - one.saving_at_low)}
                for one in sorted(
                    swings, key=lambda s: (-abs(s.saving_at_high - s.saving_at_low), s.figure)
                )
            ]
    return pd.DataFrame(rows, columns=list(TORNADO_COLUMNS))


def _prices(cost: DutyCost, place: int, money: Money) -> Iterator[Swing]:
    concerned = {f"parts.{cost.types[place]}", f"parts.{cost.work.reference_type}"}
    for key, value in money.figures.items():
        if value == 0 or (key.startswith("parts.") and key not in concerned):
            continue
        ends = (value * (1 - _QUARTER), value * (1 + _QUARTER))
        low, high = (mean_saving(cost, place, money.with_figures(**{key: end})) for end in ends)
        if low != high:
            yield Swing(key, *ends, low, high)


def _rates(cost: DutyCost, place: int, money: Money) -> Iterator[Swing]:
    for name, points in _POINTS.items():
        value = float(getattr(money, name))
        ends = (max(value - points, 0.0), value + points)
        low, high = (mean_saving(cost, place, _with_rate(money, name, end)) for end in ends)
        yield Swing(name, *ends, low, high)


def _with_rate(money: Money, name: str, value: float) -> Money:
    if name == "discount_rate":
        return replace(money, discount_rate=value)
    return replace(money, price_escalation=value)


def _driven(
    cost: DutyCost,
    place: int,
    money: Money,
    effect: Mapping[str, float],
    ratios: Mapping[tuple[str, str], tuple[float, float]],
) -> Iterator[Swing]:
    """Figures that change what happens: the trucks are driven again."""
    work, usual = cost.work, reference_place(cost)
    spans = tuple(work.horizon_miles * (1 + step) for step in (-_QUARTER, _QUARTER))
    runs = [driven_anew(cost, money, replace(work, horizon_miles=h)) for h in spans]
    yield _swing("holding_miles", spans, runs, place, money)
    cares = (max(work.compliance - _CARE, 0.0), min(work.compliance + _CARE, 1.0))
    runs = [
        driven_anew(
            cost,
            money,
            replace(work, compliance=care),
            with_compliance(cost.lives, care - work.compliance, effect),
        )
        for care in cares
    ]
    yield _swing("lube_compliance", cares, runs, place, money)
    for one in (place, usual):
        low, high = np.quantile(cost.lives[one].scales, (0.1, 0.9))
        ends = (float(low), float(high))
        runs = [driven_anew(cost, money, work, _lasting(cost.lives, one, end)) for end in ends]
        yield _swing(f"life of {cost.types[one]}, miles", ends, runs, place, money)
    pair = ratios.get((cost.types[place], work.reference_type))
    if pair is not None:
        scales = [_evened(cost.lives[place], cost.lives[usual], ratio) for ratio in pair]
        runs = [driven_anew(cost, money, work, _lasting(cost.lives, place, s)) for s in scales]
        yield _swing("life ratio, evened out", pair, runs, place, money)


def _swing(
    name: str, ends: tuple[float, ...], runs: list[DutyCost], place: int, money: Money
) -> Swing:
    low, high = (mean_saving(run, place, money) for run in runs)
    return Swing(name, ends[0], ends[1], low, high)


def _lasting(lives: tuple[TypeLife, ...], place: int, scale: float) -> tuple[TypeLife, ...]:
    """Give one type the same scale in every draw, its shape as fitted."""
    life = lives[place]
    fixed = replace(
        life,
        scale=scale,
        scales=np.full_like(life.scales, scale),
        shapes=np.full_like(life.shapes, life.shape),
    )
    return tuple(fixed if n == place else one for n, one in enumerate(lives))


def _evened(life: TypeLife, usual: TypeLife, ratio: float) -> float:
    """Scale at which the age of one in ten is `ratio` times the reference type's, miles."""
    one_in_ten = -np.log(0.9)
    target = ratio * usual.scale * one_in_ten ** (1.0 / usual.shape)
    return float(target / one_in_ten ** (1.0 / life.shape))
