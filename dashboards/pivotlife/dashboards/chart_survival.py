"""Survival curves: the share of bushings still good against miles since fitting.

Fitted curves are full lines with a band, dashed beyond the last bushing seen; behind them stand
the steps that the records give without any curve assumed. Below the axis: how many bushings were
at risk.

Not here: any fit. Numbers are looked up in the rows given, never worked out.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from pivotlife.dashboards.charts import QUIET, Drawing, Pen, board, pens, plain, to_svg

#: Below the axis, in points: where the notes begin, and one line of them.
_ABOVE_NOTES: Final = 48.0
_NOTE_LINE: Final = 14.5


def survival_drawing(curves: pd.DataFrame, name: str, title: str, caption: str) -> Drawing | None:
    """Draw the curves of all types of one duty.

    Parameters
    ----------
    curves : DataFrame
        Rows of one duty: `bushing_type`, `curve` ("weibull" or "records"), `miles`,
        `survival`, `lower`, `upper` (shares), `at_risk` (bushings), `beyond_data` (bool).
    name, title, caption : str
        See `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None when no row can be drawn.
    """
    rows = curves[np.isfinite(curves["miles"].astype(float))]
    rows = rows[rows["survival"].notna() & rows["curve"].isin(("weibull", "records"))]
    if rows.empty:
        return None
    types = sorted(rows["bushing_type"].unique())
    with board(height=3.6 + 0.2 * len(types)) as (figure, axes):
        for kind, pen in pens(types).items():
            _draw_type(axes, rows[rows["bushing_type"] == kind], kind, pen)
        _axes(axes, float(rows["miles"].max()))
        _at_risk(axes, rows, types)
        axes.legend(loc="lower left", handlelength=2.2)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)


def _draw_type(axes: Axes, rows: pd.DataFrame, kind: str, pen: Pen) -> None:
    steps = rows[rows["curve"] == "records"].sort_values("miles")
    fitted = rows[rows["curve"] == "weibull"].sort_values("miles")
    if not steps.empty:
        axes.step(
            steps["miles"],
            steps["survival"],
            where="post",
            color=pen.colour,
            linewidth=0.9,
            alpha=0.6,
            label=None if len(fitted) else plain(kind),
        )
    if fitted.empty:
        return
    beyond = fitted["beyond_data"].to_numpy(dtype=bool)
    seen = fitted[~beyond]
    axes.fill_between(
        fitted["miles"].to_numpy(float),
        fitted["lower"].to_numpy(float),
        fitted["upper"].to_numpy(float),
        color=pen.colour,
        alpha=0.13,
        linewidth=0,
    )
    axes.plot(
        seen["miles"],
        seen["survival"],
        color=pen.colour,
        linewidth=2.0,
        marker=pen.marker,
        markersize=5.5,
        markevery=max(1, len(seen) // 6),
        label=plain(kind),
    )
    if not beyond.any():
        return
    # The dashed part starts at the last point seen, so that the line has no gap.
    tail = fitted[beyond | (np.arange(len(fitted)) == len(seen) - 1)]
    axes.plot(tail["miles"], tail["survival"], color=pen.colour, linewidth=1.5, linestyle="--")


def _axes(axes: Axes, last: float) -> None:
    axes.set_xlim(0, max(last, 1.0))
    axes.set_ylim(0, 1.02)
    axes.xaxis.set_major_locator(MaxNLocator(4))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda miles, _: f"{miles:,.0f}"))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{share * 100:.0f} %"))
    axes.set_xlabel("miles since fitting")
    axes.set_ylabel("still good")


def _at_risk(axes: Axes, rows: pd.DataFrame, types: list[str]) -> None:
    """Write, under each tick of the axis, how many bushings of each type were at risk."""
    last = axes.get_xlim()[1]
    ticks = [tick for tick in axes.get_xticks() if 0 <= tick <= last]
    _note(axes, 0, _ABOVE_NOTES, "at risk", "right")
    for place, kind in enumerate(types):
        drop = _ABOVE_NOTES + _NOTE_LINE * (place + 1)
        _note(axes, 0, drop, plain(kind.split("-")[0]), "right")
        for tick in ticks:
            label = at_risk_text(rows[rows["bushing_type"] == kind], tick)
            _note(axes, tick, drop, label, "center")


def at_risk_text(rows: pd.DataFrame, miles: float) -> str:
    """Look up the bushings at risk at an age: the last row at or before it, none after the last.

    Parameters
    ----------
    rows : DataFrame
        Curve rows of one type with `miles`, `at_risk`.
    miles : float, miles
        The age asked for.

    Returns
    -------
    str
        The number, or "-" where the rows say nothing.
    """
    known = rows[rows["at_risk"].notna()].sort_values("miles", kind="stable")
    if known.empty:
        return "-"
    if miles > known["miles"].iloc[-1]:
        return "0"
    before = known[known["miles"] <= miles]
    row = known.iloc[0] if before.empty else before.iloc[-1]
    return f"{row['at_risk']:,.0f}"


def _note(axes: Axes, miles: float, drop: float, label: str, align: str) -> None:
    axes.annotate(
        label,
        xy=(miles, 0),
        xycoords=("data", "axes fraction"),
        xytext=(-18 if align == "right" else 0, -drop),
        textcoords="offset points",
        ha=align,
        va="center",
        fontsize=10.5,
        color=QUIET,
        annotation_clip=False,
    )
