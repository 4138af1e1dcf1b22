"""Calendar months ahead of a day, and the spans of days that they make.

The first month is what is left of the one that holds the day after; what falls on the day itself
counts there.

Not here: what happens in them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Months:
    """Months ahead.

    Attributes
    ----------
    names : tuple of str
        "2026-12" and on.
    starts : ndarray, shape (n + 1,), days from the day of the run
        First day of each month, 0 for the first, and the day after the last.
    """

    names: tuple[str, ...]
    starts: FloatArray

    @property
    def horizon_days(self) -> float:
        """Days until the last month is over."""
        return float(self.starts[-1])

    def of_days(self, day: FloatArray) -> IntArray:
        """Place of the month of each day; the number of months where it lies beyond."""
        place = np.searchsorted(self.starts, day, side="right") - 1
        return np.asarray(np.clip(place, 0, len(self.names)), dtype=np.int64)

    def quarters(self) -> tuple[tuple[str, int, int], ...]:
        """Calendar quarters as (name, first month, month after the last)."""
        found: dict[str, list[int]] = {}
        for place, name in enumerate(self.names):
            quarter = f"{name[:4]}-Q{(int(name[5:]) + 2) // 3}"
            found.setdefault(quarter, []).append(place)
        return tuple((name, own[0], own[-1] + 1) for name, own in found.items())


def months_ahead(as_of: pd.Timestamp, count: int = 24) -> Months:
    """Lay out the months from a day on.

    Parameters
    ----------
    as_of : Timestamp
    count : int

    Returns
    -------
    Months
    """
    first = (as_of + pd.Timedelta(days=1)).to_period("M")
    periods = [first + step for step in range(count + 1)]
    days = [(period.start_time - as_of.normalize()).days for period in periods]
    return Months(
        tuple(str(period) for period in periods[:-1]),
        np.array([0, *days[1:]], dtype=float),
    )
