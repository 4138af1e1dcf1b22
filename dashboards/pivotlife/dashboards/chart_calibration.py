"""Calibration: the share found worn against the chance that past lists had given.

Not here: the shares themselves.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import PercentFormatter

from pivotlife.dashboards.charts import QUIET, Drawing, board, pens, plain, to_svg


def calibration_drawing(rows: pd.DataFrame, name: str, title: str, caption: str) -> Drawing | None:
    """Draw one type's bins with their bands beside the line on which chances come true.

    Parameters
    ----------
    rows : DataFrame
        Of one bushing type: `bushing_type, verified, forecast, found, found_lower, found_upper`
        (shares).
    name, title, caption : str
        See `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None when nothing was verified.
    """
    rows = rows[rows["verified"].gt(0) & rows["found"].notna()]
    if rows.empty:
        return None
    kind = str(rows["bushing_type"].iloc[0])
    pen = pens([kind])[kind]
    found = rows["found"].to_numpy(dtype=float)
    below = np.maximum(found - rows["found_lower"].to_numpy(dtype=float), 0.0)
    above = np.maximum(rows["found_upper"].to_numpy(dtype=float) - found, 0.0)
    with board(height=3.9) as (figure, axes):
        axes.plot([0, 1], [0, 1], color=QUIET, linewidth=1.0, linestyle="--", label="as forecast")
        axes.errorbar(
            rows["forecast"],
            found,
            yerr=np.vstack([below, above]),
            color=pen.colour,
            marker=pen.marker,
            markersize=5.5,
            linewidth=0,
            elinewidth=1.3,
            capsize=3,
            label=plain(kind),
        )
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(PercentFormatter(1.0, decimals=0))
        axes.set_xlim(-0.02, 1.02)
        axes.set_ylim(-0.02, 1.02)
        axes.set_xlabel("chance of being worn, as forecast")
        axes.set_ylabel("share found worn")
        axes.legend(loc="best", handlelength=2.0)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)
