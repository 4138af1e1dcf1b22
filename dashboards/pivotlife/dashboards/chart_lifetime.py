"""Figures of lifetime cost: bars with their spread, and what moves a saving.

Cash is solid, downtime hatched, and they are never stacked on one another.

Not here: the amounts (given), the tables beside the figures (`finance_lifetime`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.ticker import FuncFormatter, MaxNLocator

from pivotlife.dashboards.charts import INK, QUIET, Drawing, board, pens, plain, to_svg

_CASH = "#123f7a"
_DOWNTIME = "#c9c2ae"
_LONGEST = 34


def type_drawing(
    rows: pd.DataFrame, currency: str, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw cash and downtime of each type and duty as lying bars with their P10 to P90.

    Parameters
    ----------
    rows : DataFrame
        duty, bushing_type, cash, cash_p10, cash_p90, downtime, downtime_p10, downtime_p90.
    currency, name, title, caption : str
        The currency's code; for the rest see `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None without rows.
    """
    if rows.empty:
        return None
    with board(height=0.62 * len(rows) + 1.2) as (figure, axes):
        at = np.arange(len(rows), dtype=float)[::-1]
        _bars(axes, at + 0.19, rows, "cash", "cash", True)
        _bars(axes, at - 0.19, rows, "downtime", "downtime (no cash leaves)", True)
        labels = [_label(f"{r.bushing_type}, {r.duty}") for r in rows.itertuples()]
        axes.set_yticks(at, labels)
        axes.yaxis.grid(visible=False)
        _money_axis(axes.xaxis)
        axes.set_xlabel(plain(f"{currency}, present value"))
        axes.set_ylim(-0.6, len(rows) - 0.4)
        axes.legend(loc="upper center", bbox_to_anchor=(0.4, 1.12), ncols=2)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)


def year_drawing(
    rows: pd.DataFrame, currency: str, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw the fleet's cash and downtime by year with P10 to P90.

    Parameters
    ----------
    rows : DataFrame
        year, cash, cash_p10, cash_p90, downtime, downtime_p10, downtime_p90.
    currency, name, title, caption : str
        As in `type_drawing`.
    """
    if rows.empty:
        return None
    with board(height=3.2) as (figure, axes):
        at = np.arange(len(rows), dtype=float)
        _bars(axes, at - 0.19, rows, "cash", "cash", False)
        _bars(axes, at + 0.19, rows, "downtime", "downtime (no cash leaves)", False)
        axes.set_xticks(at, [str(int(year)) for year in rows["year"]])
        axes.set_xlabel("year from today")
        axes.set_ylabel(plain(currency))
        axes.xaxis.grid(visible=False)
        _money_axis(axes.yaxis)
        axes.legend(loc="upper right")
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)


def tornado_drawing(
    rows: pd.DataFrame, labels: Sequence[str], currency: str, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw how far each figure by itself moves a saving, widest on top.

    Parameters
    ----------
    rows : DataFrame
        saving_at_low, saving_now, saving_at_high, widest swing first.
    labels : sequence of str
        What is moved, one a row.
    currency, name, title, caption : str
        As in `type_drawing`.
    """
    if rows.empty:
        return None
    with board(height=0.4 * len(rows) + 1.2) as (figure, axes):
        at = np.arange(len(rows), dtype=float)[::-1]
        now = float(rows["saving_now"].iloc[0])
        for column, colour, hatch, label in (
            ("saving_at_low", _DOWNTIME, "///", "low end"),
            ("saving_at_high", _CASH, "", "high end"),
        ):
            reach = rows[column].to_numpy(dtype=float) - now
            axes.barh(
                at, reach, 0.6, left=now, color=colour, hatch=hatch, edgecolor=QUIET, label=label
            )
        axes.axvline(now, color=INK, linewidth=1.0)
        axes.axvline(0.0, color=INK, linewidth=1.0, linestyle="--")
        axes.set_yticks(at, [_label(label) for label in labels])
        axes.yaxis.grid(visible=False)
        _money_axis(axes.xaxis)
        axes.set_xlabel(plain(f"saving, {currency} a truck (dashed: none)"))
        axes.legend(loc="upper center", bbox_to_anchor=(0.4, 1.2), ncols=2)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)


def late_drawing(
    rows: pd.DataFrame, currency: str, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw the saving of each type against the cost of a late find.

    Parameters
    ----------
    rows : DataFrame
        Of one duty: bushing_type, late_cost_more, saving_held.
    currency, name, title, caption : str
        As in `type_drawing`.
    """
    if rows.empty:
        return None
    with board(height=3.0) as (figure, axes):
        for kind, pen in pens(sorted(rows["bushing_type"].unique())).items():
            own = rows[rows["bushing_type"] == kind].sort_values("late_cost_more")
            axes.plot(
                own["late_cost_more"].to_numpy(dtype=float),
                own["saving_held"].to_numpy(dtype=float),
                color=pen.colour,
                marker=pen.marker,
                label=plain(kind),
            )
        axes.axhline(0.0, color=INK, linewidth=1.0, linestyle="--")
        axes.set_xlabel(plain(f"late find, {currency} more than a planned job"))
        axes.set_ylabel(plain(f"saving, {currency}"))
        _money_axis(axes.xaxis)
        _money_axis(axes.yaxis)
        axes.legend(loc="best")
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)


def _bars(
    axes: Axes, at: np.ndarray, rows: pd.DataFrame, column: str, label: str, lying: bool
) -> None:
    mean = rows[column].to_numpy(dtype=float)
    ends = [rows[f"{column}_{end}"].to_numpy(dtype=float) for end in ("p10", "p90")]
    reach = np.maximum(np.stack([mean - ends[0], ends[1] - mean]), 0.0)
    look: dict[str, Any] = {"edgecolor": QUIET, "ecolor": INK, "capsize": 2.5, "label": label}
    look |= {"color": _CASH} if column == "cash" else {"color": _DOWNTIME, "hatch": "///"}
    if lying:
        axes.barh(at, mean, 0.36, xerr=reach, **look)
    else:
        axes.bar(at, mean, 0.36, yerr=reach, **look)


def _label(text: str) -> str:
    """Keep a label from eating the figure."""
    shown = plain(text)
    return shown if len(shown) <= _LONGEST else f"{shown[: _LONGEST - 3]}..."


def _money_axis(axis: Axis) -> None:
    axis.set_major_locator(MaxNLocator(4))
    axis.set_major_formatter(FuncFormatter(lambda amount, _: f"{amount:,.0f}"))
