"""Probability plot: whether a straight line, that is a Weibull curve, fits the records.

Across: miles on a logarithmic scale. Up: log(-log S), written as the share failed. On these axes
every Weibull curve is a straight line whose slope is its shape.

Not here: the points' own computation.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from pivotlife.dashboards.charts import Drawing, Pen, board, pens, to_svg

_SHARES: Final = (0.001, 0.01, 0.05, 0.1, 0.2, 0.5, 0.8, 0.95, 0.99)
_STEPS: Final = (1.0, 2.0, 5.0)


def plot_height(failed_share: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Place a share failed on the plot's upright axis: log(-log(1 - share)).

    Parameters
    ----------
    failed_share : array_like of float, shares in [0, 1]
        Share failed by some age; values that have no place (0 and 1, missing) give NaN.
    """
    share = np.asarray(failed_share, dtype=float)
    inside = (share > 0) & (share < 1)
    safe = np.where(inside, share, 0.5)
    return np.where(inside, np.log(-np.log1p(-safe)), np.nan)


def probability_drawing(
    points: pd.DataFrame, fitted: pd.DataFrame, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw one type's points, their band, and the fitted line.

    Parameters
    ----------
    points : DataFrame
        One type and duty: `bushing_type`, `miles`, `failed_share`, `lower`, `upper` (shares).
    fitted : DataFrame
        The "weibull" rows of the same type and duty: `miles`, `survival`, `beyond_data`.
    name, title, caption : str
        See `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None when no point has a place on the axes.
    """
    drawn = _placed(points)
    if drawn.empty:
        return None
    pen = pens([str(drawn["bushing_type"].iloc[0])])
    with board(height=3.5) as (figure, axes):
        _draw(axes, drawn, fitted, next(iter(pen.values())))
        _axes(axes, drawn)
        axes.legend(loc="upper left", handlelength=1.8)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)


def _placed(points: pd.DataFrame) -> pd.DataFrame:
    rows = points.assign(height=plot_height(points["failed_share"].astype(float)))
    miles = rows["miles"].astype(float)
    return rows[rows["height"].notna() & (miles > 0) & np.isfinite(miles)].sort_values("miles")


def _draw(axes: Axes, rows: pd.DataFrame, fitted: pd.DataFrame, pen: Pen) -> None:
    floor, ceiling = plot_height([1e-5, 1 - 1e-9])
    low = np.where(rows["lower"] <= 0, floor, plot_height(rows["lower"]))
    high = np.where(rows["upper"] >= 1, ceiling, plot_height(rows["upper"]))
    axes.fill_between(
        rows["miles"].to_numpy(float),
        low,
        high,
        color=pen.colour,
        alpha=0.13,
        linewidth=0,
        label="band of the records",
    )
    axes.plot(
        rows["miles"],
        rows["height"],
        linestyle="none",
        marker=pen.marker,
        markersize=4,
        markerfacecolor="white",
        color=pen.colour,
        label="from the records",
    )
    line = fitted[fitted["miles"].astype(float) > 0].sort_values("miles")
    height = plot_height(1.0 - line["survival"].to_numpy(float))
    if np.isfinite(height).any():
        axes.plot(line["miles"], height, color=pen.colour, linewidth=1.6, label="fitted Weibull")


def _axes(axes: Axes, rows: pd.DataFrame) -> None:
    axes.set_xscale("log")
    first, last = float(rows["miles"].min()), float(rows["miles"].max())
    axes.set_xlim(first / 1.3, last * 1.3)
    axes.xaxis.set_major_locator(FixedLocator(_round_miles(first / 1.3, last * 1.3)))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(lambda miles, _: f"{miles:,.0f}")
    axes.set_ylim(min(rows["height"].min() - 0.6, -2.5), max(rows["height"].max() + 0.6, 0.6))
    axes.yaxis.set_major_locator(FixedLocator(plot_height(_SHARES).tolist()))
    axes.yaxis.set_major_formatter(FixedFormatter([f"{share * 100:g} %" for share in _SHARES]))
    axes.set_xlabel("miles since fitting (logarithmic)")
    axes.set_ylabel("failed")


def _round_miles(first: float, last: float) -> list[float]:
    """Give the 1-2-5 marks inside a range, thinned to those that fit side by side."""
    decades = range(int(np.floor(np.log10(first))), int(np.ceil(np.log10(last))) + 1)
    wide = np.log10(last / first) > 2.2
    marks = [step * 10.0**decade for decade in decades for step in ((1.0,) if wide else _STEPS)]
    return [mark for mark in marks if first <= mark <= last]
