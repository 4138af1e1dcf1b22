"""Tables behind the survival figures: fitted curves, the curve of the records, plot points.

A fitted curve is given on a regular grid of ages with a pointwise band: the unit bootstrap where
units carry several lives each, else the profile likelihood. Ages beyond the last observed life are
marked, for there the curve is a formula and not an observation. The curve of the records is the
non-parametric one, at the ages where it steps, among lives alive at `from_miles`.

Not here: fitting (`weibull`, `nonparametric`), drawing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import FloatArray
from pivotlife.models.nonparametric import SurvivalCurve, npmle
from pivotlife.models.type_cell import draws_units
from pivotlife.models.weibull import WeibullFit
from pivotlife.models.weibull_bootstrap import expanded_tail

CURVE_COLUMNS = [
    *("bushing_type", "duty", "curve", "miles", "survival", "lower", "upper", "at_risk"),
    *("beyond_data", "from_miles"),
]
POINT_COLUMNS = ["bushing_type", "duty", "miles", "failed_share", "lower", "upper", "at_risk"]
GRID_POINTS = 81
DRAWN_BEYOND = 1.25
MOST_POINTS = 60
#: A sample of the records' curve costs far more than one of a fitted curve.
MOST_DRAWS_OF_RECORDS = 100
LEVEL = 0.95


@dataclass(frozen=True)
class CurveTables:
    """What the survival figures are drawn from.

    Attributes
    ----------
    curves : DataFrame
        Columns `CURVE_COLUMNS`; curve is "weibull" or "records", miles since fitting.
    points : DataFrame
        Columns `POINT_COLUMNS`: the probability plot.
    """

    curves: pd.DataFrame
    points: pd.DataFrame


def curve_tables(
    lives: pd.DataFrame,
    fits: Mapping[tuple[str, str], WeibullFit],
    *,
    draws: int = 200,
    seed: int = 0,
) -> CurveTables:
    """Tabulate the curves of every type, alone ("all") and by duty.

    Parameters
    ----------
    lives : DataFrame
        Lives of one mode that are in the fit: `bushing_type, duty, unit_id, entry_miles,
        lower_miles, upper_miles`.
    fits : mapping of (bushing type, duty or "all") to WeibullFit
        Groups without a fit get only the curve of the records.
    draws, seed : int
        Of the unit bootstrap behind the bands; at most 100 draws for the curve of the records.

    Returns
    -------
    CurveTables
    """
    curves, points = [], []
    for key, group in _groups(lives):
        records = _records(group, draws, seed)
        if key in fits:
            curves.append(_named(_fitted(fits[key], group, draws, seed), key))
        if records is not None:
            curves.append(_named(_stepped(records), key))
            points.append(_named(_plot_points(records), key))
    return CurveTables(_joined(curves, CURVE_COLUMNS), _joined(points, POINT_COLUMNS))


def _groups(lives: pd.DataFrame) -> Iterator[tuple[tuple[str, str], pd.DataFrame]]:
    for kind, of_type in lives.groupby("bushing_type"):
        yield (str(kind), "all"), of_type
        for duty, of_duty in of_type.groupby("duty"):
            yield (str(kind), str(duty)), of_duty


def _records(group: pd.DataFrame, draws: int, seed: int) -> SurvivalCurve | None:
    try:
        return npmle(group, draws=min(draws, MOST_DRAWS_OF_RECORDS), seed=seed)
    except NoMaximumError:
        return None


def _last_observed(group: pd.DataFrame) -> float:
    ends = np.where(np.isfinite(group["upper_miles"]), group["upper_miles"], group["lower_miles"])
    return float(ends.max())


def _fitted(fit: WeibullFit, group: pd.DataFrame, draws: int, seed: int) -> pd.DataFrame:
    last = _last_observed(group)
    grid = np.linspace(0.0, DRAWN_BEYOND * last, GRID_POINTS)
    lower, upper = _band(fit, grid, draws, seed)
    entry = np.sort(group["entry_miles"].to_numpy(dtype=float))
    end = np.sort(group[["lower_miles", "upper_miles"]].min(axis=1).to_numpy(dtype=float))
    at_risk = np.searchsorted(entry, grid, "right") - np.searchsorted(end, grid, "left")
    return pd.DataFrame(
        {
            "curve": "weibull",
            "miles": grid,
            "survival": fit.survival(grid),
            "lower": lower,
            "upper": upper,
            "at_risk": at_risk.astype(float),
            "beyond_data": grid > last,
            "from_miles": 0.0,
        }
    )


def _band(
    fit: WeibullFit, grid: FloatArray, draws: int, seed: int
) -> tuple[FloatArray, FloatArray]:
    if not draws_units(fit):
        limits = [fit.interval(("survival", m), LEVEL) for m in grid[1:].tolist()]
        lower = np.array([1.0, *(limit.lower for limit in limits)])
        return lower, np.array([1.0, *(limit.upper for limit in limits)])
    drawn = fit.bootstrap(draws=draws, seed=seed)
    shape, log_scale = np.exp(np.nan_to_num(drawn.log_shape)), drawn.log_scale
    with np.errstate(divide="ignore"):
        log_hazard = shape[:, None] * (np.log(grid)[None, :] - log_scale[:, None])
    survival = np.exp(-np.exp(np.minimum(log_hazard, 700.0)))
    tail = expanded_tail(LEVEL, drawn.n_failing_units)
    low, high = np.quantile(survival, [tail, 1.0 - tail], axis=0)
    return low, high


def _stepped(records: SurvivalCurve) -> pd.DataFrame:
    ages = np.unique(np.concatenate([[records.from_miles], records.ages, [records.last_miles]]))
    ages = ages[ages >= records.from_miles]
    return pd.DataFrame(
        {
            "curve": "records",
            "miles": ages,
            "survival": records.survival(ages),
            "lower": records.lower(ages),
            "upper": records.upper(ages),
            "at_risk": records.at_risk(ages),
            "beyond_data": False,
            "from_miles": records.from_miles,
        }
    )


def _plot_points(records: SurvivalCurve) -> pd.DataFrame:
    ages = records.ages[records.ages > records.from_miles]
    if len(ages) > MOST_POINTS:
        ages = ages[np.unique(np.linspace(0, len(ages) - 1, MOST_POINTS).round().astype(int))]
    return pd.DataFrame(
        {
            "miles": ages,
            "failed_share": 1.0 - records.survival(ages),
            "lower": 1.0 - records.upper(ages),
            "upper": 1.0 - records.lower(ages),
            "at_risk": records.at_risk(ages),
        }
    )


def _named(table: pd.DataFrame, key: tuple[str, str]) -> pd.DataFrame:
    return table.assign(bushing_type=key[0], duty=key[1])


def _joined(tables: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    if not tables:
        return pd.DataFrame(columns=columns)
    return pd.concat(tables, ignore_index=True)[columns]
