"""What would turn a comparison of types round: break-even figures, and late ends dearer or cheaper.

Savings are linear in every price, so that the price at which two types cost the same is exact on
the same counts. Holding miles and lube compliance change what happens: the trucks are driven again
on a grid of them, by the same policies and the same luck, and the crossing lies between two
neighbours. Compliance moves the life of a type that takes grease by the effect that the records
show, where they show one.

Not here: which figure moves the saving most (`cost_tornado`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.cost_lines import COUNTS, unplanned_amounts
from pivotlife.models.cost_policy import TypeLife
from pivotlife.models.cost_tables import reference_place
from pivotlife.models.lifetime_cost import DutyCost, DutyWork, Money, duty_cost

BREAK_EVEN_COLUMNS: Final = (
    *("bushing_type", "reference_type", "duty", "figure", "unit", "now", "break_even"),
    *("saving_now", "cheaper", "note"),
)
LATE_COLUMNS: Final = (
    *("bushing_type", "reference_type", "duty", "times", "late_cost_more", "saving_held"),
    *("saving_chosen_anew", "policy", "reference_policy"),
)
#: A late end is taken that many times as dear.
TIMES: Final = (0.5, 1.0, 2.0, 4.0)
#: Trucks for each drawn life where they are driven again.
_FEWER: Final = 8
_HORIZONS: Final = 9
_COMPLIANCES: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


def mean_saving(cost: DutyCost, place: int, money: Money) -> float:
    """Mean saving of a type against the reference, cash and downtime, currency."""
    whole = cost.whole(money).mean(axis=1)
    return float(whole[reference_place(cost)] - whole[place])


def driven_anew(
    cost: DutyCost, money: Money, work: DutyWork, lives: tuple[TypeLife, ...] | None = None
) -> DutyCost:
    """Drive fewer trucks of another horizon, care or life by the policies of `cost`."""
    held = dict(zip(cost.types, cost.policies, strict=True))
    return duty_cost(work, lives or cost.lives, money, held=held, trucks_per_draw=_FEWER)


def with_compliance(
    lives: tuple[TypeLife, ...], change: float, effect: Mapping[str, float]
) -> tuple[TypeLife, ...]:
    """Stretch the lives of types that take grease for a change of compliance.

    Parameters
    ----------
    lives : tuple of TypeLife
    change : float
        Compliance compared with what the lives were recorded under, as a share.
    effect : mapping of bushing type to float
        Factor on the life for 10 points of compliance more.
    """
    factors = [
        effect.get(life.bushing_type, 1.0) ** (10.0 * change) if life.takes_grease else 1.0
        for life in lives
    ]
    return tuple(
        replace(life, scale=life.scale * f, scales=life.scales * f)
        for life, f in zip(lives, factors, strict=True)
    )


def break_even_table(
    costs: list[DutyCost], money: Money, lube_effect: Mapping[str, float]
) -> pd.DataFrame:
    """Find where each type and its duty's reference type cost the same (`BREAK_EVEN_COLUMNS`).

    Parameters
    ----------
    costs : list of DutyCost
    money : Money
    lube_effect : mapping of bushing type to float
        Factor on the life for 10 points of lube compliance more.

    Returns
    -------
    DataFrame
        Figures kit price, holding miles, lube compliance, late find; break_even NaN with a note
        where there is none. cheaper: on which side of it the type costs less.
    """
    rows: list[dict[str, object]] = []
    for cost in costs:
        horizons = _by_horizon(cost, money)
        cares = _by_compliance(cost, money, lube_effect)
        for place, kind in enumerate(cost.types):
            if place == reference_place(cost):
                continue
            about = {
                "bushing_type": kind,
                "reference_type": cost.work.reference_type,
                "duty": cost.work.duty,
                "saving_now": mean_saving(cost, place, money),
            }
            found = (
                _kit_price(cost, place, money),
                _on_grid("holding miles", "miles", cost.work.horizon_miles, horizons, place),
                _on_grid("lube compliance", "share", cost.work.compliance, cares, place),
                _late_find(cost, place, money),
            )
            rows += [{**about, **one} for one in found]
    return pd.DataFrame(rows, columns=list(BREAK_EVEN_COLUMNS))


def late_cost_more(money: Money, gap_miles: float) -> float:
    """Say what a late find costs more than a planned job, over half a gap on average, currency."""
    kind = next(key.split(".", 1)[1] for key in money.figures if key.startswith("parts."))
    happened = {"jobs_found_late": 1.0, "late_finds": 1.0, "miles_over": gap_miles / 2.0}
    counts = np.array([happened.get(name, 0.0) for name in COUNTS])
    return float(counts @ unplanned_amounts(money.figures, kind))


def with_late_times(money: Money, times: float) -> Money:
    """Make everything that an unplanned end costs so many times as dear."""
    figures = dict(money.figures)
    for key in ("tyre_pair", "roadside", "tow", "downtime_days.roadside"):
        figures[key] *= times
    planned, late = figures["downtime_days.planned"], figures["downtime_days.late"]
    figures["downtime_days.late"] = planned + times * (late - planned)
    return replace(money, figures=figures)


def late_table(costs: list[DutyCost], money: Money, *, seed: int = 0) -> pd.DataFrame:
    """Say how the saving moves with what an unplanned end costs (`LATE_COLUMNS`)."""
    rows = []
    for cost in costs:
        for times in TIMES:
            dearer = with_late_times(money, times)
            anew = duty_cost(cost.work, cost.lives, dearer, trucks_per_draw=_FEWER, seed=seed)
            rows += [
                {
                    "bushing_type": kind,
                    "reference_type": cost.work.reference_type,
                    "duty": cost.work.duty,
                    "times": times,
                    "late_cost_more": late_cost_more(dearer, cost.work.gap_miles),
                    "saving_held": mean_saving(cost, place, dearer),
                    "saving_chosen_anew": mean_saving(anew, place, dearer),
                    "policy": _policy(anew, place),
                    "reference_policy": _policy(anew, reference_place(anew)),
                }
                for place, kind in enumerate(cost.types)
                if place != reference_place(cost)
            ]
    return pd.DataFrame(rows, columns=list(LATE_COLUMNS))


def _policy(cost: DutyCost, place: int) -> str:
    return cost.policies[place].told(cost.lives[place].play is not None)


def _kit_price(cost: DutyCost, place: int, money: Money) -> dict[str, object]:
    kind = cost.types[place]
    kits = cost.counts[place, :, :, COUNTS.index("kits")].mean(axis=0)
    per_price = float(kits @ money.factors(cost.work.years))
    now = money.figures[f"parts.{kind}"]
    even = now + mean_saving(cost, place, money) / per_price
    note = "" if even >= 0 else "dearer even if the kit were free"
    return _row(
        "kit price", "currency per pivot", now, even if even >= 0 else np.nan, "below", note
    )


def _late_find(cost: DutyCost, place: int, money: Money) -> dict[str, object]:
    factors = money.factors(cost.work.years)
    parts = [
        float(cost.counts[p].mean(axis=0).T @ factors @ unplanned_amounts(money.figures, kind))
        for p, kind in enumerate(cost.types)
    ]
    more = parts[reference_place(cost)] - parts[place]
    now = late_cost_more(money, cost.work.gap_miles)
    times = 1.0 - mean_saving(cost, place, money) / more if more else np.nan
    note = "" if times >= 0 else "no cost of a late find makes the two equal"
    even = now * times if times >= 0 else np.nan
    side = "above" if more > 0 else "below"
    return _row("late find", "currency more than a planned job", now, even, side, note)


def _row(name: str, unit: str, now: float, even: float, side: str, note: str) -> dict[str, object]:
    cheaper = side if np.isfinite(even) else ""
    return {
        "figure": name,
        "unit": unit,
        "now": now,
        "break_even": even,
        "cheaper": cheaper,
        "note": note,
    }


def _by_horizon(cost: DutyCost, money: Money) -> tuple[FloatArray, list[FloatArray]]:
    work = cost.work
    at = np.linspace(2.0 * work.gap_miles, 2.0 * work.horizon_miles, _HORIZONS)
    runs = (driven_anew(cost, money, replace(work, horizon_miles=float(h))) for h in at)
    return at, [_savings(run, money) for run in runs]


def _by_compliance(
    cost: DutyCost, money: Money, effect: Mapping[str, float]
) -> tuple[FloatArray, list[FloatArray]]:
    at = np.array(_COMPLIANCES)
    savings = []
    for care in at:
        lives = with_compliance(cost.lives, float(care) - cost.work.compliance, effect)
        run = driven_anew(cost, money, replace(cost.work, compliance=float(care)), lives)
        savings.append(_savings(run, money))
    return at, savings


def _savings(cost: DutyCost, money: Money) -> FloatArray:
    whole = cost.whole(money).mean(axis=1)
    return np.asarray(whole[reference_place(cost)] - whole)


def _on_grid(
    name: str, unit: str, now: float, grid: tuple[FloatArray, list[FloatArray]], place: int
) -> dict[str, object]:
    """Find the last crossing of a saving on a grid, straight between neighbours."""
    at, savings = grid
    saving = np.array([one[place] for one in savings])
    turns = np.flatnonzero(np.sign(saving[:-1]) != np.sign(saving[1:]))
    if not len(turns):
        always = "cheaper" if saving[-1] > 0 else "dearer"
        tried = " to ".join(f"{float(f'{end:.3g}'):,.10g}" for end in (at[0], at[-1]))
        return _row(name, unit, now, np.nan, "", f"{always} at every figure tried, {tried}")
    last = turns[-1]
    low, high = saving[last], saving[last + 1]
    even = float(at[last] - low * (at[last + 1] - at[last]) / (high - low))
    note = "" if len(turns) == 1 else f"{len(turns)} crossings, the last is given"
    return _row(name, unit, now, even, "above" if high > low else "below", note)
