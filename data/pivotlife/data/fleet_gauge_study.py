"""The invented gauge study: ten pivots, three inspectors of one depot, three trials each.

Gauge error and the inspectors' constant errors are those of the invented fleet's readings. All
numbers are invented.

Not here: the fleet's own readings.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import stream, words
from pivotlife.data.fleet_inspections import inspector_bias_mm

GAUGE_STUDY_STREAM = 7
PARTS, INSPECTORS, TRIALS = 10, 3, 3
#: True play of the parts, from nearly new to over the limit, millimetres.
LOWEST_MM, HIGHEST_MM = 0.4, 4.0
DEPOT = "Lowfen"


def gauge_study_table(seed: int) -> pd.DataFrame:
    """Write the study in the order in which it was measured: trial, inspector, part.

    Parameters
    ----------
    seed : int

    Returns
    -------
    DataFrame
        Columns part, inspector, trial, free_play, free_play_unit; play in mm to 0.01.
    """
    random = stream(seed, GAUGE_STUDY_STREAM)
    true_mm = np.linspace(LOWEST_MM, HIGHEST_MM, PARTS) + random.normal(0.0, 0.1, PARTS)
    bias_mm = inspector_bias_mm(seed)[sc.DEPOTS.index(DEPOT), :INSPECTORS]
    trial, inspector, part = (
        places.ravel()
        for places in np.meshgrid(
            np.arange(TRIALS), np.arange(INSPECTORS), np.arange(PARTS), indexing="ij"
        )
    )
    error = sc.GAUGE_SD_MM * random.standard_normal(part.size)
    play = np.maximum(true_mm[part] + bias_mm[inspector] + error, 0.0)
    return pd.DataFrame(
        {
            "part": [f"G{number + 1:02d}" for number in part],
            "inspector": words(inspector, tuple(f"{DEPOT} {name}" for name in "ABC")),
            "trial": trial + 1,
            "free_play": np.round(play, 2),
            "free_play_unit": "mm",
        }
    )
