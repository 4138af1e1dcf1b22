"""How many kits a number of visits takes: the distribution of a sum of jointly drawn counts.

Pivots of one visit go together: a set of six is renewed or it is not. So the number of kits of a
visit has a distribution of its own, drawn jointly for its pivots, and what many visits take is the
convolution of those distributions. Treating every pivot by itself gives the same mean and far too
small a spread.

The convolution multiplies discrete Fourier transforms, as in any text on probability; counts
beyond the size asked for would fold back, so the size must hold all of the sum.

Not here: which visits there are (`demand_rounds`), which kits (`kit_demand`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.errors import PivotlifeError

#: Standard deviations above the mean that a sum is given room for.
_ROOM: Final = 10.0
#: Probability lost to rounding below which a quantile is still reached.
_ROUNDING: Final = 1e-9


class DemandError(PivotlifeError, ValueError):
    """Counts or probabilities that cannot be; the text says which."""


def count_distribution(kits: IntArray) -> FloatArray:
    """Turn the kits of one visit, drawn many times, into a distribution.

    Parameters
    ----------
    kits : ndarray of int, shape (n_draws,), 0 or more
        Kits that the visit took in each draw, all its pivots drawn together.

    Returns
    -------
    ndarray, shape (most + 1,)
        Share of the draws with 0, 1, 2, ... kits.
    """
    counts = np.asarray(kits)
    if counts.size == 0 or counts.min() < 0:
        raise DemandError("kits of a visit: at least one draw is needed, none below 0")
    return np.asarray(np.bincount(counts) / counts.size, dtype=np.float64)


def convolve(distributions: FloatArray) -> FloatArray:
    """Distribution of the sum of independent visits.

    Parameters
    ----------
    distributions : ndarray, shape (n_visits, m)
        One visit a row: the chance of 0, 1, ..., m - 1 kits.

    Returns
    -------
    ndarray, shape (n_visits (m - 1) + 1,)
        Chance of 0, 1, 2, ... kits in all.

    Raises
    ------
    DemandError
        When a row is no distribution.
    """
    rows = np.atleast_2d(np.asarray(distributions, dtype=float))
    if (rows < 0).any() or (abs(rows.sum(axis=1) - 1.0) > 1e-6).any():
        raise DemandError("a visit's chances must be at least 0 and add up to 1")
    length = rows.shape[0] * (rows.shape[1] - 1) + 1
    size = next_fast_len(length, real=True)
    whole = irfft(np.prod(rfft(rows, n=size, axis=1), axis=0), n=size)[:length]
    return _cleaned(np.asarray(whole))


def count_quantile(distribution: FloatArray, level: float) -> int:
    """Fewest kits that suffice with at least this chance.

    Parameters
    ----------
    distribution : ndarray, shape (m,)
        Chance of 0, 1, ... kits.
    level : float, 0 to 1

    Returns
    -------
    int
    """
    return int(count_quantiles(np.asarray(distribution)[None, :], level)[0])


def count_quantiles(distributions: FloatArray, level: float) -> IntArray:
    """Fewest kits that suffice, of each row; see `count_quantile`."""
    reached = np.cumsum(distributions, axis=1) >= level - _ROUNDING
    last = distributions.shape[1] - 1
    return np.asarray(np.where(reached.any(axis=1), reached.argmax(axis=1), last), dtype=np.int64)


def summed_by_group(
    group: IntArray,
    law: IntArray,
    unit: IntArray,
    kits: IntArray,
    shape: tuple[int, int, int],
    together: int = 1,
) -> tuple[FloatArray, FloatArray]:
    """Distribution of the kits of many groups of units at once, and of groups taken together.

    Within one law (a set of curves the records allow) units are independent and are convolved;
    the laws are then mixed, since nobody knows which of them is true.

    Parameters
    ----------
    group, law, unit, kits : ndarray of int, shape (n,)
        One row for each draw of a unit in a group that took kits; rows that took none are left
        out. `unit` is numbered within everything, `kits` counts from 1.
    shape : (groups, laws, draws of one law)
    together : int
        So many consecutive groups are added up as well (their units differ).

    Returns
    -------
    ndarray, shape (groups, m)
    ndarray, shape (groups / together, m)
    """
    groups, laws, draws = shape
    cell = np.lexsort((unit, law, group))
    group, law, unit, kits = (part[cell] for part in (group, law, unit, kits))
    size = _room(group // together * laws + law, kits, draws)
    turn = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
    steps = turn ** np.arange(int(kits.max(initial=0)) + 1)[:, None] - 1.0
    found = np.ones((groups * laws, len(turn)), dtype=complex)
    key = group * laws + law
    starts = np.flatnonzero(np.diff(key, prepend=-1))
    # A few groups at a time keep the transforms small in memory.
    for begin, end in _slices(starts, len(key), max(1, 4_000_000 // size)):
        own_key, own_unit = key[begin:end], unit[begin:end]
        first = np.diff(own_unit, prepend=-1) != 0
        first |= np.diff(own_key, prepend=-1) != 0
        rows = np.flatnonzero(first)
        # A unit's transform is 1 + sum over its draws with kits of (turn^kits - 1) / draws.
        transforms = 1.0 + np.add.reduceat(steps[kits[begin:end]], rows, axis=0) / draws
        owner = own_key[rows]
        heads = np.flatnonzero(np.diff(owner, prepend=-1))
        found[owner[heads]] = np.multiply.reduceat(transforms, heads, axis=0)
    by_law = found.reshape(groups // together, together, laws, -1)
    alone = by_law.mean(axis=2).reshape(groups, -1)
    whole = by_law.prod(axis=1).mean(axis=1)
    return _back(alone, size), _back(whole, size)


def _back(transforms: npt.NDArray[np.complex128], size: int) -> FloatArray:
    return _cleaned(np.asarray(irfft(transforms, n=size, axis=1)))


def _room(key: IntArray, kits: IntArray, draws: int) -> int:
    """Size that holds the largest sum: ten standard deviations beyond its mean and more."""
    mean = np.bincount(key, kits, 1) / draws
    square = np.bincount(key, kits.astype(float) ** 2, 1) / draws
    most = float((mean + _ROOM * np.sqrt(square)).max())
    return int(next_fast_len(int(most) + 32, real=True))


def _slices(edges: IntArray, rows: int, at_once: int) -> list[tuple[int, int]]:
    """Cut rows at edges of groups into pieces of about `at_once` rows."""
    if not rows:
        return []
    cuts = [0]
    for edge in edges[1:].tolist():
        if edge - cuts[-1] >= at_once:
            cuts.append(edge)
    return list(zip(cuts, [*cuts[1:], rows], strict=True))


def _cleaned(distribution: FloatArray) -> FloatArray:
    """Take the rounding of the transform off: nothing below 0, a sum of 1."""
    whole: npt.NDArray[np.float64] = np.maximum(distribution, 0.0)
    return np.asarray(whole / whole.sum(axis=-1, keepdims=True))
