"""How long each type lasts in a duty, for money: fitted there, else borrowed and said so.

With at least 20 failures of its own in the duty a type's fitted curve speaks, its uncertainty drawn
by units (bootstrap). Below that a pooled curve of all duties would mix a hard duty into an easy
one; instead the type borrows the curve of the duty's best-known type, stretched by the ratio of
the ages by which one in ten has failed, evened out over duty, salt, node and care. Where no such
ratio exists, the curve that the decisions use stands in with its warning.

Not here: fits (`weibull`), the comparison that gives the ratios (`fair_comparison`).
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from pivotlife.models.arrays import FloatArray
from pivotlife.models.cost_policy import PlaySigns, TypeLife
from pivotlife.models.life_curves import ALL_DUTIES, CurveBook, FittedCurve
from pivotlife.models.weibull_bootstrap import BootstrapCurves

#: With fewer failures than this in a duty a curve of its own does not speak for money.
OWN_FAILURES: Final = 20
_FURTHEST: Final = np.log(4.0)
_ONE_IN_TEN: Final = -np.log(0.9)
_LIMIT_SCORE: Final = 1.959964


class DrawnCurve(FittedCurve, Protocol):
    """A fit that can be drawn again by units."""

    def bootstrap(self, *, draws: int = 200, seed: int = 0) -> BootstrapCurves:
        """Return the curves of samples of units."""


@dataclass(frozen=True)
class LifeRatio:
    """Ratio of the ages by which one in ten has failed, with its 95 % limits."""

    ratio: float
    lower: float
    upper: float

    @property
    def inverse(self) -> LifeRatio:
        """The same the other way round."""
        return LifeRatio(1.0 / self.ratio, 1.0 / self.upper, 1.0 / self.lower)

    @property
    def is_usable(self) -> bool:
        """True when the ratio and both limits are plain numbers above zero."""
        ends = (self.lower, self.ratio, self.upper)
        return all(np.isfinite(end) and end > 0 for end in ends)


#: Ratios by (numerator type, denominator type, duty or "all").
Ratios = Mapping[tuple[str, str, str], LifeRatio]


@dataclass(frozen=True, eq=False)
class Evidence:
    """What is known of lives, all duties together.

    Attributes
    ----------
    fits : mapping of (bushing type, duty or "all") to a Weibull fit
    bounds : mapping of bushing type to (assumed shape, lowest scale in miles)
    ratios : Ratios
    play : mapping of (bushing type, duty) to PlaySigns
        Only where play announces the end.
    breaks : mapping of bushing type to (failures, miles watched)
        Breaks on the road without warning.
    likeness : float
        How alike lives of one truck are (`redrawn_lives.fleet_likeness`).
    paced : mapping of (bushing type, duty) to a fit
        Curves of all duties at the pace of one (`life_pace.paced_fits`).
    """

    fits: Mapping[tuple[str, str], DrawnCurve]
    bounds: Mapping[str, tuple[float, float]]
    ratios: Ratios
    play: Mapping[tuple[str, str], PlaySigns]
    breaks: Mapping[str, tuple[float, float]]
    likeness: float = 0.0
    paced: Mapping[tuple[str, str], FittedCurve] = field(default_factory=dict)


def lives_in_duty(
    evidence: Evidence, types: tuple[str, ...], duty: str, *, draws: int = 100, seed: int = 0
) -> tuple[TypeLife, ...]:
    """Give every type that anything is known of its life in a duty.

    Parameters
    ----------
    evidence : Evidence
    types : tuple of str
        In the order in which they are wanted.
    duty : str
    draws : int
        Lives drawn that the records allow as well.
    seed : int

    Returns
    -------
    tuple of TypeLife
        Types of which nothing is known are left out.
    """
    anchor = _anchor(evidence, types, duty)
    found = []
    for name in types:
        curve = _curve(evidence, name, duty, anchor, draws, seed)
        if curve is not None:
            shape, scale, shapes, scales, note = curve
            found.append(
                TypeLife(
                    bushing_type=name,
                    shape=shape,
                    scale=scale,
                    shapes=shapes,
                    scales=scales,
                    breaks_per_mile=_breaks(evidence, name, draws, seed),
                    play=evidence.play.get((name, duty)),
                    takes_grease=name != "rubber-bonded",
                    note=note,
                    likeness=evidence.likeness,
                )
            )
    return tuple(found)


_Life = tuple[float, float, FloatArray, FloatArray, str]


def _anchor(evidence: Evidence, types: tuple[str, ...], duty: str) -> str:
    """Type with the most failures in the duty; "" where none has enough."""
    failures = {
        name: evidence.fits[name, duty].n_failures
        for name in types
        if (name, duty) in evidence.fits
    }
    best = max(failures, key=lambda name: failures[name], default="")
    return best if failures.get(best, 0) >= OWN_FAILURES else ""


def _curve(
    evidence: Evidence, name: str, duty: str, anchor: str, draws: int, seed: int
) -> _Life | None:
    own = evidence.fits.get((name, duty))
    if own is not None and own.n_failures >= OWN_FAILURES:
        return _own(own, (name, duty), draws, seed)
    ratio = _ratio(evidence.ratios, name, anchor, duty)
    if anchor and ratio is not None:
        # Without a fit nobody has counted here: only that they are too few is known.
        few = f"{own.n_failures} failures" if own is not None else "too few failures for a curve"
        note = (
            f"{few} in {duty}: life of {anchor} there times {ratio.ratio:.2f} "
            f"({ratio.lower:.2f} to {ratio.upper:.2f}), the ratio evened out"
        )
        return _borrowed(evidence, name, (anchor, duty), ratio, note, draws, seed)
    book = CurveBook(evidence.fits, evidence.bounds, draws, seed, evidence.paced)
    curve = book.curve(name, duty)
    if curve is None:
        return None
    shapes, scales = (np.resize(values, draws) for values in (curve.shapes, curve.scales))
    return curve.shape, curve.scale, shapes, scales, curve.warning


def _own(fit: DrawnCurve, key: tuple[str, str], draws: int, seed: int) -> _Life:
    drawn = fit.bootstrap(draws=draws, seed=_named_seed(seed, *key))
    known = np.isfinite(drawn.log_shape) & np.isfinite(drawn.log_scale)
    if not known.any():
        flat = np.full(draws, 1.0)
        note = "the curve's uncertainty is unknown"
        return fit.shape, fit.scale, flat * fit.shape, flat * fit.scale, note
    held = [
        np.clip(np.resize(values[known], draws) - centre, -_FURTHEST, _FURTHEST) + centre
        for values, centre in (
            (drawn.log_shape, np.log(fit.shape)),
            (drawn.log_scale, np.log(fit.scale)),
        )
    ]
    return fit.shape, fit.scale, np.exp(held[0]), np.exp(held[1]), ""


def _ratio(ratios: Ratios, name: str, anchor: str, duty: str) -> LifeRatio | None:
    for where in (duty, ALL_DUTIES):
        for found in (
            ratios.get((name, anchor, where)),
            *(one.inverse for one in [ratios.get((anchor, name, where))] if one is not None),
        ):
            if found is not None and found.is_usable:
                return found
    return None


def _borrowed(
    evidence: Evidence,
    name: str,
    key: tuple[str, str],
    ratio: LifeRatio,
    note: str,
    draws: int,
    seed: int,
) -> _Life:
    """Stretch the anchor's curve so that the age of one in ten is `ratio` times its own."""
    shape, scale, shapes, scales, _ = _own(evidence.fits[key], key, draws, seed)
    own_shape, told = _usual_shape(evidence, name, shape)
    random = np.random.default_rng(_named_seed(seed, "ratio", name, key[1]))
    spread = np.log(ratio.upper / ratio.lower) / (2.0 * _LIMIT_SCORE)
    stretch = ratio.ratio * np.exp(spread * random.standard_normal(draws))
    own_scales = stretch * scales * _ONE_IN_TEN ** (1.0 / shapes - 1.0 / own_shape)
    own_scale = ratio.ratio * scale * _ONE_IN_TEN ** (1.0 / shape - 1.0 / own_shape)
    return (
        own_shape,
        float(own_scale),
        np.full(draws, own_shape),
        np.asarray(own_scales),
        f"{note}; {told}",
    )


def _usual_shape(evidence: Evidence, name: str, anchor_shape: float) -> tuple[float, str]:
    """Shape of the duty in which the type failed most, else that of the anchor."""
    own = [
        (fit.n_failures, duty, fit.shape)
        for (kind, duty), fit in evidence.fits.items()
        if kind == name and duty != ALL_DUTIES and fit.n_failures >= OWN_FAILURES
    ]
    if not own:
        return anchor_shape, "shape of the same"
    _, duty, shape = max(own)
    return shape, f"shape as in {duty}"


def _breaks(evidence: Evidence, name: str, draws: int, seed: int) -> FloatArray:
    """Rates of breaking that the records allow: gamma with half a failure added (Jeffreys).

    H. Jeffreys's prior for a Poisson rate; from memory. Zero where nothing was watched.
    """
    failures, miles = evidence.breaks.get(name, (0.0, 0.0))
    if not miles > 0:
        return np.zeros(draws)
    random = np.random.default_rng(_named_seed(seed, "breaks", name))
    return np.asarray(random.gamma(failures + 0.5, 1.0 / miles, draws))


def _named_seed(seed: int, *names: str) -> int:
    """Seed by what is drawn, so that another type's records cannot move these draws."""
    return (seed * 1_000_003 + zlib.crc32("/".join(names).encode())) % 2**32


def evened_ratios(ratios: Ratios) -> dict[tuple[str, str], tuple[float, float]]:
    """Return the limits of the ratios over all duties, both ways round."""
    found = {}
    for (one, other, duty), ratio in ratios.items():
        if duty == ALL_DUTIES and ratio.is_usable:
            found[one, other] = (ratio.lower, ratio.upper)
            found[other, one] = (ratio.inverse.lower, ratio.inverse.upper)
    return found


def play_signs(
    new_play_mm: float, exponent: float, gauge_mm: float, limit_mm: float
) -> PlaySigns | None:
    """Turn a growth law into signs of wear; None where the limit says nothing.

    Parameters
    ----------
    new_play_mm, gauge_mm, limit_mm : float, mm
        Play of a new bushing, gauge error, limit.
    exponent : float
    """
    shares: npt.NDArray[np.float64] = np.array([new_play_mm, gauge_mm]) / limit_mm
    if not (limit_mm > 0 and shares[0] < 1.0):
        return None
    return PlaySigns(float(max(shares[0], 0.0)), exponent, float(shares[1]))
