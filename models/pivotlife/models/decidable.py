"""When a comparison that is under way will be decided, and what it excludes already.

The limits of a ratio of B10 leave out what the records already exclude. As failures come in they
narrow: the variance of the log ratio falls as 1 / a + 1 / b does, a and b being the failures of the
two types. Failures are taken to go on at the rate that the fitted curve of each type and duty
expects of the bushings in service over the coming twelve months, at the miles that their trucks
run. A comparison is decidable in the month in which limits of that width would leave out 1 if the
ratio is what it now seems, Holm's correction for the pairs compared at once included, and both
types have failed often enough to be compared. That is an even chance, not a promise: half of such
comparisons will take longer.

Where the two types ride on trucks too unlike to be compared, no number of months decides.

Not here: the comparison (`fair_comparison`), a trial still to be laid out (`trial_power`).
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite, log
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.stats import norm

from pivotlife.models.fair_verdict import CHANCE, FEWEST_EFFECTIVE, MOST_UNLIKE, NOT_YET
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.weibull import WeibullFit

DECIDABLE_COLUMNS: Final = (
    *("numerator_type", "denominator_type", "duty", "ratio", "excluded_below", "excluded_above"),
    *("numerator_failures", "denominator_failures"),
    *("numerator_failures_per_month", "denominator_failures_per_month"),
    *("state", "months", "sentence"),
)
#: Months looked ahead.
HORIZON: Final = 120
#: Ratios nearer to 1 than this on the log scale are not worth waiting for.
_ALIKE: Final = 0.05
_YEAR: Final = 12.0


def failures_per_month(
    in_service: pd.DataFrame, fits: Mapping[tuple[str, str], WeibullFit]
) -> dict[tuple[str, str], float]:
    """Return the failures a month that the fitted curves expect over the coming year.

    Parameters
    ----------
    in_service : DataFrame, one row per bushing
        ``bushing_type, duty, age_miles, miles_per_month``; a bushing of unknown age or pace is not
        counted.
    fits : mapping of (type, duty or "all") to WeibullFit
        Where a duty has no curve of its own, that of all duties speaks.

    Returns
    -------
    dict
        (type, duty) to failures a month; the duty "all" is the sum of the duties.
    """
    rates: dict[tuple[str, str], float] = {}
    known = in_service[in_service["age_miles"].ge(0.0) & in_service["miles_per_month"].ge(0.0)]
    for (kind, duty), rows in known.groupby(["bushing_type", "duty"], sort=True):
        fit = fits.get((str(kind), str(duty))) or fits.get((str(kind), "all"))
        if fit is None:
            continue
        age = rows["age_miles"].to_numpy(dtype=np.float64)
        then = age + _YEAR * rows["miles_per_month"].to_numpy(dtype=np.float64)
        hazard = (then / fit.scale) ** fit.shape - (age / fit.scale) ** fit.shape
        own = float(-np.expm1(-hazard).sum()) / _YEAR
        rates[str(kind), str(duty)] = own
        rates[str(kind), "all"] = rates.get((str(kind), "all"), 0.0) + own
    return rates


def decidable(
    ratios: pd.DataFrame, balance: pd.DataFrame, rates: Mapping[tuple[str, str], float]
) -> pd.DataFrame:
    """Say of every adjusted ratio of B10 when it will be decided.

    Parameters
    ----------
    ratios, balance : DataFrame
        Of the fair comparison.
    rates : mapping of (type, duty) to failures a month
        From `failures_per_month`.

    Returns
    -------
    DataFrame
        `DECIDABLE_COLUMNS`. ``state``: decided, in months, not in ten years, alike, unlike trucks,
        too few failures. ``months``: from today, NaN unless the state is "in months".
    """
    adjusted = ratios[(ratios["method"] == "adjusted") & (ratios["estimand"] == "b10")]
    pairs = adjusted.groupby("duty")["p_value"].count()
    rows = [
        _row(row, _are_unlike(row, balance), int(pairs[row["duty"]]), rates)
        for row in adjusted.to_dict("records")
    ]
    return pd.DataFrame(rows, columns=list(DECIDABLE_COLUMNS))


def months_until(
    log_ratio: float,
    half_width: float,
    failures: tuple[float, float],
    pace: tuple[float, float],
    pairs: int = 1,
) -> int | None:
    """Return the month in which the limits would leave out a ratio of 1.

    Parameters
    ----------
    log_ratio, half_width : float
        As the records have it; the half width is that of 95 % limits.
    failures : tuple of float
        Of the two types so far.
    pace : tuple of float
        Failures a month to come.
    pairs : int
        Pairs of types compared at once.

    Returns
    -------
    int or None
        None: not within `HORIZON` months.
    """
    months = np.arange(HORIZON + 1.0)
    first, second = (number + rate * months for number, rate in zip(failures, pace, strict=True))
    now = sum(1.0 / number for number in failures)
    then = 1.0 / first + 1.0 / second
    usual = float(norm.isf(CHANCE / 2.0))
    needed = float(norm.isf(CHANCE / (2.0 * max(pairs, 1)))) / usual
    enough = np.minimum(first, second) >= FEW_FAILURES
    narrow = needed * half_width * np.sqrt(then / now) < abs(log_ratio)
    reached = np.flatnonzero(enough & narrow)
    return int(reached[0]) if reached.size else None


def _row(
    row: Mapping[Any, Any], unlike: bool, pairs: int, rates: Mapping[tuple[str, str], float]
) -> dict[str, object]:
    kinds = (str(row["numerator_type"]), str(row["denominator_type"]))
    duty = str(row["duty"])
    pace = (rates.get((kinds[0], duty), 0.0), rates.get((kinds[1], duty), 0.0))
    failures = (float(row["numerator_failures"]), float(row["denominator_failures"]))
    state, months = _state(row, unlike, failures, pace, pairs)
    excluded = (float(row["ratio_lower"]), float(row["ratio_upper"]))
    return {
        "numerator_type": kinds[0],
        "denominator_type": kinds[1],
        "duty": duty,
        "ratio": row["ratio"],
        "excluded_below": excluded[0],
        "excluded_above": excluded[1],
        "numerator_failures": row["numerator_failures"],
        "denominator_failures": row["denominator_failures"],
        "numerator_failures_per_month": pace[0],
        "denominator_failures_per_month": pace[1],
        "state": state,
        "months": np.nan if months is None else float(months),
        "sentence": _sentence(state, months, excluded),
    }


def _state(
    row: Mapping[Any, Any],
    unlike: bool,
    failures: tuple[float, float],
    pace: tuple[float, float],
    pairs: int,
) -> tuple[str, int | None]:
    if not str(row["verdict"]).startswith(NOT_YET):
        return "decided", None
    lower, upper = float(row["ratio_lower"]), float(row["ratio_upper"])
    if not (min(failures) > 0.0 and lower > 0.0 and isfinite(upper) and row["ratio"] > 0.0):
        return "too few failures", None
    if unlike:
        return "unlike trucks", None
    log_ratio, half = log(float(row["ratio"])), 0.5 * (log(upper) - log(lower))
    if abs(log_ratio) < _ALIKE:
        return "alike", None
    months = months_until(log_ratio, half, failures, pace, pairs)
    if months is None:
        return "not in ten years", None
    # What the records do not tell today they tell in a month at the earliest.
    return "in months", max(months, 1)


def _are_unlike(row: Mapping[Any, Any], balance: pd.DataFrame) -> bool:
    """Say whether the types' lives differ too much for a verdict, however many fail."""
    own = balance[
        (balance["numerator_type"] == row["numerator_type"])
        & (balance["denominator_type"] == row["denominator_type"])
        & (balance["duty"] == row["duty"])
    ]
    if own.empty:
        return False
    effective = own[["numerator_effective", "denominator_effective"]].min(axis=None)
    return bool(own["difference_after"].abs().max() > MOST_UNLIKE or effective < FEWEST_EFFECTIVE)


def _sentence(state: str, months: int | None, excluded: tuple[float, float]) -> str:
    known = []
    if excluded[0] > 0.005:
        known.append(f"below {excluded[0]:.2f}")
    if isfinite(excluded[1]) and excluded[1] < 1_000.0:
        known.append(f"above {excluded[1]:.2f}")
    already = f"; ratios {' and '.join(known)} are all but excluded already" if known else ""
    told = {
        "decided": "decided by the records as they stand",
        "in months": (
            f"decidable in about {months} month{'' if months == 1 else 's'} at this rate, if the"
            " ratio is what it seems"
        ),
        "not in ten years": "not decidable within ten years at this rate",
        "alike": "nothing to wait for: the two seem to last alike",
        "unlike trucks": (
            "more months alone will not decide it: it takes both types on like trucks"
        ),
        "too few failures": "no number of months can be told from so few failures",
    }
    return f"{told[state]}{already}"
