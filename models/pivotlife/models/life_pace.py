"""Life curves of all duties, read at the pace of one duty.

Where a type failed too seldom in a duty for a curve of its own, the lives of all its duties speak.
Taken as they are, the duty that wears fastest would speak loudest, because it has most of the
failures, and a bushing in easy duty would be called worn too soon, one in hard duty too late. So
ages are counted in units of ``pace ** share``, one curve is fitted to all of them, and it is read
back in the miles of the duty asked for. The pace is that of the duty over all types
(`growth_pace.duty_paces`). The share says how far this type's lives follow it: 1 where all wear out
in proportion, 0 where duty does not matter, as for a bushing that was badly fitted. Each share on a
grid is weighed by the likelihood of the type's own lives, and the mean is taken (Bayes, even
weights beforehand).
Not here: which curve speaks (`life_curves`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth_pace import duty_paces
from pivotlife.models.lives import check_lives
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.weibull import WeibullFit, fit_weibull

#: Shares of the pace that are tried.
SHARES: Final = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25)
_AGES = ("entry_miles", "lower_miles", "upper_miles")


def paced_fits(
    lives: pd.DataFrame, minimum_failures: int = FEW_FAILURES
) -> dict[tuple[str, str], WeibullFit]:
    """Fit each type's lives of all duties in units of pace; read the curve back for every duty.

    Parameters
    ----------
    lives : DataFrame
        The table of all lives.
    minimum_failures : int
        Types with fewer failures are absent.

    Returns
    -------
    dict
        (bushing type, duty) to fit, for the duties whose pace is known; its scale is in miles of
        that duty, its failures and lives are those of all of them. Its covariance holds the doubt
        about the share; the pace itself is taken as known. Empty where no paces are known.
    """
    paces = duty_paces(lives)
    table = lives_for_mode(lives, "any")
    table = table.loc[table["duty"].isin(paces)]
    fits: dict[tuple[str, str], WeibullFit] = {}
    for kind, of_type in table.groupby("bushing_type", sort=True):
        found = _share(of_type, paces, minimum_failures)
        if found is None:
            continue
        share, doubt = found
        fit = _fitted(of_type, paces, share)
        if fit is not None:
            for duty, pace in paces.items():
                # Not knowing the share makes the scale of far duties doubtful.
                covariance = fit.covariance + np.diag([0.0, doubt * np.log(pace) ** 2])
                scale = fit.scale * pace**share
                fits[str(kind), duty] = replace(fit, scale=scale, covariance=covariance)
    return fits


def _share(
    lives: pd.DataFrame, paces: Mapping[str, float], minimum_failures: int
) -> tuple[float, float] | None:
    """How far the lives of a type follow the paces, and its variance.

    None where too few failed or no curve fits.
    """
    if check_lives(lives).n_failures < minimum_failures:
        return None
    found = [(share, _fitted(lives, paces, share)) for share in SHARES]
    log_density = {share: _per_mile(fit, lives, paces, share) for share, fit in found if fit}
    if not log_density:
        return None
    weight = np.exp(np.array([*log_density.values()]) - max(log_density.values()))
    tried = np.array([*log_density])
    mean = float(np.average(tried, weights=weight))
    return mean, float(np.average((tried - mean) ** 2, weights=weight))


def _per_mile(
    fit: WeibullFit, lives: pd.DataFrame, paces: Mapping[str, float], share: float
) -> float:
    """Log-likelihood of a fit in units of pace, its exact failures per mile."""
    exact = np.isfinite(lives["upper_miles"]) & (lives["upper_miles"] == lives["lower_miles"])
    log_pace = np.log(lives.loc[exact, "duty"].map(paces).astype(float))
    return fit.log_likelihood - share * float(log_pace.sum())


def _fitted(lives: pd.DataFrame, paces: Mapping[str, float], share: float) -> WeibullFit | None:
    pace = lives["duty"].map(paces).astype(float) ** share
    try:
        return fit_weibull(lives.assign(**{name: lives[name] / pace for name in _AGES}))
    except NoMaximumError:
        return None
