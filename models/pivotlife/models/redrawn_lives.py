"""Lives drawn anew from a fitted curve, seen through the same visits as the real ones.

Each life keeps its unit, its entry age and the ages at which it was looked at. A life that was
never seen to fail keeps the age at which watching ended; for one that failed, watching might have
gone on: its end is drawn from the ends of the others, given that it came later than the failure was
found (Kaplan-Meier of the ends; Davison & Hinkley, Bootstrap Methods and their Application, 1997,
section 7.3, from memory), and visits go on at the usual gap.

Pivots of one truck are alike. New ages keep that: they are drawn with a common part for each unit
(a normal copula) of the correlation that the real lives show, which is read off how much the
sandwich variance of the log scale exceeds the model's.

Not here: what is computed from such lives (`fit_check`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from lifelines import KaplanMeierFitter
from scipy.special import ndtr

from pivotlife.models.arrays import FloatArray
from pivotlife.models.lives import CheckedLives
from pivotlife.models.weibull import WeibullFit

#: Visits that follow the last real one at the usual gap, at most.
MORE_VISITS: Final = 60
MOST_ALIKE: Final = 0.9


@dataclass(frozen=True, eq=False)
class Watching:
    """How lives were watched.

    Attributes
    ----------
    lives : CheckedLives
        The real ones, every failure in an interval.
    visits : ndarray, shape (n_lives, n_visits), miles
        Ages of the visits after the entry, rising, infinity beyond the last.
    end_ages, end_survival : ndarray, shape (n_ends,)
        Ages at which watching ended, rising, and the share watched beyond each.
    """

    lives: CheckedLives
    visits: FloatArray
    end_ages: FloatArray
    end_survival: FloatArray


def usual_gap(lives: CheckedLives) -> float:
    """Return the median gap in which failures were found; of exact ages, a twentieth of them."""
    gaps = (lives.upper - lives.lower)[lives.is_failure & ~lives.is_exact]
    if gaps.size:
        return float(np.median(gaps))
    ages = lives.upper[lives.is_failure]
    return float(np.median(ages)) / 20.0 if ages.size else float(lives.lower.max(initial=1.0))


def in_gaps(lives: CheckedLives) -> CheckedLives:
    """Return the lives with every exact failure age put into a gap of the usual width.

    A chance and a density cannot be held against each other; so seen, both curves give chances.
    """
    lower = np.where(
        lives.is_exact, np.maximum(lives.upper - usual_gap(lives), lives.entry), lives.lower
    )
    return CheckedLives(
        entry=lives.entry,
        lower=lower,
        upper=lives.upper,
        weight=lives.weight,
        unit=lives.unit,
        n_units=lives.n_units,
        left_out=lives.left_out,
    )


def watching(lives: CheckedLives, seen: list[FloatArray] | None = None) -> Watching:
    """Work out when each life was, and would further have been, looked at.

    Parameters
    ----------
    lives : CheckedLives
        From `in_gaps`.
    seen : list of ndarray, one per life, miles
        Ages of the looks on record; without it only the ages in ``lives`` are known, and the gaps
        between are filled at the usual gap.
    """
    gap = usual_gap(lives)
    later = gap * np.arange(1.0, MORE_VISITS + 1.0)
    rows = []
    for i in range(lives.n_lives):
        known = [lives.lower[i], lives.upper[i]] if lives.is_failure[i] else [lives.lower[i]]
        start, end = float(lives.entry[i]), float(known[-1])
        looks = np.arange(known[0], start, -gap)[1:] if seen is None else seen[i]
        looks = looks[(looks > start) & (looks < known[0])]
        more = end + later if lives.is_failure[i] else later[:0]
        ages = np.unique(np.concatenate([looks, known, more]))
        rows.append(ages[ages > start])
    visits = np.full((lives.n_lives, max(row.size for row in rows) + 1), np.inf)
    for i, row in enumerate(rows):
        visits[i, : row.size] = row
    ends = np.where(lives.is_failure, lives.upper, lives.lower)
    curve = KaplanMeierFitter().fit(
        ends, ~lives.is_failure, entry=np.minimum(lives.entry, np.nextafter(ends, 0.0))
    )
    survival: pd.Series[float] = curve.survival_function_.iloc[:, 0]
    end_ages = np.asarray(survival.index.to_numpy(), dtype=np.float64)
    return Watching(lives, visits, end_ages, np.asarray(survival, dtype=np.float64))


def likeness(fit: WeibullFit) -> float:
    """Return how alike lives of one unit are, between 0 and `MOST_ALIKE`.

    The variance of the log scale with units kept together, over that of independent lives, is
    1 + (m - 1) likeness, m the failures of a typical failure's unit.
    """
    excess, beyond = _excess(fit)
    return float(np.clip(excess / beyond, 0.0, MOST_ALIKE)) if beyond > 0.0 else 0.0


def fleet_likeness(fits: Iterable[WeibullFit]) -> float:
    """Return how alike lives of one unit are, from all fits together.

    One fit tells it only roughly, and a fit below 0 by luck is as much evidence as one above: what
    the sandwich exceeds is added up before it is divided, each fit with the weight of its failures.

    Parameters
    ----------
    fits : iterable of WeibullFit
        Of cells that share no life, such as each type in each duty.

    Returns
    -------
    float
        0 to `MOST_ALIKE`; 0 where nothing tells.
    """
    known = [(fit.n_failures, *_excess(fit)) for fit in fits]
    excess, beyond = (sum(row[0] * row[k] for row in known) for k in (1, 2))
    return float(np.clip(excess / beyond, 0.0, MOST_ALIKE)) if beyond > 0.0 else 0.0


def _excess(fit: WeibullFit) -> tuple[float, float]:
    """Return what the sandwich variance exceeds, and what it would if lives were one; or zeros."""
    failures = np.bincount(fit.lives.unit[fit.lives.is_failure], minlength=fit.n_units)
    together = float((failures**2).sum()) / max(float(failures.sum()), 1.0)
    if together <= 1.0 or fit.n_units < 2:
        return 0.0, 0.0
    return float(fit.sandwich()[1, 1] / fit.covariance[1, 1]) - 1.0, together - 1.0


def redraw(
    watched: Watching, fit: WeibullFit, alike: float, random: np.random.Generator
) -> CheckedLives:
    """Draw new lives from a fitted curve and look at them at the same visits.

    Parameters
    ----------
    watched : Watching
    fit : WeibullFit
        The curve, taken as the truth.
    alike : float
        From `likeness`.
    random : Generator

    Returns
    -------
    CheckedLives
        Lives without information are left out.
    """
    lives = watched.lives
    n = lives.n_lives
    common = random.standard_normal(lives.n_units)[lives.unit]
    own = random.standard_normal(n)
    share = ndtr(-(np.sqrt(alike) * common + np.sqrt(1.0 - alike) * own))
    with np.errstate(divide="ignore"):
        hazard = (lives.entry / fit.scale) ** fit.shape - np.log(share)
    age = np.maximum(fit.scale * hazard ** (1.0 / fit.shape), np.nextafter(lives.entry, np.inf))
    end = np.where(lives.is_failure, _later_end(watched, random.random(n)), lives.lower)
    row = np.arange(n)
    found = (watched.visits < age[:, None]).sum(axis=1)
    last = (watched.visits <= end[:, None]).sum(axis=1)
    failed = found < last
    known = np.column_stack([lives.entry, watched.visits])
    good = known[row, np.minimum(found, last)]
    upper = np.where(failed, known[row, np.minimum(found + 1, known.shape[1] - 1)], np.inf)
    kept = failed | (good > lives.entry)
    return CheckedLives(
        entry=lives.entry[kept],
        lower=good[kept],
        upper=upper[kept],
        weight=lives.weight[kept],
        unit=lives.unit[kept],
        n_units=lives.n_units,
        left_out=int(np.count_nonzero(~kept)),
    )


def _later_end(watched: Watching, share: FloatArray) -> FloatArray:
    """Return an end of watching for each life, beyond the age at which its failure was found."""
    upper = np.where(watched.lives.is_failure, watched.lives.upper, 0.0)
    place = np.searchsorted(watched.end_ages, upper, side="right") - 1
    beyond = watched.end_survival[np.maximum(place, 0)]
    # The first age at which no more than share x beyond is still watched; survival falls.
    falling = -watched.end_survival
    reached = np.searchsorted(falling, -share * beyond, side="left")
    drawn = watched.end_ages[np.minimum(reached, watched.end_ages.size - 1)]
    return np.maximum(drawn, upper)
