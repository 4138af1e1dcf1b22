"""The one gate for bushing lives: what the records say about each failure age, checked once.

A life is one bushing in one pivot. Three ages in miles since fitting say all that a fit needs:

- ``entry_miles``: from this age on the bushing was watched, known to be good (0: from new);
- ``lower_miles``: it had not failed by this age;
- ``upper_miles``: it had failed by this age. Infinity: it has not failed as far as we know
  (right-censored). Equal to ``lower_miles``: it failed at exactly this age. ``lower_miles`` of 0:
  it failed some time before ``upper_miles`` (left-censored).

The gate demands entry <= lower <= upper:

- a lower age below the entry is raised to it: the bushing was good at its entry, so it says nothing
  about earlier ages;
- a failure at or before the entry contradicts itself and is a fault;
- a right-censored life with lower <= entry was never watched: it carries no information and is
  left out, and counted in ``left_out``.

Everything behind the gate takes `CheckedLives` and checks nothing again.

`lives_for_mode` chooses and shapes the lives that one failure mode sees (`mode_lives`).

Not here: how records become lives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.errors import LivesError
from pivotlife.models.mode_lives import lives_for_mode

__all__ = [
    "BoolArray",
    "CheckedLives",
    "FloatArray",
    "IntArray",
    "check_lives",
    "checked_rows",
    "lives_for_mode",
]

#: A fault names this many lives.
IDS_SHOWN = 5


@dataclass(frozen=True, eq=False)
class CheckedLives:
    """Lives that passed the gate; every array has shape (n_lives,).

    Attributes
    ----------
    entry, lower, upper : ndarray of float64, miles
        Watched from, not failed by, failed by (infinity: not failed).
    weight : ndarray of float64
        How many such lives the row stands for; always above 0.
    unit : ndarray of int64
        Number of the truck or trailer, 0 to n_units - 1.
    n_units : int
        Number of different units.
    left_out : int
        Right-censored lives that were never watched after their entry, left out.
    """

    entry: FloatArray
    lower: FloatArray
    upper: FloatArray
    weight: FloatArray
    unit: IntArray
    n_units: int
    left_out: int

    @property
    def n_lives(self) -> int:
        """Number of rows."""
        return int(self.lower.size)

    @property
    def is_failure(self) -> BoolArray:
        """True where the bushing is known to have failed."""
        return np.isfinite(self.upper)

    @property
    def is_exact(self) -> BoolArray:
        """True where the age at failure is known."""
        return np.equal(self.lower, self.upper)

    @property
    def n_failures(self) -> int:
        """Number of rows that are failures."""
        return int(np.count_nonzero(self.is_failure))

    @property
    def has_late_entry(self) -> bool:
        """Whether any life was watched only from a later age on."""
        return bool(np.any(self.entry > 0.0))

    def take(self, rows: npt.NDArray[np.intp] | BoolArray | slice) -> CheckedLives:
        """Return the chosen rows, units numbered as before."""
        return CheckedLives(
            self.entry[rows],
            self.lower[rows],
            self.upper[rows],
            self.weight[rows],
            self.unit[rows],
            self.n_units,
            self.left_out,
        )


def check_lives(lives: pd.DataFrame) -> CheckedLives:
    """Pass lives through the gate; `checked_rows` says what it takes and refuses."""
    return checked_rows(lives)[0]


def checked_rows(lives: pd.DataFrame) -> tuple[CheckedLives, IntArray]:
    """Pass lives through the gate.

    Parameters
    ----------
    lives : DataFrame, one row per life
        ``lower_miles`` and ``upper_miles``; optional ``entry_miles`` (0 when absent),
        ``weight`` (1 when absent), ``unit_id`` (every life its own unit when absent) and
        ``life_id``, which names lives in faults. Rows of weight 0 stand for nobody and are dropped.

    Returns
    -------
    CheckedLives
    ndarray of int, shape (n_lives,)
        Which rows of the table they are: the rest carry no information.

    Raises
    ------
    LivesError
        A column is missing, or lives contradict themselves: all faults at once, each with how many
        lives it concerns and the first five of them.
    """
    missing = [name for name in ("lower_miles", "upper_miles") if name not in lives.columns]
    if missing:
        raise LivesError(f"the lives lack the column {' and '.join(missing)}; add it")
    lower = _miles(lives, "lower_miles", 0.0)
    upper = _miles(lives, "upper_miles", np.inf)
    entry = _miles(lives, "entry_miles", 0.0)
    weight = _miles(lives, "weight", 1.0)
    _refuse_faults(lives, entry, lower, upper, weight)
    lower = np.maximum(lower, entry)
    watched = np.isfinite(upper) | (lower > entry)
    kept = watched & (weight > 0.0)
    if "unit_id" in lives.columns:
        codes, names = pd.factorize(lives["unit_id"].to_numpy()[kept])
        n_units = len(names)
    else:
        codes, n_units = np.arange(np.count_nonzero(kept)), int(np.count_nonzero(kept))
    checked = CheckedLives(
        entry[kept],
        lower[kept],
        upper[kept],
        weight[kept],
        codes.astype(np.int64, copy=False),
        n_units,
        int(np.count_nonzero(~watched)),
    )
    return checked, np.flatnonzero(kept)


def _miles(lives: pd.DataFrame, column: str, absent: float) -> FloatArray:
    """Return one column as floats, text that is no number as a fault."""
    if column not in lives.columns:
        return np.full(len(lives), absent)
    try:
        return lives[column].to_numpy(dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise LivesError(
            f"the column {column} of the lives holds text that is no number"
        ) from error


def _refuse_faults(
    lives: pd.DataFrame,
    entry: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
    weight: FloatArray,
) -> None:
    """Raise one `LivesError` that names every kind of fault."""
    checks = [
        (
            ~(np.isfinite(lower) & (lower >= 0)),
            "a lower_miles that is missing, infinite or negative",
        ),
        (
            ~(np.isfinite(entry) & (entry >= 0)),
            "an entry_miles that is missing, infinite or negative",
        ),
        (~(upper >= 0), "an upper_miles that is missing or negative"),
        (~(np.isfinite(weight) & (weight >= 0)), "a weight that is missing, infinite or negative"),
        (lower > upper, "a lower_miles above its upper_miles"),
        (upper <= entry, "a failure at or before its entry_miles"),
    ]
    texts = [
        f"{np.count_nonzero(wrong)} of {wrong.size} lives have {what}: {_names(lives, wrong)}"
        for wrong, what in checks
        if np.any(wrong)
    ]
    if texts:
        raise LivesError("; ".join(texts) + ". Correct their records or leave these lives out")


def _names(lives: pd.DataFrame, wrong: BoolArray) -> str:
    """Return the first ids of the wrong lives, or their row labels."""
    rows = np.flatnonzero(wrong)[:IDS_SHOWN]
    if "life_id" in lives.columns:
        names = [str(lives["life_id"].iloc[row]) for row in rows]
    else:
        names = [f"row {lives.index[row]}" for row in rows]
    more = ", ..." if np.count_nonzero(wrong) > IDS_SHOWN else ""
    return ", ".join(names) + more
