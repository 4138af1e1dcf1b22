"""From readings by life to what the growth of play is fitted to.

Adds the type and duty of each reading's bushing, how finely the value was read (one sheet is one
unit on one day), and whether the bushing is a tight one: found seized, or refusing grease without
having taken it later. Such a pin reads next to nothing however worn it is. Sheets that do not say
whether the joint was loaded, and inspectors who read high or low, are settled by what the other
readings of the same bushings say.

Not here: the growth of play (`models.growth_cells`).
"""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.data.units_of_measure import factor
from pivotlife.models.growth_rounding import rounding_width_mm
from pivotlife.models.growth_sheets import settle_sheets
from pivotlife.pipeline.histories import Histories

_FRACTION: Final = re.compile(r"/\s*(\d+)\s*$")


def growth_readings(histories: Histories, *, seed: int = 0) -> pd.DataFrame:
    """Describe the readings of all lives for the growth of play.

    Parameters
    ----------
    histories : Histories
    seed : int

    Returns
    -------
    DataFrame
        The readings with `bushing_type, duty, resolution_mm` (rounding width), `is_tight`,
        `load_chance` and `inspector_mm`; load state and play as `settle_sheets` leaves them.
    """
    of_life = histories.lives[["life_id", "bushing_type", "duty"]]
    readings = histories.readings.merge(of_life, on="life_id", how="left")
    described = readings.assign(resolution_mm=_widths(readings), is_tight=_tight(readings))
    return settle_sheets(described, seed=seed)


def _widths(readings: pd.DataFrame) -> pd.Series:
    written = readings["free_play_as_written"].fillna("").astype(str)
    units = {unit: _size_mm(unit) for unit in readings["free_play_unit"].unique()}
    size = readings["free_play_unit"].map(units).astype(float)
    # A fraction is as fine as its denominator, whatever the decimals of its neighbours.
    parts = pd.to_numeric(written.str.extract(_FRACTION.pattern, expand=False))
    fraction = parts.gt(0)
    return rounding_width_mm(
        readings["free_play_mm"],
        written.mask(fraction, "1"),
        size.mask(fraction, size / parts),
        readings["unit_id"] + "@" + readings["reading_date"].astype(str),
    )


def _size_mm(unit: str) -> float:
    try:
        return float(factor(str(unit), "play"))
    except ValueError:
        return 1.0


def _tight(readings: pd.DataFrame) -> pd.Series:
    """Mark every reading of a life whose pin is, or was when last asked, a tight one."""
    refuses = readings["takes_grease"].eq("no") | readings["finding"].eq("seized")
    told = refuses | readings["takes_grease"].eq("yes")
    asked = readings.loc[told, ["life_id", "reading_date"]].assign(refuses=refuses[told])
    last = asked.sort_values(["life_id", "reading_date", "refuses"], kind="stable")
    tight = last.drop_duplicates("life_id", keep="last")
    names = tight.loc[tight["refuses"], "life_id"]
    return pd.Series(np.asarray(readings["life_id"].isin(names)), index=readings.index)
