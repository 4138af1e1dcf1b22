"""How finely a reading of free play was read: the rounding class of the growth law.

A value written with three decimals of an inch was read on a dial, one in tenths of a millimetre
on a rule, and a sheet whose values are all sixteenths of an inch was judged by eye with a pry bar
(common practice, no source). Taking the last for dial readings makes the gauge look bad and bends
the growth exponent. A single value with two decimals less than its unit's usual ("0.1" among
"0.104", "0" among "0.000") was not read like the others: it was rounded roughly, was never
measured, or is in another unit. It keeps the width of its own last decimal and so says little.
Not here: units themselves; the caller says how many mm one written unit is.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SIXTEENTH_MM = 25.4 / 16.0
# A sheet is by eye when its values would be sixteenths by accident less often than this.
_ACCIDENT = 0.02
# Decimals less than usual from which a value keeps its own width.
_COARSER = 2
# As many zeros and nothing else on one sheet are taken for a look by eye.
_ZEROS = 3


def rounding_width_mm(
    free_play_mm: pd.Series[float],
    as_written: pd.Series[str],
    mm_per_unit: pd.Series[float],
    sheet: pd.Series,
) -> pd.Series[float]:
    """Return the rounding width of each reading.

    Parameters
    ----------
    free_play_mm : Series of float, mm
        Converted values; NaN where nothing was read.
    as_written : Series of str
        The values as written, to count their decimals.
    mm_per_unit : Series of float, mm
        Length of one written unit: 25.4 for inches, 0.0254 for thousandths, 1 for mm.
    sheet : Series
        What names one sheet: readings taken together, such as those of one truck on one day.

    Returns
    -------
    Series of float, mm
        1.5875 on sheets read by eye in sixteenths of an inch; else the last decimal that most
        values in that unit carry, or a value's own last decimal where it carries two less.
    """
    width = _last_decimal(as_written, mm_per_unit)
    play = free_play_mm.to_numpy(dtype=float)
    steps = play / SIXTEENTH_MM
    # Written in its unit, a sixteenth is off by up to half the last decimal.
    is_sixteenth = np.abs(steps - np.round(steps)) * SIXTEENTH_MM <= 0.5 * width + 1e-9
    frame = pd.DataFrame(
        {
            "sheet": sheet.to_numpy(),
            "read": np.isfinite(play),
            "above": play > 0.5 * width,
            "odd": np.isfinite(play) & ~is_sixteenth,
            "log_accident": np.where(
                play > 0.5 * width, np.log(np.minimum(width / SIXTEENTH_MM, 1.0)), 0.0
            ),
        }
    )
    by_sheet = frame.groupby("sheet", sort=False)[["read", "above", "odd", "log_accident"]]
    total = by_sheet.transform("sum")
    no_accident = (total["log_accident"] < np.log(_ACCIDENT)) | (
        (total["above"] == 0) & (total["read"] >= _ZEROS)
    )
    by_eye = ((total["odd"] == 0) & no_accident).to_numpy()
    found = np.where(by_eye, np.maximum(SIXTEENTH_MM, width), width)
    return pd.Series(found, index=free_play_mm.index, name="resolution_mm")


def _last_decimal(as_written: pd.Series[str], mm_per_unit: pd.Series[float]) -> Floats:
    """Width of the last decimal that most values of a unit carry, or of a much coarser own, mm."""
    text = as_written.fillna("").astype(str).str.strip()
    decimals = text.str.replace(r"^[^.,]*[.,]?", "", regex=True).str.len()
    frame = pd.DataFrame({"unit": mm_per_unit.to_numpy(), "decimals": decimals.to_numpy()})
    written = frame[(text != "").to_numpy()]
    usual = written.groupby("unit")["decimals"].agg(lambda found: found.mode().iloc[0])
    places = frame["unit"].map(usual).fillna(3.0).to_numpy(dtype=float)
    own = decimals.to_numpy(dtype=float)
    # One decimal less is a zero that a spreadsheet has dropped; that happens to one value in ten.
    places = np.where((text != "") & (own <= places - _COARSER), own, places)
    return np.asarray(frame["unit"].to_numpy(dtype=float) * 10.0**-places)
