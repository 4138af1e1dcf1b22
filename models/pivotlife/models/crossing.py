"""First estimate of the chance that a bushing is, or will be, over its free-play limit.

A pivot with readings: the life curve of its type and duty says how likely each crossing age is,
and the pivot's own readings sharpen that by Bayes' rule (`crossing_grid`). The readings already
contain that the last one was under the limit, so nothing else is conditioned on.

A pivot without a usable reading, and every type judged by findings instead of play (rubber bonded
bushings): the life curve alone, given that the bushing was good at its last good finding.

Not here: growth of play as a path of its own for each life; decisions.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd
from sklearn.base import BaseEstimator

from pivotlife.models.crossing_curves import Curve, FittedCurve, choose_curve
from pivotlife.models.crossing_grid import (
    PlayPath,
    bin_nodes,
    crossing_edges,
    fit_path,
    log_masses,
)
from pivotlife.models.crossing_readings import (
    life_readings,
    readings_of,
    usable_readings,
    with_ages,
)
from pivotlife.models.crossing_results import by_curve, by_play
from pivotlife.models.errors import PivotlifeError

GROWTH_COLUMNS: Final = (
    "pivot_id",
    "life_id",
    "bushing_type",
    "readings_used",
    "last_reading_date",
    "age_miles",
    "visit_date",
    "next_visit_date",
    "play_at_visit_mm",
    "play_at_visit_lower_mm",
    "play_at_visit_upper_mm",
    "play_at_next_visit_mm",
    "chance_over_now",
    "chance_over_at_visit",
    "chance_over_by_next_visit",
    "chance_lower",
    "chance_upper",
    "miles_until_due",
    "method",
    "warning",
)
#: Types judged by findings: play announces their end too late to be steered by.
JUDGED_BY_FINDINGS: Final = frozenset({"rubber-bonded"})
_RESULTS: Final = GROWTH_COLUMNS[8:18]
_LIVES_FOR_PATH: Final = 150
_BINS_FOR_PATH: Final = 220


class FirstCrossing(BaseEstimator):  # type: ignore[misc]  # scikit-learn ships no types
    """Chance that each pivot is over its limit now, at its next visit and at the one after.

    Parameters
    ----------
    bins : int
        Bins of the crossing age; more are finer and slower.
    draws : int
        Curves drawn from each fit for the band of the chance.
    chunk : int
        Pivots worked on at a time; bounds the memory.
    seed : int
        Seed of the draws.

    Attributes
    ----------
    paths_ : dict of str to PlayPath
        How play grows in each bushing type that is judged by play.
    """

    def __init__(
        self, *, bins: int = 400, draws: int = 60, chunk: int = 1_000, seed: int = 1
    ) -> None:
        self.bins = bins
        self.draws = draws
        self.chunk = chunk
        self.seed = seed

    def fit(
        self,
        readings: pd.DataFrame,
        fits: Mapping[tuple[str, str], FittedCurve],
        bounds: Mapping[str, tuple[float, float]] | None = None,
    ) -> FirstCrossing:
        """Learn how play grows in each type.

        Parameters
        ----------
        readings : DataFrame
            life_id, bushing_type, duty, age_miles, free_play_mm, limit_mm; readings of all lives,
            those that ended included. Optional reading_date and direction tell repeats apart,
            load_state and greased_before say what hid play, is_suspect takes a reading out.
        fits : mapping of (bushing type, duty or "all") to a Weibull fit
            Anything with `shape, scale, covariance, n_failures`.
        bounds : mapping of bushing type to (assumed shape, lowest scale in miles), optional
            Asked where fewer than five failures stand behind a fit.

        Returns
        -------
        FirstCrossing
            Itself.
        """
        self.fits_ = dict(fits)
        self.bounds_ = dict(bounds or {})
        self.curves_: dict[tuple[str, str], Curve | None] = {}
        self.paths_: dict[str, PlayPath] = {}
        usable = usable_readings(readings)
        for bushing_type, rows in usable.groupby("bushing_type"):
            if bushing_type not in JUDGED_BY_FINDINGS:
                self._fit_type(str(bushing_type), rows)
        return self

    def _curve(self, bushing_type: str, duty: str) -> Curve | None:
        key = (bushing_type, duty)
        if key not in self.curves_:
            self.curves_[key] = choose_curve(
                self.fits_, self.bounds_, bushing_type, duty, draws=self.draws, seed=self.seed
            )
        return self.curves_[key]

    def _fit_type(self, bushing_type: str, rows: pd.DataFrame) -> None:
        duties = {str(duty): self._curve(bushing_type, str(duty)) for duty in rows["duty"].unique()}
        known = {duty: curve for duty, curve in duties.items() if curve is not None}
        rows = rows.loc[rows["duty"].isin(known)]
        lives = rows["life_id"].drop_duplicates().sort_values()
        if len(lives) > _LIVES_FOR_PATH:
            lives = lives.sample(_LIVES_FOR_PATH, random_state=self.seed)
        rows = rows.loc[rows["life_id"].isin(lives)]
        if rows.empty:
            return
        readings, of_life = life_readings(rows, rows["life_id"])
        curves = list(known.values())
        edges = crossing_edges(curves, float(rows["age_miles"].max()), _BINS_FOR_PATH)
        masses = log_masses(
            edges, np.array([c.shape for c in curves]), np.array([c.scale for c in curves])
        )
        number = {duty: i for i, duty in enumerate(known)}
        prior = masses[of_life["duty"].map(number).to_numpy(dtype=int)]
        self.paths_[bushing_type] = fit_path(readings, prior, bin_nodes(edges))

    def growth_table(
        self, in_service: pd.DataFrame, readings: pd.DataFrame, visits: pd.DataFrame
    ) -> pd.DataFrame:
        """Tell for every pivot in service what its play and its chances are.

        Parameters
        ----------
        in_service : DataFrame
            pivot_id, unit_id, duty, bushing_type, life_id, fitted_miles (NaN = unknown),
            age_at_most_miles, last_good_miles (age), last_reading_date, limit_mm.
        readings : DataFrame
            life_id, true_miles, free_play_mm; optional columns as in `fit`.
        visits : DataFrame
            unit_id, miles_now, visit_date, visit_miles, next_visit_date, next_visit_miles.

        Returns
        -------
        DataFrame
            The columns of `GROWTH_COLUMNS`, one row per pivot in the order of `in_service`.
            Chances are NaN, with a warning, where miles, age or curve are missing. The band is
            the 10 % to 90 % range of the chance by the visit after next, the readings held
            fast and the life curve drawn anew. Miles until due count from now to where the
            chance of being over reaches 0.2.

        Raises
        ------
        PivotlifeError
            When called before `fit`.
        """
        if not hasattr(self, "paths_"):
            raise PivotlifeError("FirstCrossing: call fit before growth_table")
        pivots = with_ages(in_service, visits)
        parts = []
        used = readings_of(pivots, readings)
        for (bushing_type, duty), group in pivots.groupby(["bushing_type", "duty"], sort=True):
            mine = used.loc[used["row"].isin(group.index)]
            for start in range(0, len(group), self.chunk):
                part = group.iloc[start : start + self.chunk]
                parts.append(self._results(part, mine, str(bushing_type), str(duty)))
        results = pd.concat(parts) if parts else pd.DataFrame(index=pivots.index[:0])
        table = pivots.join(results).reindex(columns=list(GROWTH_COLUMNS))
        return table.astype({"readings_used": int, **dict.fromkeys(_RESULTS, float)})

    def _results(
        self, part: pd.DataFrame, used: pd.DataFrame, bushing_type: str, duty: str
    ) -> pd.DataFrame:
        curve = self._curve(bushing_type, duty)
        warning = "no life curve for this type" if curve is None else curve.warning
        warnings = [
            w if not warning else "; ".join(filter(None, [w, warning])) for w in part["age_warning"]
        ]
        if curve is None:
            return pd.DataFrame(
                {"readings_used": 0, "method": "none", "warning": warnings}, index=part.index
            )
        path = None if bushing_type in JUDGED_BY_FINDINGS else self.paths_.get(bushing_type)
        mine = used.iloc[:0] if path is None else used.loc[used["row"].isin(part.index)]
        read = part.index.isin(mine["row"])
        parts = [by_curve(part.loc[~read], curve)] if not read.all() else []
        if path is not None and read.any():
            parts.append(by_play(part.loc[read], mine, curve, path, self.bins))
        return pd.concat(parts).assign(warning=pd.Series(warnings, index=part.index))
