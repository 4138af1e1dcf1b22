"""How much faster bushings wear in one duty than in another, and a growth law at that pace.

Hard duty wears every type faster. Where a type was too little read in a duty, the growth of all
duties speaks, but not at one speed for all: ages are counted in units of the duty's pace, and the
law of those ages is read back in miles. Pace comes from the lives of all types together: with the
median life of every type in every duty where at least five failed (Weibull),

    log median(type, duty) = level(type) + log pace(duty),

by least squares, weighted with the failures. It assumes that duty changes the lives of all types in
one proportion. Not here: which law speaks (`growth_cells`).
"""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.errors import PivotlifeError
from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.weibull import WeibullFit, fit_weibull

#: Failures of a type in a duty from which its median life counts.
FEWEST_FAILURES: Final = 5


def duty_paces(lives: pd.DataFrame) -> dict[str, float]:
    """Find the pace of every duty.

    Parameters
    ----------
    lives : DataFrame
        The table of all lives.

    Returns
    -------
    dict of duty to float
        Miles of life in this duty for a mile of life on average over duties (geometric mean,
        weighted with failures). Duties that no type compares with the others are absent; empty
        where fewer than two can be compared.
    """
    cells = []
    for (kind, duty), group in lives_for_mode(lives, "any").groupby(["bushing_type", "duty"]):
        fit = _fitted(group)
        if fit is not None and fit.n_failures >= FEWEST_FAILURES:
            cells.append((str(kind), str(duty), np.log(fit.quantile(0.5)), fit.n_failures))
    table = pd.DataFrame(cells, columns=["kind", "duty", "median", "failures"])
    table = _compared(table)
    if table["duty"].nunique() < 2:
        return {}
    duties = sorted(table["duty"].unique())
    design = pd.get_dummies(table["kind"]).to_numpy(dtype=float)
    design = np.hstack([design, (table["duty"].to_numpy()[:, None] == duties).astype(float)])
    root = np.sqrt(table["failures"].to_numpy(dtype=float))
    found = np.linalg.lstsq(design * root[:, None], table["median"] * root, rcond=None)[0]
    pace = found[-len(duties) :]
    weight = table.groupby("duty")["failures"].sum().reindex(duties).to_numpy(dtype=float)
    pace = pace - np.average(pace, weights=weight)
    return {duty: float(np.exp(p)) for duty, p in zip(duties, pace, strict=True)}


def _fitted(group: pd.DataFrame) -> WeibullFit | None:
    try:
        return fit_weibull(group)
    except PivotlifeError:
        return None


def _compared(table: pd.DataFrame) -> pd.DataFrame:
    """Keep the largest set of cells that hang together through shared types and duties."""
    label = table["duty"].astype(object)
    for _ in range(len(table)):
        label = label.groupby(table["kind"]).transform("min")
        label = label.groupby(table["duty"]).transform("min")
    size = table["failures"].groupby(label).sum()
    return table if table.empty else table[label == size.idxmax()]


def at_pace(growth: FreePlayGrowth, pace: float) -> FreePlayGrowth:
    """Read a law of ages counted in units of a pace back in miles.

    Parameters
    ----------
    growth : FreePlayGrowth
        Fitted to readings at miles / pace.
    pace : float

    Returns
    -------
    FreePlayGrowth
        The same law for miles in this duty, with the same uncertainty.
    """
    paced = copy.copy(growth)
    law = replace(growth.law_, miles_scale=growth.law_.miles_scale * pace)
    paced.law_ = law
    paced.estimate_ = replace(growth.estimate_, best=replace(growth.estimate_.best, law=law))
    return paced
