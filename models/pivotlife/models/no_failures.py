"""What failure-free miles prove: lower limits of life when few bushings or none have failed.

Weibull with an assumed shape b: (age / scale)^b is exponential, so that with r failures

    scale >= [ 2 sum w (lower^b - entry^b) / chi2(C; 2r + 2) ]^(1/b)   with confidence C

(Meeker & Escobar 1998, section 8.4; Nelson, IEEE Transactions on Reliability R-34, 1985: both from
memory). More miles without a failure never shorten the limit; turning a life into a failure never
lengthens it. With interval failures only the miles known good count, which is the careful side.

With b = 1 it becomes an upper limit of a constant rate, used for modes that strike without warning.

Not here: where an assumed shape comes from; the caller names its source.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from scipy.stats import chi2

from pivotlife.models.lives import CheckedLives, check_lives

#: Below this many failures a sudden mode's curve gives way to the upper limit of its rate.
FEW_FAILURES = 5


def no_failure_bound(
    lives: pd.DataFrame | CheckedLives, shape: float, level: float = 0.95
) -> float:
    """Return the lower confidence limit of the Weibull scale for an assumed shape.

    Parameters
    ----------
    lives : DataFrame or CheckedLives
        As `check_lives` takes them; late entry and weights count.
    shape : float
        Assumed. 1: age does not matter; larger: the longest failure-free lives count for more.
    level : float
        One-sided confidence.

    Returns
    -------
    float
        Miles; 0 when no life was watched.

    Raises
    ------
    LivesError
        Lives contradict themselves.
    ValueError
        A shape that is not above 0, or a level outside 0 to 1.
    """
    if not shape > 0.0:
        raise ValueError(f"an assumed shape is above 0, not {shape}")
    if not 0.0 < level < 1.0:
        raise ValueError(f"a confidence level lies between 0 and 1, not {level}")
    checked = lives if isinstance(lives, CheckedLives) else check_lives(lives)
    longest = float(checked.lower.max(initial=0.0))
    if longest == 0.0:
        return 0.0
    watched = (checked.lower / longest) ** shape - (checked.entry / longest) ** shape
    failures = float(checked.weight[checked.is_failure].sum())
    total = 2.0 * float(watched @ checked.weight)
    return float(longest * (total / chi2.ppf(level, 2.0 * failures + 2.0)) ** (1.0 / shape))


@dataclass(frozen=True)
class ConstantRate:
    """Upper limit of the rate at which a sudden mode strikes, whatever the bushing's age.

    Attributes
    ----------
    failures : int
    miles : float
        Miles watched, all lives together.
    rate_upper_per_mile : float
        Infinity when no mile was watched.
    level : float
        One-sided confidence.
    statement : str
        The same in one sentence.
    """

    failures: int
    miles: float
    rate_upper_per_mile: float
    level: float
    statement: str


def sudden_rate_upper(lives: pd.DataFrame | CheckedLives, level: float = 0.8) -> ConstantRate:
    """Return the upper limit of a constant failure rate, chi2(C; 2r + 2) / (2 x miles watched).

    Parameters
    ----------
    lives : DataFrame or CheckedLives
        Lives as the sudden mode sees them (`mode_lives.lives_for_mode`).
    level : float
        One-sided confidence; 0.8 is what decisions take.

    Returns
    -------
    ConstantRate

    Raises
    ------
    LivesError
        Lives contradict themselves.
    """
    checked = lives if isinstance(lives, CheckedLives) else check_lives(lives)
    miles = float((checked.lower - checked.entry) @ checked.weight)
    failures = float(checked.weight[checked.is_failure].sum())
    rate = (
        float(chi2.ppf(level, 2.0 * failures + 2.0)) / (2.0 * miles) if miles > 0 else float("inf")
    )
    statement = (
        f"{checked.n_failures} sudden failures in {miles:,.0f} miles watched: too few for a curve,"
        f" so the upper {level:.0%} limit of a constant rate is used,"
        f" {rate * 1e6:.3g} per million miles"
    )
    return ConstantRate(checked.n_failures, miles, rate, level, statement)
