"""How many bushings each failure mode takes, beside what it would take if it were the only one.

All modes of a type compete here, found by inspection or sudden: inspected modes with their joint
curves (`modes`), sudden ones with their own (a constant rate below five failures). The shares that
the modes take add up to the share that failed at all; the shares "if it were the only mode" do not,
and are never smaller. The latter suppose that modes are independent, which cannot be tested.

Not here: intervals; those of the curves stand in the table by type.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.findings import SUDDEN_MODES
from pivotlife.models.lives import check_lives
from pivotlife.models.mode_cell import joint_fit
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.modes_likelihood import incidence
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.weibull import fit_weibull

COLUMNS: Final = (
    *("bushing_type", "mode", "failures", "curve", "miles", "share_taken", "share_if_only_mode"),
)
#: The table speaks of every so many miles, up to the last age observed.
STEP_MILES: Final = 100_000.0


@dataclass(frozen=True)
class ModeCurve:
    """One mode as if it were the only one; a constant rate is a shape of 1. Scale in miles."""

    mode: str
    failures: int
    is_constant: bool
    shape: float
    scale: float


def incidence_table(lives: pd.DataFrame) -> pd.DataFrame:
    """Tabulate what each mode takes, by bushing type and age.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; shares of all bushings by each age (``miles``); ``curve`` is "fitted" or
        "constant rate". Types in which no mode has enough failures for a curve are absent.
    """
    tables = [
        _of_type(str(kind), of_type) for kind, of_type in lives.groupby("bushing_type", sort=True)
    ]
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame(columns=list(COLUMNS))
    return pd.concat(filled, ignore_index=True)


def _of_type(kind: str, lives: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of one type."""
    fit = joint_fit(lives)
    if fit is None:
        return pd.DataFrame(columns=list(COLUMNS))
    known = [
        ModeCurve(mode, failures, bool(few), float(fit.shape[place]), float(fit.scale[place]))
        for place, (mode, failures, few) in enumerate(
            zip(fit.modes, fit.failures, fit.is_constant, strict=True)
        )
    ]
    known += [found for mode in SUDDEN_MODES if (found := sudden_curve(lives, mode)) is not None]
    last = float(np.where(fit.lives.is_failure, fit.lives.upper, fit.lives.lower).max())
    miles = np.arange(STEP_MILES, max(last, STEP_MILES) + 1.0, STEP_MILES)
    return pd.concat([_rows(kind, place, known, miles) for place in range(len(known))])


def _rows(kind: str, place: int, known: list[ModeCurve], miles: FloatArray) -> pd.DataFrame:
    """Return the rows of one mode."""
    own = known[place]
    log_shape = np.log(np.array([curve.shape for curve in known]))
    log_scale = np.log(np.array([curve.scale for curve in known]))
    return pd.DataFrame(
        {
            "bushing_type": kind,
            "mode": own.mode,
            "failures": own.failures,
            "curve": "constant rate" if own.is_constant else "fitted",
            "miles": miles,
            "share_taken": incidence(log_shape, log_scale, place, miles),
            "share_if_only_mode": -np.expm1(-((miles / own.scale) ** own.shape)),
        }
    )


def sudden_curve(lives: pd.DataFrame, mode: str) -> ModeCurve | None:
    """Return the curve of a sudden mode; None where it never struck.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives, of one type.
    mode : str
    """
    checked = check_lives(lives_for_mode(lives, mode))
    failures = checked.n_failures
    if not failures:
        return None
    if failures >= FEW_FAILURES:
        try:
            fit = fit_weibull(checked)
        except NoMaximumError:
            pass
        else:
            return ModeCurve(mode, failures, is_constant=False, shape=fit.shape, scale=fit.scale)
    watched = float((checked.lower - checked.entry).sum())
    return ModeCurve(mode, failures, is_constant=True, shape=1.0, scale=watched / failures)
