"""How good past forecasts were: found against forecast, Brier score and skill, calibrated or not.

Each verified pair counts with its weight (`backtest_weights`). Several lists look at one visit
and six pivots ride on one truck, so intervals come from whole units drawn again.

    ratio = weighted share found worn / weighted mean chance
    Brier = weighted mean of (chance - worn)^2;   skill = 1 - Brier / (share x (1 - share))

after Brier, Monthly Weather Review 78 (1950) 1-3, and Murphy, Journal of Applied Meteorology 12
(1973) 595-600 (from memory; no page was seen).

A type is *not calibrated* when the ratio's 95 % interval leaves out 1 and the ratio lies outside
2/3 to 3/2, or when the whole interval of the skill lies below 0: then the base rate of the type
would have said more. With fewer than ten bushings found worn and fewer than ten expected nothing
is said.

Not here: what a failed test brings about.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.backtest_pairs import WORN
from pivotlife.models.backtest_weights import EDGES

FloatArray = npt.NDArray[np.float64]

CALIBRATED: Final = "calibrated"
NOT_CALIBRATED: Final = "not calibrated"
TOO_FEW: Final = "too few"
#: Bushings found worn, or expected to be, from which a type is tested.
LEAST_WORN: Final = 10
#: Ratio of found to forecast within which a type passes whatever the interval.
TOLERATED: Final = (2.0 / 3.0, 1.5)
LEVEL: Final = 0.95
SCORE_COLUMNS: Final = (
    *("verified", "worn", "effective_sample_size", "forecast", "found", "ratio", "ratio_lower"),
    *("ratio_upper", "brier", "brier_base_rate", "skill", "skill_lower", "skill_upper", "verdict"),
)
BIN_COLUMNS: Final = (
    *("bushing_type", "duty", "chance_from", "chance_to", "pairs", "verified", "units"),
    *("forecast", "found", "found_lower", "found_upper"),
)


def score(pairs: pd.DataFrame, *, draws: int = 400, seed: int = 0) -> dict[str, Any]:
    """Score the forecasts of one cell.

    Parameters
    ----------
    pairs : DataFrame
        Pairs with `weight, chance_at_look, outcome, unit_id, bushing`.
    draws, seed : int
        Of the unit bootstrap.

    Returns
    -------
    dict
        `SCORE_COLUMNS`; NaN where nothing was verified. `worn` counts bushings, `verified` pairs.
    """
    used = pairs[pairs["weight"] > 0]
    worn = used["outcome"].eq(WORN)
    counts = {"verified": len(used), "worn": int(used.loc[worn, "bushing"].nunique())}
    if used.empty:
        nothing = dict.fromkeys(SCORE_COLUMNS, float("nan"))
        return nothing | counts | {"effective_sample_size": 0.0, "verdict": TOO_FEW}
    weight, chance = used["weight"], used["chance_at_look"]
    columns = {
        "weight": weight,
        "chance": weight * chance,
        "worn": weight * worn,
        "error": weight * (chance - worn) ** 2,
    }
    sums = _unit_sums(used["unit_id"], columns)
    best = {name: float(value) for name, value in _figures(sums.sum(axis=0)[None, :]).items()}
    drawn = _figures(redrawn(sums, draws, seed))
    out: dict[str, Any] = counts | best
    out["effective_sample_size"] = float(weight.sum() ** 2 / (weight**2).sum())
    for name in ("ratio", "skill"):
        out[f"{name}_lower"], out[f"{name}_upper"] = _interval(drawn[name])
    expected = float(used.groupby("bushing")["chance_at_look"].max().sum())
    out["verdict"] = verdict(out, expected)
    return {name: out[name] for name in SCORE_COLUMNS}


def verdict(figures: dict[str, Any], expected: float) -> str:
    """Say whether forecasts are calibrated, by the test stated at the head of this module.

    Parameters
    ----------
    figures : dict
        worn, ratio, skill with their intervals.
    expected : float
        Bushings expected to be found worn among those looked at.
    """
    if max(figures["worn"], expected) < LEAST_WORN:
        return TOO_FEW
    apart = figures["ratio_lower"] > 1.0 or figures["ratio_upper"] < 1.0
    far = not TOLERATED[0] <= figures["ratio"] <= TOLERATED[1]
    return NOT_CALIBRATED if (apart and far) or figures["skill_upper"] < 0.0 else CALIBRATED


def calibration_bins(pairs: pd.DataFrame, *, draws: int = 400, seed: int = 0) -> pd.DataFrame:
    """Compare found with forecast in bins of the chance, by type, over all duties and in each.

    Parameters
    ----------
    pairs : DataFrame
        From `backtest_weights.with_weights`.
    draws, seed : int
        Of the unit bootstrap.

    Returns
    -------
    DataFrame
        `BIN_COLUMNS`. `pairs` counts all, `verified` those with a weight; bins without any
        verified pair have NaN.
    """
    rows = []
    for kind, of_type in pairs[pairs["in_calibration"]].groupby("bushing_type", sort=True):
        for duty, rows_of in [("all", of_type), *of_type.groupby("duty", sort=True)]:
            chance = rows_of["chance_at_look"]
            place = pd.cut(chance, list(EDGES), labels=False, include_lowest=True)
            for number, (low, high) in enumerate(pairwise(EDGES)):
                cell = rows_of[place == number]
                rows.append((str(kind), str(duty), low, high, *_bin(cell, draws, seed)))
    return pd.DataFrame(rows, columns=list(BIN_COLUMNS))


def redrawn(sums: FloatArray, draws: int, seed: int) -> FloatArray:
    """Add up the sums of units drawn again with replacement.

    Parameters
    ----------
    sums : ndarray of float, shape (n_units, k)
    draws, seed : int

    Returns
    -------
    ndarray of float, shape (draws, k)
    """
    units = len(sums)
    rng = np.random.default_rng([seed, units])
    counts = rng.multinomial(units, np.full(units, 1.0 / units), size=draws)
    return np.asarray(counts @ sums, dtype=float)


def _unit_sums(unit_id: pd.Series, columns: dict[str, pd.Series]) -> FloatArray:
    table = pd.DataFrame(columns).astype(float).groupby(unit_id).sum()
    return table.to_numpy(dtype=float)


def _figures(sums: FloatArray) -> dict[str, Any]:
    weight, chance, worn, error = sums.T
    with np.errstate(divide="ignore", invalid="ignore"):
        forecast, found, brier = chance / weight, worn / weight, error / weight
        base = found * (1.0 - found)
        figures = {
            "forecast": forecast,
            "found": found,
            "ratio": found / forecast,
            "brier": brier,
            "brier_base_rate": base,
            "skill": np.where(base > 0.0, 1.0 - brier / base, np.nan),
        }
    return {name: values if len(values) > 1 else values[0] for name, values in figures.items()}


def _interval(values: FloatArray) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    if len(known) == 0:
        return float("nan"), float("nan")
    low, high = np.quantile(known, [0.5 - LEVEL / 2, 0.5 + LEVEL / 2])
    return float(low), float(high)


def _bin(cell: pd.DataFrame, draws: int, seed: int) -> tuple[Any, ...]:
    used = cell[cell["weight"] > 0]
    counts = (len(cell), len(used), used["unit_id"].nunique())
    if used.empty:
        return (*counts, *[float("nan")] * 4)
    worn = used["outcome"].eq(WORN)
    weight = used["weight"]
    columns = {
        "weight": weight,
        "chance": weight * used["chance_at_look"],
        "worn": weight * worn,
        "error": weight * 0.0,
    }
    sums = _unit_sums(used["unit_id"], columns)
    best = _figures(sums.sum(axis=0)[None, :])
    lower, upper = _interval(_figures(redrawn(sums, draws, seed))["found"])
    # None or all worn: a bootstrap of equals is no limit; "rule of three" (common practice).
    room = min(1.0, 3.0 / (weight.sum() ** 2 / (weight**2).sum()))
    if not worn.any():
        upper = room
    elif worn.all():
        lower = 1.0 - room
    return (*counts, float(best["forecast"]), float(best["found"]), lower, upper)
