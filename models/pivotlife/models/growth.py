"""Growth of free play: an estimator that turns a bushing's readings into chances and miles.

One fitted estimator speaks of one bushing type. The law it fits is described in growth_law.
Not here: limits of play, visits, and the findings that decide before any chance is looked at.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted

from pivotlife.models.growth_answers import (
    ByPivot,
    age_at_chance,
    answer_each,
    as_frame,
    as_series,
    by_pivot,
    chances,
    last_age,
    play_quantile,
)
from pivotlife.models.growth_choice import GrowthEstimate, estimate_growth
from pivotlife.models.growth_fit import drawn_laws
from pivotlife.models.growth_law import Density, GrowthLaw
from pivotlife.models.growth_likelihood import NODES
from pivotlife.models.growth_posterior import LifeGrid
from pivotlife.models.growth_readings import GrowthReadings, Integers, growth_readings
from pivotlife.models.growth_weights import reading_deviations, weigh_readings

Floats = NDArray[np.float64]
_DENSITIES: dict[str, tuple[Density, ...]] = {
    "normal": ("normal",),
    "weibull": ("weibull",),
    "auto": ("normal", "weibull"),
}


class FreePlayGrowth(BaseEstimator):  # type: ignore[misc] # scikit-learn ships no types
    """Free play against miles for the bushings of one type.

    Parameters
    ----------
    density : "normal", "weibull" or "auto"
        How the growth rate differs between bushings; "auto" takes the lower AIC.
    n_nodes : int
        Gauss-Hermite nodes of each bushing's integral, 7 to 11.
    most_lives, minimum_lives : int
        Lives fitted at most (drawn at random); lives read at two ages needed at least.
    wild : "weigh" or "keep"
        Weigh readings down that contradict the bushing's others, or trust every reading.
    seed : int
        Seed of all random draws.

    Attributes
    ----------
    law_, estimate_, warnings_ : GrowthLaw, GrowthEstimate, tuple of str
        The law; how it was found (covariance, AIC, counts); what a reader should know.

    Notes
    -----
    Random-effects path model after Lu and Meeker, Technometrics 35 (1993) 161-174 (from memory).
    """

    def __init__(
        self,
        density: Literal["normal", "weibull", "auto"] = "auto",
        *,
        n_nodes: int = NODES,
        most_lives: int = 20_000,
        minimum_lives: int = 5,
        wild: Literal["weigh", "keep"] = "weigh",
        seed: int = 0,
    ) -> None:
        self.density = density
        self.n_nodes = n_nodes
        self.most_lives = most_lives
        self.minimum_lives = minimum_lives
        self.wild = wild
        self.seed = seed

    def fit(
        self,
        readings: pd.DataFrame,
        y: None = None,  # noqa: ARG002 - the signature scikit-learn calls
    ) -> FreePlayGrowth:
        """Fit the law of the type.

        Parameters
        ----------
        readings : DataFrame
            Columns as `growth_readings.growth_readings` takes them.
        y : None
            Ignored.

        Raises
        ------
        LivesError
            The table is not usable.
        NoMaximumError
            The readings do not determine a law; the text says why.
        """
        if self.density not in _DENSITIES:
            raise ValueError(
                f"density must be one of {', '.join(_DENSITIES)}, not {self.density!r}."
            )
        self.estimate_: GrowthEstimate = estimate_growth(
            growth_readings(readings),
            _DENSITIES[self.density],
            seed=self.seed,
            n_nodes=self.n_nodes,
            most_lives=self.most_lives,
            minimum_lives=self.minimum_lives,
            weigh=self.wild == "weigh",
        )
        self.law_: GrowthLaw = self.estimate_.best.law
        self.warnings_: tuple[str, ...] = self.estimate_.warnings
        return self

    def chance_over(
        self, readings: pd.DataFrame, limit_mm: ByPivot, at_miles: ByPivot
    ) -> pd.Series[float]:
        """Chance that the true play of each pivot's current bushing is at or over its limit.

        Parameters
        ----------
        readings : DataFrame
            As for `fit`; a row with ``free_play_mm`` missing speaks of a bushing without reading.
        limit_mm : float or Series by pivot_id, mm
        at_miles : float or Series by pivot_id, miles of age

        Returns
        -------
        Series by pivot_id, in [0, 1]
        """
        data = self._prepared(readings)
        limit, miles = by_pivot(limit_mm, data, "limit_mm"), by_pivot(at_miles, data, "at_miles")
        return as_series(chances(data, self.law_, limit, miles), data)

    def chance_band(
        self,
        readings: pd.DataFrame,
        limit_mm: ByPivot,
        at_miles: ByPivot,
        *,
        draws: int = 40,
        lower: float = 0.1,
        upper: float = 0.9,
    ) -> pd.DataFrame:
        """Lower and upper end of `chance_over` when the law itself is uncertain.

        Returns
        -------
        DataFrame by pivot_id
            ``lower``, ``upper``: those quantiles over draws from the law's asymptotic normal.
        """
        data = self._prepared(readings)
        limit, miles = by_pivot(limit_mm, data, "limit_mm"), by_pivot(at_miles, data, "at_miles")
        laws = drawn_laws(self.estimate_.best, draws, self.seed)
        columns = [chances(data, law, limit, miles) for law in laws]
        ends = np.quantile(np.array(columns), [lower, upper], axis=0)
        return as_frame(ends.T, data, ["lower", "upper"])

    def play_at(self, readings: pd.DataFrame, miles: ByPivot, level: float = 0.8) -> pd.DataFrame:
        """Play of each pivot's current bushing at an age, without load and before grease.

        Parameters
        ----------
        readings : DataFrame
        miles : float or Series by pivot_id, miles of age
        level : float
            The bounds hold the true play with this probability.

        Returns
        -------
        DataFrame by pivot_id
            ``play_mm`` (the middle: as likely above as below), ``lower_mm``, ``upper_mm``.
        """
        data = self._prepared(readings)
        x = self.law_.powered(by_pivot(miles, data, "miles"))
        tail = 0.5 * (1.0 - level)

        def three(grid: LifeGrid, at: Integers) -> Floats:
            ends = [play_quantile(grid, x[at], q) for q in (0.5, tail, 1.0 - tail)]
            return np.column_stack(ends)

        found = answer_each(data, self.law_, three, 3)
        return as_frame(found, data, ["play_mm", "lower_mm", "upper_mm"])

    def miles_until(
        self,
        readings: pd.DataFrame,
        limit_mm: ByPivot,
        chance: float,
        from_miles: ByPivot | None = None,
    ) -> pd.Series[float]:
        """Miles to go until the chance of being over the limit reaches a value.

        Parameters
        ----------
        readings : DataFrame
        limit_mm : float or Series by pivot_id, mm
        chance : float
            Between 0 and 1.
        from_miles : float or Series by pivot_id, miles of age, optional
            The age to count from; by default that of the pivot's last row.

        Returns
        -------
        Series by pivot_id, miles
            0: reached already; infinite: not within 1,000 times the typical age.
        """
        if not 0.0 < chance < 1.0:
            raise ValueError(f"chance must lie between 0 and 1, not {chance!r}.")
        data = self._prepared(readings)
        limit = by_pivot(limit_mm, data, "limit_mm")
        since = last_age(readings) if from_miles is None else from_miles
        begin = by_pivot(since, data, "from_miles")
        law = self.law_

        def age(grid: LifeGrid, at: Integers) -> Floats:
            return age_at_chance(grid, law, limit[at], chance)

        return as_series(np.maximum(answer_each(data, law, age)[:, 0] - begin, 0.0), data)

    def deviations(self, readings: pd.DataFrame) -> pd.DataFrame:
        """How far each measured reading lies off what the bushing's others say, and its weight.

        Returns
        -------
        DataFrame by row label of `readings`
            ``deviation`` (standard deviations), ``weight`` (1 = counts in full).
        """
        check_is_fitted(self, "law_")
        plain = growth_readings(readings)
        weighed = weigh_readings(plain, self.law_) if self.wild == "weigh" else plain
        return pd.DataFrame(
            {"deviation": reading_deviations(weighed, self.law_), "weight": weighed.weight},
            index=readings.index[weighed.row],
        ).sort_index()

    def _prepared(self, readings: pd.DataFrame) -> GrowthReadings:
        check_is_fitted(self, "law_")
        data = growth_readings(readings)
        return weigh_readings(data, self.law_) if self.wild == "weigh" else data
