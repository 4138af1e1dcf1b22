"""Replacements of a pivot's bushing by the truck's mileage: steps with their limits.

Not here: the estimate.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from pivotlife.dashboards.charts import Drawing, board, pens, plain, to_svg


def recurrence_drawing(rows: pd.DataFrame, name: str, title: str, caption: str) -> Drawing | None:
    """Draw the mean cumulative replacements of all types.

    Parameters
    ----------
    rows : DataFrame
        Of one way of counting: `bushing_type`, `from_miles`, `miles`, `mean_cumulative`, `lower`,
        `upper` (replacements per pivot).
    name, title, caption : str
        See `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None when nothing was replaced.
    """
    rows = rows[rows[["from_miles", "miles", "mean_cumulative"]].notna().all(axis="columns")]
    if rows.empty:
        return None
    with board(height=3.4) as (figure, axes):
        for kind, pen in pens(sorted(rows["bushing_type"].unique())).items():
            own = rows[rows["bushing_type"] == kind].sort_values("miles")
            miles = np.concatenate(
                [[float(own["from_miles"].iloc[0])], own["miles"].to_numpy(float)]
            )
            mean, low, high = (
                np.concatenate([[0.0], own[column].to_numpy(float)])
                for column in ("mean_cumulative", "lower", "upper")
            )
            axes.fill_between(
                miles, low, high, step="post", color=pen.colour, alpha=0.13, linewidth=0
            )
            axes.step(
                miles,
                mean,
                where="post",
                color=pen.colour,
                linewidth=1.8,
                marker=pen.marker,
                markersize=5.0,
                markevery=max(1, len(miles) // 6),
                label=plain(kind),
            )
        axes.set_xlim(0, float(rows["miles"].max()))
        axes.set_ylim(0, None)
        axes.xaxis.set_major_locator(MaxNLocator(4))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
        axes.set_xlabel("miles of the truck")
        axes.set_ylabel("replacements per pivot")
        axes.legend(loc="upper left", handlelength=2.2)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)
