"""Chances of pivots as columns, from a life curve alone.

A bushing of unknown age that was found good is looked at as old, as young, and half-way between, as
its records allow. Each age counts as much as it is likely that a bushing so old was still good when
it was last found good; the chance then goes on from there.

Not here: chances from readings of play (`growth_chances`), and which of the two speaks.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.age_cases import over_ages
from pivotlife.models.life_curves import Curve
from pivotlife.models.pivot_readings import with_unknown_ages

FloatArray = npt.NDArray[np.float64]

#: A pivot is due when its chance of being over reaches this.
DUE_CHANCE: Final = 0.2


def by_curve(part: pd.DataFrame, curve: Curve, ahead: int = 0) -> pd.DataFrame:
    """Chances from the life curve alone, given good at the last good finding.

    Parameters
    ----------
    part : DataFrame, one row per pivot
        age_miles, visit_age, next_age, last_good_miles (ages in miles; NaN = from new).
    curve : Curve
    ahead : int
        Further visits to look at, as far apart as the next two: columns chance_ahead_1 and on.

    Returns
    -------
    DataFrame
        Result columns, index of `part`; no play.
    """
    good = np.nan_to_num(part["last_good_miles"].to_numpy(dtype=float))
    base = curve.hazard_to(good)

    def chance(miles: FloatArray) -> FloatArray:
        return np.asarray(-np.expm1(-np.maximum(curve.hazard_to(miles) - base, 0.0)))

    out = _chances(part, chance)
    next_age = part["next_age"].to_numpy(dtype=float)
    gap = next_age - part["visit_age"].to_numpy(dtype=float)
    for step in range(1, ahead + 1):
        out[f"chance_ahead_{step}"] = chance(next_age + step * gap)
    hazard = curve.drawn_hazard_to(next_age) - curve.drawn_hazard_to(good)
    _add_band(out, -np.expm1(-np.maximum(hazard, 0.0)), next_age, is_bound=curve.is_bound)
    due = curve.scale * (base - np.log1p(-DUE_CHANCE)) ** (1 / curve.shape)
    out["miles_until_due"] = np.maximum(due - part["age_miles"].to_numpy(dtype=float), 0.0)
    out["readings_used"] = 0
    out["method"] = [
        f"life curve ({curve.name}) alone, " + (f"good at {g:,.0f} mi" if g > 0 else "from new")
        for g in good
    ]
    return out


def by_curve_over_ages(
    part: pd.DataFrame, good: pd.DataFrame, curve: Curve, ahead: int = 0
) -> pd.DataFrame:
    """Chances from the life curve alone where the age is unknown.

    Parameters
    ----------
    part : DataFrame, one row per pivot
        As for `by_curve`, and open_miles (how much younger the bushing may be).
    good : DataFrame
        `row` (index of `part`) and age_miles of every good finding, at the greatest age.
    curve : Curve
    ahead : int

    Returns
    -------
    DataFrame
        As `by_curve`, index of `part`.
    """
    cases, found = with_unknown_ages(part, good.loc[good["row"].isin(part.index)])
    last = found.groupby("case")["age_miles"].max().reindex(cases.index)
    cases["last_good_miles"] = cases["last_good_miles"].astype(float).fillna(last)
    out = by_curve(cases, curve, ahead).assign(row=cases["row"])
    alive = np.exp(-curve.hazard_to(np.nan_to_num(cases["last_good_miles"].to_numpy(dtype=float))))
    # All ages may be next to impossible: then they count alike.
    likely = pd.Series(np.maximum(alive, 1e-12), index=cases.index)
    share: pd.Series = likely / likely.groupby(cases["row"]).transform("sum")
    return over_ages(out, cases["row"], share).reindex(part.index)


def _chances(part: pd.DataFrame, chance: Callable[[FloatArray], FloatArray]) -> pd.DataFrame:
    columns = {
        "chance_over_now": "age_miles",
        "chance_over_at_visit": "visit_age",
        "chance_over_by_next_visit": "next_age",
    }
    return pd.DataFrame(
        {name: chance(part[age].to_numpy(dtype=float)) for name, age in columns.items()},
        index=part.index,
    )


def _add_band(out: pd.DataFrame, band: FloatArray, next_age: FloatArray, *, is_bound: bool) -> None:
    """Put the 10 % and 90 % end of the chance; of an upper bound the lower end is 0."""
    lower, upper = np.quantile(band, [0.1, 0.9], axis=1)
    middle = out["chance_over_by_next_visit"].to_numpy()
    known = np.isfinite(next_age)
    out["chance_lower"] = np.where(known, 0.0 if is_bound else np.minimum(lower, middle), np.nan)
    out["chance_upper"] = np.where(known, np.maximum(upper, middle), np.nan)
