"""Planned cost by month: cash and downtime side by side, never as one sum.

Not here: the amounts (given by the planner), the table beside the figure (`finance`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from pivotlife.dashboards.charts import Drawing, board, plain, to_svg

_CASH = "#123f7a"
_DOWNTIME = "#c9c2ae"


def cost_drawing(
    months: pd.DataFrame, currency: str, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw two bars a month: cash, and time off the road.

    Parameters
    ----------
    months : DataFrame
        `month` (text), `cash`, `downtime` (amounts in `currency`), one row a month.
    currency, name, title, caption : str
        The currency's code; for the rest see `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None when no amount is known.
    """
    amounts = months[["cash", "downtime"]].to_numpy(dtype=float)
    if not np.isfinite(amounts).any():
        return None
    with board(height=3.0) as (figure, axes):
        place = np.arange(len(months), dtype=float)
        axes.bar(place - 0.2, amounts[:, 0], 0.36, color=_CASH, label="cash")
        axes.bar(
            place + 0.2,
            amounts[:, 1],
            0.36,
            color=_DOWNTIME,
            edgecolor="#5b6470",
            hatch="///",
            label="downtime (no cash leaves)",
        )
        every = -(-len(months) // 6)
        axes.set_xticks(place[::every], [plain(month) for month in months["month"][::every]])
        axes.set_xlim(-0.8, max(len(months) - 0.2, 2.2))
        axes.set_ylim(0, 1.22 * float(np.nanmax(amounts[np.isfinite(amounts)])) or 1.0)
        axes.yaxis.set_major_locator(MaxNLocator(5))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda amount, _: f"{amount:,.0f}"))
        axes.xaxis.grid(visible=False)
        axes.set_ylabel(plain(currency))
        axes.legend(loc="upper right", ncols=2)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)
