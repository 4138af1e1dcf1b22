"""All failure modes together: each one's curve, and how many bushings it will really take.

A bushing that was found split can no longer be found worn. Where failures are only found at
visits, nobody knows when in the gap it split, and so not for how long it could still have worn. The
joint likelihood (`modes_likelihood`) counts exactly this: a failure of mode A in (l, u] is the
integral of h_A times the survival of all modes. Two questions have two answers:

- `incidence`: the share of bushings that this mode takes first, the other modes being at work;
- `survival_alone`: the curve "as if it were the only mode".

The second supposes that modes are independent. No record can test that: two modes that always
strike together leave the same records as two that know nothing of each other
(Tsiatis, PNAS 72 (1975) 20-22, from memory). Pages say so.

A mode with fewer than five failures gets no curve of its own: it is carried with a constant rate,
so that it ends lives where it should.

**Modes that nobody has to look for.** A break shows itself at once, and a worn bushing goes on
serving until it is found, free to break meanwhile. So a sudden mode and the inspected ones do not
end each other's records: a break says nothing of what an inspection would have found after the last
good evidence, and bad evidence does not stop the miles in which a break would have shown. Their
joint likelihood is therefore a product. The sudden modes keep their own ages (watched from the
start of records to the last odometer), the inspected modes theirs (from the first good evidence to
the last), and only the inspected modes compete within a gap. `competing_lives` cuts the records
accordingly.

Not here: which fits a page shows (`mode_cell`), removals before failure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.errors import LivesError, NoMaximumError
from pivotlife.models.findings import INSPECTED_MODES
from pivotlife.models.lives import CheckedLives, check_lives
from pivotlife.models.mode_lives import DESCRIPTION, is_yes
from pivotlife.models.modes_likelihood import ModeTerms, incidence
from pivotlife.models.modes_maximum import FARTHEST, climb_modes
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.weibull import fit_weibull
from pivotlife.models.weibull_bootstrap import BootstrapCurves
from pivotlife.models.weibull_maximum import HIGHEST_SHAPE, LOWEST_SHAPE, RUN_AWAY


@dataclass(frozen=True, eq=False)
class ModesFit:
    """Curves of several modes, fitted together.

    Attributes
    ----------
    modes : tuple of str
        Sorted.
    shape, scale : ndarray, shape (n_modes,), scale in miles
        Of each mode as if it were the only one.
    is_constant : ndarray of bool, shape (n_modes,)
        Modes of too few failures for a curve: a constant rate of 1 / scale per mile.
    log_likelihood : float
        Its maximum; ages in miles.
    failures : tuple of int
        By mode.
    lives : CheckedLives
    cause : ndarray of int64, shape (n_lives,)
        Place of the failure's mode in ``modes``; -1: not failed.
    """

    modes: tuple[str, ...]
    shape: FloatArray
    scale: FloatArray
    is_constant: BoolArray
    log_likelihood: float
    failures: tuple[int, ...]
    lives: CheckedLives = field(repr=False)
    cause: IntArray = field(repr=False)
    terms: ModeTerms = field(repr=False)

    @property
    def theta(self) -> FloatArray:
        """Log shapes, then log scales."""
        return np.concatenate([np.log(self.shape), np.log(self.scale)])

    @property
    def free(self) -> BoolArray:
        """Which of ``theta`` were fitted."""
        return np.concatenate([~self.is_constant, np.ones(len(self.modes), dtype=bool)])

    def survival(self, miles: npt.ArrayLike) -> FloatArray:
        """Return the chance that no mode has struck by an age, in miles."""
        ages = np.maximum(np.asarray(miles, dtype=float), 0.0)[..., None]
        hazards: FloatArray = (ages / self.scale) ** self.shape
        return np.asarray(np.exp(-hazards.sum(axis=-1)), dtype=np.float64)

    def survival_alone(self, mode: str, miles: npt.ArrayLike) -> FloatArray:
        """Return the chance of lasting beyond an age if this were the only mode."""
        place = self._place(mode)
        ages = np.maximum(np.asarray(miles, dtype=float), 0.0)
        return np.asarray(np.exp(-((ages / self.scale[place]) ** self.shape[place])))

    def incidence(self, mode: str, miles: npt.ArrayLike) -> FloatArray:
        """Return the share of bushings that this mode takes first, by an age."""
        ages = np.atleast_1d(np.asarray(miles, dtype=float))
        return incidence(np.log(self.shape), np.log(self.scale), self._place(mode), ages)

    def bootstrap(self, *, draws: int = 200, seed: int = 0) -> dict[str, BootstrapCurves]:
        """Return each mode's curves of samples of units, drawn with replacement.

        A mode that fails nowhere in a sample never strikes there.
        """
        random = np.random.default_rng(seed)
        lives, k = self.lives, len(self.modes)
        chance = np.full(lives.n_units, 1.0 / lives.n_units)
        drawn = np.full((draws, 2 * k), np.nan)
        lost = np.zeros(k, dtype=np.int64)
        for draw in range(draws):
            weight = lives.weight * random.multinomial(lives.n_units, chance)[lives.unit]
            failed = np.bincount(self.cause[self.cause >= 0], weight[self.cause >= 0], k) > 0.0
            start = np.where(np.tile(failed, 2), self.theta, np.repeat([0.0, FARTHEST / 2], k))
            found, _ = climb_modes(self.terms, weight, start, self.free & np.tile(failed, 2))
            drawn[draw] = np.where(np.tile(failed, 2), found, np.repeat([np.nan, np.inf], k))
            with np.errstate(invalid="ignore"):
                gone = np.exp(found[:k]) * np.abs(found[k:] - self.theta[k:]) > RUN_AWAY
            lost += ~failed | _at_bound(found[:k]) | gone
        return {
            mode: BootstrapCurves(
                log_shape=drawn[:, place],
                log_scale=drawn[:, k + place],
                n_without_maximum=int(lost[place]),
                n_failing_units=np.unique(lives.unit[self.cause == place]).size,
            )
            for place, mode in enumerate(self.modes)
        }

    def _place(self, mode: str) -> int:
        """Return a mode's place."""
        if mode not in self.modes:
            raise ValueError(f"no failure of mode {mode!r}; fitted: {', '.join(self.modes)}")
        return self.modes.index(mode)


def fit_modes(lives: pd.DataFrame, *, fewest: int = FEW_FAILURES) -> ModesFit:
    """Fit the curves of all modes together by maximum likelihood.

    Parameters
    ----------
    lives : DataFrame, one row per life
        As `check_lives` takes them, and ``mode``: what each failure was; read only where
        ``upper_miles`` is finite.
    fewest : int
        Modes with fewer failures are carried with a constant rate.

    Returns
    -------
    ModesFit

    Raises
    ------
    LivesError
        Lives contradict themselves, or a failure has no mode.
    NoMaximumError
        No mode has enough failures, or a mode's failures determine no curve; the text names it.
    """
    checked, names = _checked(lives)
    modes = tuple(sorted(set(names[checked.is_failure])))
    place = {mode: number for number, mode in enumerate(modes)}
    cause = np.array([place.get(name, -1) for name in names], dtype=np.int64)
    failures = np.bincount(cause[cause >= 0], minlength=len(modes))
    is_constant = failures < fewest
    if is_constant.all():
        raise NoMaximumError(
            f"no mode has {fewest} failures, so none has a curve to fit beside the others"
        )
    terms = ModeTerms.of(checked.entry, checked.lower, checked.upper, cause, len(modes))
    free = np.concatenate([~is_constant, np.ones(len(modes), dtype=bool)])
    start = _start(checked, cause, modes, is_constant)
    theta, top = climb_modes(terms, checked.weight, start, free)
    _refuse_run_away(theta, modes, is_constant, start)
    k = len(modes)
    return ModesFit(
        modes=modes,
        shape=np.exp(theta[:k]),
        scale=np.exp(theta[k:]),
        is_constant=is_constant,
        log_likelihood=top.value,
        failures=tuple(int(count) for count in failures),
        lives=checked,
        cause=cause,
        terms=terms,
    )


def competing_lives(lives: pd.DataFrame) -> pd.DataFrame:
    """Return the records of the modes that inspections find, as they compete with each other.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.

    Returns
    -------
    DataFrame
        The lives in the fit: the columns that describe them, ``mode``, ``entry_miles``,
        ``lower_miles``, ``upper_miles``, ``weight`` (1). A life that broke ends at its last good
        evidence: the break tells nothing of what an inspection would have found later.
    """
    chosen = lives.loc[is_yes(lives["in_fit"])].copy()
    ages = {
        name: pd.to_numeric(chosen[name]).to_numpy(dtype=np.float64)
        for name in ("entry_miles", "lower_miles", "upper_miles", "last_good_miles")
    }
    upper = ages["upper_miles"]
    inspected = chosen["mode"].isin(INSPECTED_MODES).to_numpy()
    broke = np.isfinite(upper) & ~inspected
    good = np.minimum(np.fmax(ages["last_good_miles"], ages["entry_miles"]), upper)
    chosen["lower_miles"] = np.where(broke, good, ages["lower_miles"])
    chosen["upper_miles"] = np.where(broke, np.inf, upper)
    chosen["mode"] = np.where(np.isfinite(upper) & inspected, chosen["mode"].astype(str), "")
    chosen["weight"] = 1.0
    columns = [*DESCRIPTION, "mode", "entry_miles", "lower_miles", "upper_miles", "weight"]
    return chosen.loc[:, columns].reset_index(drop=True)


def _checked(lives: pd.DataFrame) -> tuple[CheckedLives, npt.NDArray[np.object_]]:
    """Pass the gate, and return the mode of each life that it kept ("" where not failed)."""
    if "mode" not in lives.columns:
        raise LivesError("the lives lack the column mode; add what each failure was")
    checked = check_lives(lives)
    zero, one = pd.Series(0.0, index=lives.index), pd.Series(1.0, index=lives.index)
    failed = np.isfinite(lives["upper_miles"].to_numpy(dtype=np.float64))
    # What the gate leaves out: never watched after entry, or standing for nobody.
    watched = (lives["lower_miles"] > lives.get("entry_miles", zero)).to_numpy(dtype=bool)
    kept = (failed | watched) & (lives.get("weight", one) > 0.0).to_numpy(dtype=bool)
    names = np.where(failed, lives["mode"].fillna("").astype(str), "").astype(object)[kept]
    nameless = int(np.count_nonzero(checked.is_failure & (names == "")))
    if nameless:
        raise LivesError(
            f"{nameless} of {checked.n_failures} failures have no mode; name it or leave them out"
        )
    return checked, names


def _start(
    lives: CheckedLives, cause: IntArray, modes: Sequence[str], is_constant: BoolArray
) -> FloatArray:
    """Return where the search begins: each mode alone, the others censored when last good."""
    shape, scale = np.zeros(len(modes)), np.zeros(len(modes))
    for place, mode in enumerate(modes):
        own = cause == place
        if is_constant[place]:
            watched = float((lives.lower - lives.entry) @ lives.weight)
            count = float(lives.weight[own].sum())
            scale[place] = np.log(max(watched, float(lives.upper[own].max())) / count)
            continue
        alone = replace(lives, upper=np.where(own, lives.upper, np.inf))
        try:
            fit = fit_weibull(alone.take(own | (alone.lower > alone.entry)))
        except NoMaximumError as error:
            raise NoMaximumError(f"mode {mode}: {error}") from error
        shape[place], scale[place] = np.log(fit.shape), np.log(fit.scale)
    return np.concatenate([shape, scale])


def _refuse_run_away(
    theta: FloatArray, modes: Sequence[str], is_constant: BoolArray, start: FloatArray
) -> None:
    """Raise when the search ended at a bound instead of a maximum."""
    k = len(modes)
    gone = np.exp(theta[:k]) * np.abs(theta[k:] - start[k:]) > RUN_AWAY
    lost = (_at_bound(theta[:k]) & ~is_constant) | gone | ~np.isfinite(theta[k:])
    if lost.any():
        named = ", ".join(mode for mode, is_lost in zip(modes, lost, strict=True) if is_lost)
        raise NoMaximumError(f"the lives do not determine a Weibull curve of mode {named}")


def _at_bound(log_shape: FloatArray) -> BoolArray:
    """Say which shapes ran to their bounds."""
    low, high = np.log([LOWEST_SHAPE, HIGHEST_SHAPE])
    return np.asarray((log_shape <= low + 1e-9) | (log_shape >= high - 1e-9))
