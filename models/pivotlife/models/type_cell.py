"""What one group of lives says about survival: counts, estimates, intervals, and the doubt.

What a cell claims follows from how much failed:

- five failures or more: estimates and intervals;
- one to four: the same, and the warning "too few failures to compare";
- none, or a fit that does not exist: no estimate, only lower limits from the failure-free miles
  under an assumed shape, and a sentence that says so, with the limits at that shape +-0.5.

Intervals come from the unit bootstrap once a unit has more than 1.2 lives on average, otherwise
from the profile likelihood; ``interval_method`` names which. Failures on fewer than five units
leave nothing to draw again: there the profile stands in, and the warning says that it takes the
lives of a unit for independent. A second interval, such as the sandwich, is on the fit itself.

Not here: which groups a table shows (`type_table`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log
from types import MappingProxyType
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.imputed_lives import rubin_interval
from pivotlife.models.lives import CheckedLives, check_lives
from pivotlife.models.mode_lives import lives_for_mode, other_mode_gaps
from pivotlife.models.no_failures import FEW_FAILURES, no_failure_bound
from pivotlife.models.weibull import WeibullFit, fit_weibull
from pivotlife.models.weibull_bootstrap import percentile_interval
from pivotlife.models.weibull_intervals import profile_interval
from pivotlife.models.weibull_quantities import Quantity, quantity_path

QUANTITIES: Final[Mapping[str, Quantity]] = MappingProxyType(
    {
        "shape": "shape",
        "scale": "scale",
        "b10": ("quantile", 0.1),
        "b50": ("quantile", 0.5),
        "mean": "mean",
    }
)
#: Lives per unit above which lives of one unit may not be taken as independent.
ALIKE_FROM: Final = 1.2
#: Units with failures below which drawing units again only repeats them.
FEWEST_FAILING_UNITS: Final = 5
#: Wear-out is assumed where nothing failed; the user sets the shape (an assumption, no source).
ASSUMED_SHAPE: Final[Mapping[str, float]] = MappingProxyType(
    {"rubber-bonded": 2.0, "threaded": 2.0, "roller": 2.0}
)
SHAPE_OF_OTHERS: Final = 2.0
FEW_UNITS: Final = (
    "failures on too few units to draw units again: lives of a unit are taken as"
    " independent, so the interval may be too narrow"
)


@dataclass(frozen=True)
class Study:
    """What is the same for every cell: bootstrap, confidence, shapes assumed by bushing type."""

    draws: int
    seed: int
    level: float
    assumed_shape: Mapping[str, float]


def cell_numbers(
    kind: str, cell: pd.DataFrame, mode: str, note: str, study: Study
) -> dict[str, object]:
    """Return counts, estimates, intervals and the warning of one cell."""
    checked, fit, reason, gap_note = _fit(cell, mode)
    warnings = [note, gap_note]
    if fit is None:
        numbers, method, sentence = _lower_limits(kind, checked, reason, study)
        warnings.insert(0, sentence)
    else:
        numbers, method, sentence = fit_numbers(fit, study)
        warnings.append(sentence)
    if 0 < checked.n_failures < FEW_FAILURES:
        plural = "failure" if checked.n_failures == 1 else "failures"
        warnings.insert(0, f"too few failures to compare ({checked.n_failures} {plural})")
    return {
        "lives": checked.n_lives,
        "units": checked.n_units,
        "failures": checked.n_failures,
        **numbers,
        "interval_method": method,
        "warning": "; ".join(text for text in warnings if text),
    }


def completed_numbers(cells: Sequence[pd.DataFrame], mode: str, study: Study) -> dict[str, object]:
    """Return estimates and limits of one cell over its completed tables; empty without a curve.

    Failures are those seen, not those drawn.
    """
    fits = [_fit(cell, mode)[1] for cell in cells]
    found = [fit for fit in fits if fit is not None]
    if len(found) < len(fits):
        return {}
    numbers: dict[str, object] = {"interval_method": "imputation"}
    for name, quantity in QUANTITIES.items():
        estimate, limits = rubin_interval(found, quantity, study.level)
        numbers[name] = estimate
        numbers[f"{name}_lower"], numbers[f"{name}_upper"] = limits.lower, limits.upper
    return numbers


def are_alike(fit: WeibullFit) -> bool:
    """Say whether units carry so many lives each that these may not be taken as independent."""
    return fit.n_units > 1 and fit.n_lives > ALIKE_FROM * fit.n_units


def draws_units(fit: WeibullFit) -> bool:
    """Say whether the default interval of a fit draws whole units again."""
    failing = np.unique(fit.lives.unit[fit.lives.is_failure]).size
    return are_alike(fit) and bool(failing >= FEWEST_FAILING_UNITS)


def fit_numbers(fit: WeibullFit, study: Study) -> tuple[dict[str, float], str, str]:
    """Return the estimates of a fit with the default intervals of the table by type.

    Parameters
    ----------
    fit : WeibullFit
    study : Study

    Returns
    -------
    dict of str to float
        Each of `QUANTITIES` with its limits under ``_lower`` and ``_upper``.
    str
        The method of the intervals, "profile" or "bootstrap".
    str
        What to know about them, or nothing.
    """
    a, s = log(fit.shape), log(fit.scale)
    numbers: dict[str, float] = {}
    curves = fit.bootstrap(draws=study.draws, seed=study.seed) if draws_units(fit) else None
    for name, quantity in QUANTITIES.items():
        path = quantity_path(quantity)
        if curves is not None:
            limits = percentile_interval(curves, path, study.level)
        else:
            limits = profile_interval(fit.likelihood, path, a, s, study.level)
        numbers[name] = path.value(path.start(a, s)[0])
        numbers[f"{name}_lower"], numbers[f"{name}_upper"] = limits.lower, limits.upper
    sentence = ""
    if curves is None and are_alike(fit):
        sentence = FEW_UNITS
    if curves is not None and curves.n_without_maximum:
        sentence = rough_interval(curves.n_without_maximum, study.draws)
    return numbers, "profile" if curves is None else "bootstrap", sentence


def rough_interval(lost: int, draws: int) -> str:
    """Return the sentence on samples of units that determine no curve."""
    return f"{lost} of {draws} samples of units determine no curve, so the interval is rough"


def _fit(cell: pd.DataFrame, mode: str) -> tuple[CheckedLives, WeibullFit | None, str, str]:
    """Return the lives of a cell, their fit or why there is none, and a note on other modes."""
    checked = check_lives(lives_for_mode(cell, mode))
    try:
        fit = fit_weibull(checked)
    except NoMaximumError as error:
        # Without a curve no gap is known to be narrow: count only the miles known good.
        checked = check_lives(lives_for_mode(cell, mode, median_miles=0.0))
        return checked, None, str(error), _gap_note(cell, mode, 0.0)
    median = float(fit.quantile(0.5))
    note = _gap_note(cell, mode, median)
    if other_mode_gaps(cell, mode, median_miles=median)[1]:
        # Some gaps are too wide for their middle: end those lives where they were last good.
        checked = check_lives(lives_for_mode(cell, mode, median_miles=median))
        try:
            fit = fit_weibull(checked)
        except NoMaximumError as error:
            return checked, None, str(error), note
    return checked, fit, "", note


def _gap_note(cell: pd.DataFrame, mode: str, median_miles: float) -> str:
    """Return the sentence that names how failures of other modes were taken."""
    middle, last_good = other_mode_gaps(cell, mode, median_miles=median_miles)
    parts = []
    if middle:
        parts.append(f"{middle} in the middle of the gap in which they were found")
    if last_good:
        parts.append(f"{last_good} where they were last good, the gap being wide")
    return f"failures of other modes end a life: {', '.join(parts)}" if parts else ""


def _lower_limits(
    kind: str, checked: CheckedLives, reason: str, study: Study
) -> tuple[dict[str, float], str, str]:
    """Return lower limits under an assumed shape, and the sentence that says so."""
    numbers = {f"{name}{end}": np.nan for name in QUANTITIES for end in ("", "_lower", "_upper")}
    if checked.n_lives == 0:
        return numbers, "none", "no life was watched"
    shape = study.assumed_shape.get(kind, SHAPE_OF_OTHERS)
    shapes = [near for near in (shape - 0.5, shape, shape + 0.5) if near > 0.0]
    bounds = {near: no_failure_bound(checked, near, study.level) for near in shapes}
    for name, quantity in QUANTITIES.items():
        if quantity == "shape":
            continue
        path = quantity_path(quantity)
        at_scale = path.start(log(shape), log(max(bounds[shape], 1e-300)))[0]
        numbers[f"{name}_lower"], numbers[f"{name}_upper"] = path.value(at_scale), np.inf
    # To three digits, downwards: people read the sentence, the columns hold every digit.
    limits = ", ".join(
        f"{_no_more_than(bound * (-np.log(0.9)) ** (1.0 / near)):,.0f} by shape {near:g}"
        for near, bound in bounds.items()
    )
    start = "no failures yet" if checked.n_failures == 0 else reason
    sentence = (
        f"{start}; lower limits only, from the miles without failure and an assumed shape of"
        f" {shape:g} (setting survival.assumed_shape); B10 in miles at least {limits}"
    )
    return numbers, "no-failure bound", sentence


def _no_more_than(miles: float) -> float:
    """Cut a lower limit to three digits; it must not grow by rounding."""
    step = 10.0 ** max(np.floor(np.log10(max(miles, 1.0))) - 2.0, 0.0)
    return float(np.floor(miles / step) * step)
