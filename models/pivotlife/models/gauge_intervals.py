"""How well a gauge study pins its figures down.

In a complete study each sum of squares, divided by its expected mean square, is chi-square. So the
mean squares are redrawn as sum of squares / chi-square, the components computed from every draw,
and the middle 95 % taken (generalised intervals, Weerahandi 1993, J. Am. Stat. Assoc. 88, 899-905;
from memory). For repeatability this is the usual chi-square interval. With three inspectors the
interval of reproducibility is very wide, and rightly so.

Not here: intervals of components other than repeatability when readings are missing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.gauge_result import COMPONENTS, GaugeStudy
from pivotlife.models.gauge_squares import components, line, pool_interaction


def component_intervals(
    study: GaugeStudy, *, level: float = 0.95, draws: int = 20_000, seed: int = 1
) -> pd.DataFrame:
    """Return intervals for the standard deviations of the chosen version.

    Parameters
    ----------
    study : GaugeStudy
        With missing readings only repeatability gets an interval.
    level : float, between 0 and 1
        How often such an interval holds the true figure.
    draws : int
        Redrawn sets of mean squares.
    seed : int
        The same seed gives the same intervals.

    Returns
    -------
    DataFrame
        ``quantity`` (the components, ``gauge_rr``, ``total_variation``),
        ``standard_deviation_mm``, ``lower_mm``, ``upper_mm`` (NaN: not available).
    """
    squares = study.mean_squares
    if not study.interaction_kept:
        squares = pool_interaction(squares)
    rng = np.random.default_rng(seed)
    mean = {}
    for source in squares["source"]:
        total, freedom = line(squares, source)
        mean[str(source)] = total / rng.chisquare(freedom, draws)
    drawn = _standard_deviations(mean, study)
    tail = (1.0 - level) / 2.0
    names = [*COMPONENTS, "gauge_rr", "total_variation"]
    none = np.array([np.nan])
    return pd.DataFrame(
        {
            "quantity": names,
            "standard_deviation_mm": [getattr(study, name) for name in names],
            "lower_mm": [float(np.quantile(drawn.get(name, none), tail)) for name in names],
            "upper_mm": [float(np.quantile(drawn.get(name, none), 1.0 - tail)) for name in names],
        }
    )


def _standard_deviations(mean: dict[str, FloatArray], study: GaugeStudy) -> dict[str, FloatArray]:
    """Turn drawn mean squares into drawn standard deviations, negative components at 0."""
    if not study.cells.is_balanced:
        return {"repeatability": np.sqrt(mean["error"])}
    variance = {k: np.maximum(v, 0.0) for k, v in components(mean, study.cells).items()}
    gauge = variance["error"] + variance["inspector"] + variance["interaction"]
    drawn = {
        "repeatability": variance["error"],
        "reproducibility": variance["inspector"],
        "interaction": variance["interaction"],
        "part_variation": variance["part"],
        "gauge_rr": gauge,
        "total_variation": gauge + variance["part"],
    }
    if not study.interaction_kept:
        del drawn["interaction"]
    return {name: np.sqrt(values) for name, values in drawn.items()}
