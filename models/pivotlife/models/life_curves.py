"""Which life curve speaks for a pivot, and how far that curve may be off.

The curve of the bushing type in the unit's duty if at least five failures stand behind it, else
the type's over all duties at the pace of this one where that is known (`life_pace`), else the
type's over all duties as it is, else the curve that the absence of failures allows, with the shape
that was assumed for it. Each step down is named in the warning.

Not here: fitting curves, readings of free play.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: Key of a type's curve over all duties.
ALL_DUTIES: Final = "all"
#: With fewer failures than this a fitted curve is not asked.
FEW_FAILURES: Final = 5


class FittedCurve(Protocol):
    """What this module needs of a Weibull fit."""

    @property
    def shape(self) -> float:
        """Weibull shape."""

    @property
    def scale(self) -> float:
        """Miles by which 63.2 % have failed."""

    @property
    def covariance(self) -> FloatArray:
        """Covariance of (log shape, log scale), shape (2, 2)."""

    @property
    def n_failures(self) -> int:
        """Failures behind the fit."""


@dataclass(frozen=True, eq=False)
class Curve:
    """A life curve with the draws that say how uncertain it is.

    Attributes
    ----------
    shape, scale : float
        Weibull shape; miles by which 63.2 % have failed.
    shapes, scales : ndarray of float, shape (n_draws,)
        Curves that the records allow as well; for a bound the curve itself.
    name : str
        "threaded, line-haul" as a reader would say it.
    warning : str
        What is weak about it, or "".
    is_bound : bool
        True where nothing or little failed: chances are upper bounds.
    """

    shape: float
    scale: float
    shapes: FloatArray
    scales: FloatArray
    name: str
    warning: str
    is_bound: bool

    def hazard_to(self, miles: FloatArray) -> FloatArray:
        """Cumulative hazard to each age (miles), shape as given."""
        return np.asarray((np.maximum(miles, 0.0) / self.scale) ** self.shape)

    def drawn_hazard_to(self, miles: FloatArray) -> FloatArray:
        """Cumulative hazard of every draw, shape (n, n_draws)."""
        return np.asarray((np.maximum(miles, 0.0)[:, None] / self.scales) ** self.shapes)


@dataclass(frozen=True, eq=False)
class CurveBook:
    """The life curves of a fleet, looked up by type and duty.

    Attributes
    ----------
    fits : mapping of (bushing type, duty or "all") to a fit
    bounds : mapping of bushing type to (assumed shape, lowest scale in miles the records allow)
    draws, seed : int
        Of the curves drawn from each fit.
    paced : mapping of (bushing type, duty) to a fit
        Curves of all duties at the pace of one (`life_pace.paced_fits`).
    """

    fits: Mapping[tuple[str, str], FittedCurve]
    bounds: Mapping[str, tuple[float, float]]
    draws: int = 60
    seed: int = 1
    paced: Mapping[tuple[str, str], FittedCurve] = field(default_factory=dict)

    def curve(self, bushing_type: str, duty: str) -> Curve | None:
        """Return the curve that speaks for a type in a duty, or None."""
        own, paced = (of.get((bushing_type, duty)) for of in (self.fits, self.paced))
        if paced is not None and (own is None or own.n_failures < FEW_FAILURES):
            name = f"{bushing_type}, all duties at the pace of {duty}"
            note = f"too few failures in {duty}: curve of all duties at its pace"
            return _from_fit((bushing_type, duty), paced, note, self.draws, self.seed, name)
        return choose_curve(
            self.fits, self.bounds, bushing_type, duty, draws=self.draws, seed=self.seed
        )


def choose_curve(
    fits: Mapping[tuple[str, str], FittedCurve],
    bounds: Mapping[str, tuple[float, float]],
    bushing_type: str,
    duty: str,
    *,
    draws: int,
    seed: int,
) -> Curve | None:
    """Pick the curve that speaks for a bushing type in a duty.

    Parameters
    ----------
    fits : mapping of (bushing type, duty or "all") to a fit
    bounds : mapping of bushing type to (assumed shape, lowest scale in miles the records allow)
    bushing_type, duty : str
    draws : int
        How many curves to draw from the fit's covariance.
    seed : int

    Returns
    -------
    Curve or None
        None where neither a fit nor a bound exists.
    """
    for key in ((bushing_type, duty), (bushing_type, ALL_DUTIES)):
        fit = fits.get(key)
        if fit is not None and fit.n_failures >= FEW_FAILURES:
            pooled = "" if key[1] == duty else f"too few failures in {duty}: curve of all duties"
            return _from_fit(key, fit, pooled, draws, seed)
    if bushing_type in bounds:
        shape, scale = bounds[bushing_type]
        warning = (
            f"fewer than {FEW_FAILURES} failures: the chance is an upper bound with an assumed "
            f"shape of {shape:g}"
        )
        one = np.ones(1)
        return Curve(shape, scale, one * shape, one * scale, bushing_type, warning, is_bound=True)
    return None


def _from_fit(
    key: tuple[str, str],
    fit: FittedCurve,
    warning: str,
    draws: int,
    seed: int,
    name: str = "",
) -> Curve:
    # Seeded by the curve's own name: another type's fit cannot move these draws.
    rng = np.random.default_rng([seed, zlib.crc32("/".join(key).encode())])
    covariance = np.asarray(fit.covariance, dtype=float)
    usable = np.all(np.isfinite(covariance))
    centre = np.log([fit.shape, fit.scale])
    drawn = rng.multivariate_normal(centre, covariance if usable else np.zeros((2, 2)), draws)
    if not usable:
        warning = "; ".join(filter(None, [warning, "the curve's uncertainty is unknown"]))
    shapes = np.exp(np.clip(drawn[:, 0], np.log(0.2), np.log(15.0)))
    scales = np.exp(np.clip(drawn[:, 1], centre[1] - 4.0, centre[1] + 4.0))
    name = name or (key[0] if key[1] == ALL_DUTIES else f"{key[0]}, {key[1]}")
    return Curve(fit.shape, fit.scale, shapes, scales, name, warning, is_bound=False)
