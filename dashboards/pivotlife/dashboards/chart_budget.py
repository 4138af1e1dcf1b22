"""Expected cash by month as bars: the shortlist below, later renewals above, a line for the band.

Not here: the amounts (given), the table beside the figure (`finance_budget`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, MaxNLocator

from pivotlife.dashboards.charts import INK, Drawing, board, plain, to_svg

_LISTED, _LATER = "#123f7a", "#9db4d3"


def budget_drawing(
    months: pd.DataFrame, currency: str, name: str, title: str, caption: str
) -> Drawing | None:
    """Draw one bar a month with the band from P10 to P90.

    Parameters
    ----------
    months : DataFrame
        `month` (text), `expected, p10, p90, from_shortlist` (amounts in `currency`).
    currency, name, title, caption : str
        The currency's code; for the rest see `charts.Drawing`.

    Returns
    -------
    Drawing or None
        None when nothing is expected.
    """
    expected = months["expected"].to_numpy(dtype=float)
    if not len(months) or not np.nansum(expected) > 0:
        return None
    listed = months["from_shortlist"].to_numpy(dtype=float)
    low, high = (months[end].to_numpy(dtype=float) for end in ("p10", "p90"))
    with board(height=3.0) as (figure, axes):
        place = np.arange(len(months), dtype=float)
        axes.bar(place, listed, 0.7, color=_LISTED, label="on the shortlist")
        axes.bar(
            place,
            expected - listed,
            0.7,
            bottom=listed,
            color=_LATER,
            hatch="...",
            edgecolor="#5b6470",
            label="later renewals",
        )
        axes.vlines(place, low, high, color=INK, linewidth=1.4, label="8 in 10 within the line")
        every = -(-len(months) // 5)
        axes.set_xticks(place[::every], [plain(month) for month in months["month"][::every]])
        axes.set_xlim(-0.8, max(len(months) - 0.2, 2.2))
        axes.set_ylim(0, 1.35 * float(np.nanmax(np.maximum(high, expected))) or 1.0)
        axes.yaxis.set_major_locator(MaxNLocator(5))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda amount, _: f"{amount:,.0f}"))
        axes.xaxis.grid(visible=False)
        axes.set_ylabel(plain(currency))
        axes.legend(loc="upper right", ncols=1)
        svg = to_svg(figure, name, title)
    return Drawing(svg, title, caption)
