"""Does a Weibull curve fit? Held against the curve without a law, and against two other laws.

- **Likelihood ratio**: twice the log-likelihood that the non-parametric curve gains over the
  Weibull curve. How much it gains by chance alone is found by drawing lives from the Weibull curve,
  seen through the same visits (`redrawn_lives`), and fitting both anew (parametric bootstrap;
  Davison & Hinkley 1997, section 4.2, from memory). The p-value is how often such lives gain as
  much. Drawing stops once ten have: then the p-value is ten over the draws (Besag & Clifford,
  Biometrika 78, 1991, from memory), which saves the work where the curve fits well.
- **AIC** of Weibull, lognormal and exponential; the smallest wins, and a difference below 2 says
  little (Burnham & Anderson, Model Selection and Multimodel Inference, 2002, from memory). The
  latter two are lifelines' fits.

A curve that is not refuted is not proven: with few failures nothing can be refuted.

Not here: failures of the first miles (`early_failures`).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from math import log
from typing import Any, Final

import numpy as np
import pandas as pd
from lifelines import ExponentialFitter, LogNormalFitter
from lifelines.exceptions import ConvergenceError

from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import CheckedLives, check_lives
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.redrawn_lives import in_gaps, likeness, redraw, watching
from pivotlife.models.turnbull import TurnbullProblem
from pivotlife.models.weibull import WeibullFit, fit_weibull

COLUMNS: Final = (
    *("bushing_type", "duty", "lives", "units", "failures", "likelihood_ratio", "p_value"),
    *("draws", "likeness", "aic_weibull", "aic_lognormal", "aic_exponential", "best_by_aic"),
    "warning",
)
#: Draws end once so many gained as much as the real lives.
ENOUGH: Final = 10
#: p-values below this speak against the curve.
REFUTED: Final = 0.05
#: lifelines searches in ages near 1.
LAWS: Final = ("weibull", "lognormal", "exponential")


@dataclass(frozen=True)
class GainTest:
    """What the curve without a law gains, and how often chance gains as much.

    Attributes
    ----------
    statistic : float
        Twice the gain in log-likelihood.
    p_value : float
        NaN without draws.
    draws : int
        Drawn sets of lives that gave a curve.
    alike : float
        How alike the lives of a unit were drawn.
    """

    statistic: float
    p_value: float
    draws: int
    alike: float


def fit_checks(
    lives: pd.DataFrame, *, looks: pd.DataFrame | None = None, draws: int = 200, seed: int = 0
) -> pd.DataFrame:
    """Check the Weibull curve of every bushing type, and of every type in each duty.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Lives of one mode that are in the fit, as `lives_for_mode` gives them.
    looks : DataFrame, optional
        ``life_id``, ``age_miles`` of every look that said whether the bushing was good.
    draws, seed : int
        Of the parametric bootstrap, at most.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; duty "all" is the whole type.
    """
    rows = []
    for kind, of_type in lives.groupby("bushing_type", sort=True):
        for duty, cell in [("all", of_type), *of_type.groupby("duty", sort=True)]:
            found = _check(cell, looks, draws, seed)
            rows.append({"bushing_type": kind, "duty": duty, **found})
    return pd.DataFrame(rows, columns=list(COLUMNS))


def gain_test(
    lives: CheckedLives,
    *,
    seen: list[FloatArray] | None = None,
    draws: int = 200,
    seed: int = 0,
) -> GainTest:
    """Test a Weibull curve against the curve without a law.

    Parameters
    ----------
    lives : CheckedLives
    seen : list of ndarray, one per life, miles
        Ages of the looks on record.
    draws, seed : int

    Raises
    ------
    NoMaximumError
        The lives determine no curve.
    """
    grouped = in_gaps(lives)
    fit = fit_weibull(grouped)
    statistic = _gain(grouped, fit)
    watched, alike = watching(grouped, seen), likeness(fit)
    random = np.random.default_rng(seed)
    made = as_much = 0
    for _ in range(draws):
        again = redraw(watched, fit, alike, random)
        try:
            gained = _gain(again, fit_weibull(again))
        except NoMaximumError:
            continue
        made += 1
        as_much += gained >= statistic
        if as_much >= ENOUGH:
            return GainTest(statistic, as_much / made, made, alike)
    p_value = (as_much + 1.0) / (made + 1.0) if made else np.nan
    return GainTest(statistic, p_value, made, alike)


def aic(lives: CheckedLives, fit: WeibullFit) -> dict[str, float]:
    """Return Akaike's criterion of each law, 2 x parameters - 2 x log-likelihood.

    Ages are counted in the median observed age, which shifts all three alike. NaN where a law's
    search did not settle.
    """
    unit = float(np.median(np.where(lives.is_failure, lives.upper, lives.lower)))
    exact = float(lives.weight[lives.is_exact].sum())
    found = {"weibull": 4.0 - 2.0 * (fit.log_likelihood + exact * log(unit))}
    # Searches begin where the Weibull curve has its median, spread and mean.
    start = np.array([log(float(fit.quantile(0.5)) / unit), 1.28 / fit.shape])
    found["lognormal"] = _aic_of(LogNormalFitter(), lives, unit, start)
    found["exponential"] = _aic_of(ExponentialFitter(), lives, unit, np.array([fit.mean() / unit]))
    return found


def _aic_of(fitter: Any, lives: CheckedLives, unit: float, start: FloatArray) -> float:
    """Return the criterion of one of lifelines' laws."""
    weights = None if np.all(lives.weight == 1.0) else lives.weight
    with warnings.catch_warnings():
        # The search passes through values whose logarithm does not exist; only its end counts.
        warnings.simplefilter("ignore")
        try:
            fitter.fit_interval_censoring(
                lives.lower / unit,
                lives.upper / unit,
                entry=lives.entry / unit,
                weights=weights,
                timeline=np.ones(1),
                initial_point=start,
            )
        except ConvergenceError:
            return np.nan
    return float(fitter.AIC_)


def _gain(lives: CheckedLives, fit: WeibullFit) -> float:
    """Return twice what the curve without a law gains over a Weibull curve."""
    problem = TurnbullProblem.of(lives)
    return max(2.0 * (problem.log_likelihood(lives.weight) - fit.log_likelihood), 0.0)


def _check(
    cell: pd.DataFrame, looks: pd.DataFrame | None, draws: int, seed: int
) -> dict[str, object]:
    """Return the numbers of one row."""
    checked = check_lives(cell)
    row: dict[str, object] = {
        "lives": checked.n_lives,
        "units": checked.n_units,
        "failures": checked.n_failures,
        "draws": 0,
        "best_by_aic": "",
    }
    if checked.n_failures < FEW_FAILURES:
        return {**row, "warning": "too few failures to check a curve"}
    try:
        fit = fit_weibull(checked)
        test = gain_test(checked, seen=_seen(cell, looks), draws=draws, seed=seed)
    except NoMaximumError as error:
        return {**row, "warning": str(error)}
    criteria = aic(checked, fit)
    known = {law: value for law, value in criteria.items() if np.isfinite(value)}
    return {
        **row,
        "likelihood_ratio": test.statistic,
        "p_value": test.p_value,
        "draws": test.draws,
        "likeness": test.alike,
        **{f"aic_{law}": criteria[law] for law in LAWS},
        "best_by_aic": min(known, key=lambda law: known[law]),
        "warning": _warning(test, criteria),
    }


def _warning(test: GainTest, criteria: dict[str, float]) -> str:
    """Return what to know about a cell."""
    parts = []
    if test.p_value < REFUTED:
        parts.append("a Weibull curve does not fit: read survival off the curve of the records")
    better = [law for law in LAWS[1:] if criteria[law] < criteria["weibull"] - 2.0]
    if better:
        parts.append(f"{' and '.join(better)} fits better by AIC")
    if any(not np.isfinite(value) for value in criteria.values()):
        parts.append("a law's search did not settle; its AIC is left out")
    return "; ".join(parts)


def _seen(cell: pd.DataFrame, looks: pd.DataFrame | None) -> list[FloatArray] | None:
    """Return the ages of the looks at each life that passes the gate, in its order."""
    if looks is None:
        return None
    watched = np.isfinite(cell["upper_miles"]) | (cell["lower_miles"] > cell["entry_miles"])
    known = {
        str(life): np.sort(ages.to_numpy(dtype=np.float64))
        for life, ages in looks.groupby("life_id")["age_miles"]
    }
    return [known.get(life, np.zeros(0)) for life in cell.loc[watched, "life_id"]]
