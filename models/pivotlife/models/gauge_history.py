"""Repeatability from the daily records: what happens when the same pivot is read again at once.

Readings are repeats of each other when pivot, date, inspector and tool agree (and direction, load,
grease and repair state, where the table has them) and at least one of them is marked as a repeat.
Unmarked pairs are not used: they may be one reading written down twice, which would flatter the
gauge. Within a set of n repeats the squares about their mean have n - 1 degrees of freedom; sets
add up. With SS and f summed over sets,

    repeatability = sqrt(SS / f),   interval = sqrt(SS / chi-square quantile on f)

(e.g. NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.3.1; from memory). It supposes that the
spread does not grow with the play.

Not here: reproducibility (two inspectors seldom read one pivot on one day: that takes a gauge
study, `gauge`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from pivotlife.models.gauge import GaugeError

REQUIRED: Final = ("pivot_id", "reading_date", "free_play_mm", "inspector", "tool", "repeat")
#: A set of repeats shares these too, where the table has them.
CONDITIONS: Final = ("direction", "load_state", "greased_before", "after_repair")
#: Stands for every inspector or every tool together.
ALL: Final = "all"
SPREAD_HIDDEN: Final = "no repeat differs: the spread is hidden below the step of recording"


def repeatability_from_history(readings: pd.DataFrame, *, level: float = 0.95) -> pd.DataFrame:
    """Return the spread of repeats by inspector and tool.

    Parameters
    ----------
    readings : DataFrame, one row per reading
        ``pivot_id``, ``inspector``, ``tool``, ``repeat`` (text, "" = not said / no repeat),
        ``reading_date`` (datetime64) and ``free_play_mm`` (float, mm); optional ``direction``,
        ``load_state``, ``greased_before``, ``after_repair``.
    level : float, between 0 and 1
        How often such an interval holds the true figure.

    Returns
    -------
    DataFrame
        ``inspector``, ``tool`` ("all": together; first row both, then each inspector, each tool,
        each pair), ``sets``, ``readings``, ``degrees_of_freedom``, ``repeatability_mm``,
        ``lower_mm``, ``upper_mm`` (standard deviations), ``warning``. No rows without repeats.

    Raises
    ------
    GaugeError
        A column is missing.
    """
    missing = [name for name in REQUIRED if name not in readings.columns]
    if missing:
        raise GaugeError(f"the readings lack the column {' and '.join(missing)}; add it")
    sets = _sets_of_repeats(readings)
    views = [[], ["inspector"], ["tool"], ["inspector", "tool"]]
    summed = pd.concat([_summed(sets, by) for by in views], ignore_index=True)
    return _with_interval(summed, level)


def _sets_of_repeats(readings: pd.DataFrame) -> pd.DataFrame:
    """Return one row per set: inspector, tool, readings, degrees of freedom, squares."""
    same = ["pivot_id", "reading_date", "inspector", "tool"]
    same += [name for name in CONDITIONS if name in readings.columns]
    usable = readings[
        np.isfinite(readings["free_play_mm"])
        & readings["reading_date"].notna()
        & (readings["pivot_id"] != "")
    ]
    grouped = usable.assign(marked=usable["repeat"] != "").groupby(same, dropna=False)
    found: pd.DataFrame = grouped.agg(
        readings=("free_play_mm", "size"),
        variance=("free_play_mm", "var"),
        marked=("marked", "any"),
    ).reset_index()
    sets = found[(found["readings"] > 1) & found["marked"]]
    freedom = sets["readings"] - 1
    return sets.assign(degrees_of_freedom=freedom, squares=sets["variance"] * freedom)


def _summed(sets: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Add sets up over what is not in `by`."""
    labels = {name: ALL for name in ("inspector", "tool") if name not in by}
    counted = ["sets", "readings", "degrees_of_freedom", "squares"]
    grouped = sets.assign(sets=1, **labels).groupby(["inspector", "tool"])
    return grouped[counted].sum().reset_index()


def _with_interval(summed: pd.DataFrame, level: float) -> pd.DataFrame:
    """Turn squares into standard deviations with their chi-square interval."""
    freedom = summed["degrees_of_freedom"].to_numpy(dtype=np.float64)
    squares = summed["squares"].to_numpy(dtype=np.float64)
    hidden = squares == 0.0
    tail = (1.0 - level) / 2.0
    lower = np.sqrt(squares / stats.chi2.ppf(1.0 - tail, freedom))
    upper = np.where(hidden, np.nan, np.sqrt(squares / stats.chi2.ppf(tail, freedom)))
    return summed.drop(columns="squares").assign(
        repeatability_mm=np.sqrt(squares / freedom),
        lower_mm=lower,
        upper_mm=upper,
        warning=np.where(hidden, SPREAD_HIDDEN, ""),
    )
