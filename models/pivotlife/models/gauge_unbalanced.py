"""Restricted likelihood for a gauge study in which readings are missing.

Inspectors read parts several times, but not every inspector read every part equally often. A
reading is

    y = mean + part + inspector + (part x inspector) + error,

all four random with their own variance. The readings enter through their cells (one part with one
inspector): the squares within cells carry the error alone, on n_readings - n_cells degrees of
freedom, and the cell means have the covariance

    V = v_part [same part] + v_inspector [same inspector] + v_interaction I + v_error diag(1/count).

With X a column of ones, minus twice the restricted log likelihood is, but for constants,

    log|V| + log(X' V^-1 X) + (y - mean)' V^-1 (y - mean) + df log v_error + SS_within / v_error

(Patterson & Thompson 1971, Biometrika 58, 545-554; from memory). It is minimised over variances of
at least 0, with exact derivatives. On balanced readings whose variances all come out above 0 this
is the analysis of variance.

Not here: cells and tests (`gauge_squares`), the figures a reader sees (`gauge`), other random
models, intervals.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import linalg

from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.gauge_squares import Cells

#: The error variance stays above this share of the variance of the readings.
SMALLEST_ERROR: Final = 1e-10
#: Fall of the criterion that a step promises. Below the first the search has arrived. Below the
#: second the value is too coarse to judge a step by, and steps are taken whole; above it in the end
#: there is no result. A promise of 1e-8 is an error of a ten-thousandth of a standard error.
ARRIVED: Final = 1e-15
NEAR: Final = 1e-8
MOST_STEPS: Final = 200
MOST_HALVINGS: Final = 40


@dataclass(frozen=True)
class Variances:
    """Variance components, mm squared; 0 where the best value lies on the edge."""

    part: float
    inspector: float
    interaction: float
    error: float


def reml(cells: Cells, *, interaction: bool) -> Variances:
    """Estimate the variance components by restricted likelihood.

    Parameters
    ----------
    cells : Cells
        At least 2 parts and 2 inspectors, and squares within cells above 0 where cells have
        more than one reading.
    interaction : bool
        Whether inspectors may differ from part to part; otherwise that variance is 0.

    Returns
    -------
    Variances

    Raises
    ------
    NoMaximumError
        The search did not arrive at a flat point.
    """
    scale = float(np.var(cells.mean)) + cells.within_squares / max(cells.within_df, 1)
    scaled = replace(
        cells,
        mean=(cells.mean - cells.mean.mean()) / np.sqrt(scale),
        within_squares=cells.within_squares / scale,
    )
    start = _start(scaled, interaction=interaction)
    theta = _search(start, scaled, _kernels(cells, interaction=interaction))
    part, inspector, *between, error = (float(v) for v in theta * scale)
    return Variances(part, inspector, between[0] if between else 0.0, error)


def _start(cells: Cells, *, interaction: bool) -> FloatArray:
    """Return a first guess: the cells' own error, and an equal share of the rest for each."""
    error = cells.within_squares / max(cells.within_df, 1) or 0.1
    return np.array([0.3, 0.3, *([0.1] if interaction else []), error])


def _kernels(cells: Cells, *, interaction: bool) -> FloatArray:
    """Return what each variance multiplies in V, shape (3 or 4, n_cells, n_cells); error last."""
    same_part = cells.part[:, None] == cells.part
    same_inspector = cells.inspector[:, None] == cells.inspector
    own = [np.eye(cells.count.size)] if interaction else []
    return np.stack(
        [same_part.astype(float), same_inspector.astype(float), *own, np.diag(1.0 / cells.count)]
    )


def _projection(theta: FloatArray, cells: Cells, kernels: FloatArray) -> tuple[FloatArray, float]:
    """Return P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1, and log|V| + log(X' V^-1 X)."""
    factor = linalg.cholesky(np.tensordot(theta, kernels, axes=1), lower=True)
    inverse = linalg.cho_solve((factor, True), np.eye(cells.mean.size))
    weights = inverse.sum(axis=1)
    total = float(weights.sum())
    log_size = 2.0 * float(np.log(np.diag(factor)).sum()) + np.log(total)
    return inverse - np.outer(weights, weights) / total, float(log_size)


def _criterion(theta: FloatArray, cells: Cells, kernels: FloatArray) -> float:
    """Return minus twice the restricted log likelihood, but for constants."""
    projection, log_size = _projection(theta, cells, kernels)
    within = cells.within_df * np.log(theta[-1]) + cells.within_squares / theta[-1]
    return float(log_size + cells.mean @ projection @ cells.mean + within)


def _derivatives(
    theta: FloatArray, cells: Cells, kernels: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the slopes of the criterion and its expected curvature."""
    projection, _ = _projection(theta, cells, kernels)
    moved = projection @ kernels
    left = projection @ cells.mean
    slope = np.einsum("kii->k", moved) - np.einsum("i,kij,j->k", left, kernels, left)
    curvature = np.einsum("kij,lji->kl", moved, moved)
    error, df = theta[-1], cells.within_df
    slope[-1] += df / error - cells.within_squares / error**2
    curvature[-1, -1] += df / error**2
    return slope, curvature


def _search(theta: FloatArray, cells: Cells, kernels: FloatArray) -> FloatArray:
    """Walk downhill by scoring steps (slope / expected curvature), halved until they help.

    A variance on its edge stays there while the slope presses it outwards.
    """
    least = np.zeros(theta.size)
    least[-1] = SMALLEST_ERROR
    for _ in range(MOST_STEPS):
        slope, curvature = _derivatives(theta, cells, kernels)
        step = _scoring_step(slope, curvature, (theta > least) | (slope < 0.0))
        promise = -float(slope @ step)
        if promise < ARRIVED:
            break
        if promise > NEAR:
            step = _halved(theta, step, least, cells, kernels)
        theta = np.maximum(theta + step, least)
    if promise > NEAR:
        raise NoMaximumError(
            f"the restricted likelihood of {cells.count.size} cells found no best variances; "
            "look for one wild reading, or complete the missing readings"
        )
    return theta


def _scoring_step(
    slope: FloatArray, curvature: FloatArray, free: npt.NDArray[np.bool_]
) -> FloatArray:
    """Solve for the step of the free variances, each in its own scale."""
    size = np.sqrt(np.diag(curvature)[free])
    scaled = curvature[np.ix_(free, free)] / np.outer(size, size)
    step = np.zeros_like(slope)
    step[free] = -linalg.lstsq(scaled, slope[free] / size)[0] / size
    return step


def _halved(
    theta: FloatArray, step: FloatArray, least: FloatArray, cells: Cells, kernels: FloatArray
) -> FloatArray:
    """Return the step, halved until the criterion falls."""
    value = _criterion(theta, cells, kernels)
    for _ in range(MOST_HALVINGS):
        if _criterion(np.maximum(theta + step, least), cells, kernels) < value:
            break
        step = step / 2.0
    return step
