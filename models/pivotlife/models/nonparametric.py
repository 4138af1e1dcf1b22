"""Survival of bushings without assuming a law: the non-parametric maximum-likelihood curve.

- Failures at known ages only: Kaplan-Meier with late entry, log-log Greenwood band.
- Failures known to lie between two visits: Turnbull's curve (`turnbull`), with late entry under its
  truncated likelihood; band from a unit bootstrap, drawn when it is first asked for.

Where some lives entered late, early ages may rest on one or two bushings. The curve is therefore
S(m | alive at m0), with m0 the smallest age at which enough lives of enough units are at risk
together (entry <= m < upper; right-censored lives: m <= lower), and NaN below m0.

S is right-continuous: survival(x) = P(T > x). A failure known only to lie in (l, u] counts from the
end of the gap that the likelihood gives it to. Beyond the last observed age the curve stays flat.

Sources, all from memory: Kaplan & Meier, JASA 53 (1958); Turnbull, JRSS B 38 (1976) 290-295;
Frydman, JRSS B 56 (1994) 71-74 (entries join the support); Kalbfleisch & Prentice 1980, section
1.3 (log-log band).

Not here: how the support and the hazards are found (`turnbull`).
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import norm

from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import CheckedLives, check_lives
from pivotlife.models.turnbull import TurnbullProblem
from pivotlife.models.turnbull_search import CERTAIN


@dataclass(frozen=True, eq=False)
class SurvivalCurve:
    """A step curve of survival.

    Attributes
    ----------
    ages : ndarray, shape (n_steps,), miles
        Where the curve falls.
    hazards : ndarray, shape (n_steps,)
        Drop of log S at each of them; `CERTAIN` or more: everything failed.
    from_miles : float, miles
        m0: survival is among those alive at this age; NaN below it.
    last_miles : float, miles
        The last age at which any life was observed: the curve is flat beyond and says nothing.
    gradient_excess : float
        Turnbull: largest gradient of the log-likelihood at the maximum, per life; 0 is perfect.
    """

    ages: FloatArray
    hazards: FloatArray
    from_miles: float
    last_miles: float
    gradient_excess: float
    level: float
    draws: int
    seed: int
    lives: CheckedLives = field(repr=False)
    problem: TurnbullProblem | None = field(repr=False)

    def survival(self, miles: npt.ArrayLike) -> FloatArray:
        """Return P(T > miles | alive at ``from_miles``); NaN below it, a number for a number."""
        return self._steps(miles, _survival(self.hazards))

    def lower(self, miles: npt.ArrayLike) -> FloatArray:
        """Return the lower limit of `survival`, pointwise."""
        return self._steps(miles, self._band[0])

    def upper(self, miles: npt.ArrayLike) -> FloatArray:
        """Return the upper limit of `survival`, pointwise."""
        return self._steps(miles, self._band[1])

    def at_risk(self, miles: npt.ArrayLike) -> FloatArray:
        """Return how many lives are at risk at an age: entry <= m < upper, censored m <= lower."""
        entry, end = np.sort(self.lives.entry), np.sort(_end(self.lives))
        ages = np.asarray(miles, dtype=float)
        entered, gone = np.searchsorted(entry, ages, "right"), np.searchsorted(end, ages, "right")
        return (entered - gone).astype(np.float64)[()]

    def _steps(self, miles: npt.ArrayLike, values: FloatArray) -> FloatArray:
        """Read a step function that starts at 1."""
        ages = np.asarray(miles, dtype=float)
        steps = np.concatenate([[1.0], values])[np.searchsorted(self.ages, ages, "right")]
        result: FloatArray = np.where(ages < self.from_miles, np.nan, steps)
        return result[()]

    @cached_property
    def _band(self) -> tuple[FloatArray, FloatArray]:
        """Return the lower and upper limit after each step."""
        if self.problem is None:
            return _greenwood_band(self)
        return _bootstrap_band(self, self.problem)


def npmle(
    lives: pd.DataFrame | CheckedLives,
    minimum_lives: int = 10,
    minimum_units: int = 5,
    *,
    level: float = 0.95,
    draws: int = 100,
    seed: int = 0,
) -> SurvivalCurve:
    """Return the non-parametric survival curve of lives.

    Parameters
    ----------
    lives : DataFrame, one row per life
        As `check_lives` takes them. Without ``unit_id`` every life is its own unit.
    minimum_lives, minimum_units : int
        How many lives, of how many units, must be at risk where the curve begins; they count only
        when some life entered late.
    level : float
        Of the band.
    draws, seed : int
        Of the unit bootstrap behind the band of a curve with interval failures.

    Returns
    -------
    SurvivalCurve

    Raises
    ------
    LivesError
        Lives contradict themselves.
    NoMaximumError
        No life at all, or never enough lives at risk together.
    """
    checked = lives if isinstance(lives, CheckedLives) else check_lives(lives)
    if checked.n_lives == 0:
        raise NoMaximumError("no life carries information, so there is no curve to draw")
    start = _first_age(checked, minimum_lives, minimum_units) if checked.has_late_entry else 0.0
    problem: TurnbullProblem | None = None
    excess = 0.0
    if np.all(checked.is_exact | ~checked.is_failure):
        ages, hazards = _product_limit(checked)
    else:
        problem = TurnbullProblem.of(checked)
        ages = problem.ages
        hazards, excess = problem.solve(checked.weight)
    kept = (ages > start) & (hazards > 0.0)
    finite = checked.upper[checked.is_failure]
    last = float(max(checked.lower.max(), finite.max(initial=0.0)))
    return SurvivalCurve(
        ages[kept], hazards[kept], start, last, excess, level, draws, seed, checked, problem
    )


def _survival(hazards: FloatArray) -> FloatArray:
    """Return S after each step; exactly 0 once everything failed."""
    total = np.cumsum(hazards)
    return np.where(total >= CERTAIN, 0.0, np.exp(-total))


def _end(lives: CheckedLives) -> FloatArray:
    """Return the age from which a life is no longer at risk."""
    return np.where(lives.is_failure, lives.upper, np.nextafter(lives.lower, np.inf))


def _first_age(lives: CheckedLives, minimum_lives: int, minimum_units: int) -> float:
    """Return the smallest age with enough lives of enough units at risk."""
    end = _end(lives)
    entering, leaving = np.argsort(lives.entry, kind="stable"), np.argsort(end, kind="stable")
    in_unit = [0] * lives.n_units
    entry, ends, unit = lives.entry.tolist(), end.tolist(), lives.unit.tolist()
    at_risk = units = gone = most = 0
    for position, row in enumerate(entering.tolist()):
        age = entry[row]
        units += in_unit[unit[row]] == 0
        in_unit[unit[row]] += 1
        at_risk += 1
        if position + 1 < len(entry) and entry[entering[position + 1]] == age:
            continue
        while gone < len(ends) and ends[leaving[gone]] <= age:
            left = unit[leaving[gone]]
            in_unit[left] -= 1
            units -= in_unit[left] == 0
            at_risk -= 1
            gone += 1
        most = max(most, at_risk)
        if at_risk >= minimum_lives and units >= minimum_units:
            return float(age)
    raise NoMaximumError(
        f"never {minimum_lives} lives of {minimum_units} units at risk at one age (at most {most}"
        " lives): too few to draw a curve"
    )


def _event_table(lives: CheckedLives) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return failure ages, weight failing and weight at risk just before (entry < age)."""
    failed = lives.is_failure
    ages, index = np.unique(lives.lower[failed], return_inverse=True)
    dying = np.bincount(index, lives.weight[failed], ages.size).astype(np.float64)
    at_risk = _weight_below(lives.entry, lives.weight, ages) - _weight_below(
        lives.lower, lives.weight, ages
    )
    return ages, dying, at_risk


def _weight_below(values: FloatArray, weight: FloatArray, ages: FloatArray) -> FloatArray:
    """Return the weight of values strictly below each age."""
    order = np.argsort(values, kind="stable")
    total = np.concatenate([[0.0], np.cumsum(weight[order])])
    return total[np.searchsorted(values[order], ages, "left")]


def _product_limit(lives: CheckedLives) -> tuple[FloatArray, FloatArray]:
    """Return the Kaplan-Meier hazards -log(1 - failing / at risk)."""
    ages, dying, at_risk = _event_table(lives)
    share = dying / at_risk
    everything = share >= 1.0 - 1e-12
    return ages, np.where(everything, CERTAIN, -np.log1p(-np.where(everything, 0.0, share)))


def _greenwood_band(curve: SurvivalCurve) -> tuple[FloatArray, FloatArray]:
    """Return the log-log Greenwood band; once everything failed it stays where it was."""
    ages, dying, at_risk = _event_table(curve.lives)
    kept = (ages > curve.from_miles) & (dying > 0.0)
    dying, at_risk = dying[kept], at_risk[kept]
    alive = np.maximum(at_risk - dying, 0.0)
    defined = np.cumsum(curve.hazards) < CERTAIN
    growth = np.divide(dying, at_risk * alive, out=np.zeros_like(dying), where=defined)
    total = np.where(defined, np.cumsum(curve.hazards), 1.0)
    half = float(norm.ppf(0.5 + curve.level / 2.0)) * np.sqrt(np.cumsum(growth)) / total
    lower, upper = np.exp(-total * np.exp(half)), np.exp(-total * np.exp(-half))
    lower[~defined] = 0.0
    upper[~defined] = upper[defined][-1] if np.any(defined) else 1.0
    return lower, upper


def _bootstrap_band(
    curve: SurvivalCurve, problem: TurnbullProblem
) -> tuple[FloatArray, FloatArray]:
    """Return percentiles of the curves of samples of units, drawn with replacement."""
    random = np.random.default_rng(curve.seed)
    lives = curve.lives
    chance = np.full(lives.n_units, 1.0 / lives.n_units)
    beyond = problem.ages > curve.from_miles
    position = np.searchsorted(problem.ages[beyond], curve.ages)
    curves = np.full((curve.draws, curve.ages.size), np.nan)
    for draw in range(curve.draws):
        weight = lives.weight * random.multinomial(lives.n_units, chance)[lives.unit]
        with suppress(NoMaximumError):  # a sample whose search does not settle is left out
            hazards, _ = problem.solve(weight)
            curves[draw] = _survival(hazards[beyond])[position]
    curves = curves[~np.isnan(curves).any(axis=1)]
    if len(curves) < curve.draws / 2:
        raise NoMaximumError("no band: most samples of units have no curve that could be found")
    tail = (1.0 - curve.level) / 2.0
    lower, upper = np.quantile(curves, [tail, 1.0 - tail], axis=0)
    return lower, upper
