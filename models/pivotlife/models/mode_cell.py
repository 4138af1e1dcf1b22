"""The rows of failure modes in the table by type, from the joint fit where there is one.

Modes that inspections find are fitted together (`modes`) once there are two of them and any has
five failures; a row then comes from the joint fit if its own mode has. Every other mode keeps the
row of `type_cell`: too few failures, lower limits only, or the sudden modes with their own ages.

Intervals as in `type_cell`: whole units drawn again and all modes fitted anew, or else the profile
likelihood, in which the other modes follow.

Not here: how many bushings a mode takes while the others are at work (`mode_incidence`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.modes import ModesFit, competing_lives, fit_modes
from pivotlife.models.modes_intervals import mode_interval
from pivotlife.models.type_cell import (
    ALIKE_FROM,
    FEW_UNITS,
    FEWEST_FAILING_UNITS,
    QUANTITIES,
    Study,
    rough_interval,
)
from pivotlife.models.weibull_bootstrap import BootstrapCurves, percentile_interval
from pivotlife.models.weibull_quantities import quantity_path


def joint_fit(cell: pd.DataFrame) -> ModesFit | None:
    """Fit the inspected modes of a group of lives together; None where that is not defined."""
    try:
        return fit_modes(competing_lives(cell))
    except NoMaximumError:
        return None


def joint_rows(cell: pd.DataFrame, study: Study) -> dict[str, dict[str, object]]:
    """Return the numbers of every mode that the joint fit gives a curve, by mode.

    Parameters
    ----------
    cell : DataFrame, one row per life
        Lives of one type, columns of the table of all lives.
    study : Study

    Returns
    -------
    dict of str to dict
        As `type_cell.cell_numbers` gives them; empty where no joint fit is defined.
    """
    fit = joint_fit(cell)
    if fit is None or len(fit.modes) == 1:  # one mode alone: its own fit is the joint one
        return {}
    own = [mode for mode, few in zip(fit.modes, fit.is_constant, strict=True) if not few]
    drawn = [mode for mode in own if _draws_units(fit, mode)]
    curves = fit.bootstrap(draws=study.draws, seed=study.seed) if drawn else {}
    return {
        mode: _numbers(fit, mode, study, curves[mode] if mode in drawn else None) for mode in own
    }


def _draws_units(fit: ModesFit, mode: str) -> bool:
    """Say whether the interval of a mode draws whole units again."""
    lives = fit.lives
    failing = np.unique(lives.unit[fit.cause == fit.modes.index(mode)]).size
    alike = lives.n_units > 1 and lives.n_lives > ALIKE_FROM * lives.n_units
    return bool(alike and failing >= FEWEST_FAILING_UNITS)


def _numbers(
    fit: ModesFit, mode: str, study: Study, curves: BootstrapCurves | None
) -> dict[str, object]:
    """Return counts, estimates, intervals and the warning of one mode."""
    place = fit.modes.index(mode)
    a, s = float(np.log(fit.shape[place])), float(np.log(fit.scale[place]))
    numbers: dict[str, object] = {}
    for name, quantity in QUANTITIES.items():
        path = quantity_path(quantity)
        if curves is not None:
            limits = percentile_interval(curves, path, study.level)
        else:
            limits = mode_interval(fit, mode, path, study.level)
        numbers[name] = path.value(path.start(a, s)[0])
        numbers[f"{name}_lower"], numbers[f"{name}_upper"] = limits.lower, limits.upper
    return {
        "lives": fit.lives.n_lives,
        "units": fit.lives.n_units,
        "failures": fit.failures[place],
        **numbers,
        "interval_method": "profile" if curves is None else "bootstrap",
        "warning": "; ".join(text for text in _doubts(fit, mode, curves, study) if text),
    }


def _doubts(fit: ModesFit, mode: str, curves: BootstrapCurves | None, study: Study) -> list[str]:
    """Return what to know about a mode's row."""
    others = [
        f"{other} ({count} at a constant rate)" if few else other
        for other, count, few in zip(fit.modes, fit.failures, fit.is_constant, strict=True)
        if other != mode
    ]
    doubts = []
    if others:
        doubts.append(
            f"as if it were the only mode; fitted together with {', '.join(others)}; that modes are"
            " independent cannot be tested"
        )
    if curves is None and fit.lives.n_lives > ALIKE_FROM * fit.lives.n_units > ALIKE_FROM:
        doubts.append(FEW_UNITS)
    if curves is not None and curves.n_without_maximum:
        doubts.append(rough_interval(curves.n_without_maximum, study.draws))
    return doubts
