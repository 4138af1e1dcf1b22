"""Array types of the fleet simulator and the two conversions all its modules share."""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
TextArray = npt.NDArray[np.object_]


def words(codes: npt.ArrayLike, names: tuple[str, ...]) -> TextArray:
    """Turn whole-number codes into the words they stand for.

    Parameters
    ----------
    codes : array_like of int, shape (n,)
        Places in `names`.
    names : tuple of str
        The words.

    Returns
    -------
    ndarray of object (str), shape (n,)
    """
    return np.asarray(names, dtype=object)[np.asarray(codes, dtype=np.int64)]


def yes_no(flags: npt.ArrayLike) -> TextArray:
    """Turn flags, shape (n,), into "yes" and "no"."""
    return words(np.asarray(flags, dtype=bool), ("no", "yes"))


def iso_dates(days: npt.ArrayLike, first_day: date) -> TextArray:
    """Turn whole days after `first_day`, shape (n,), into ISO dates such as 2024-03-01."""
    whole = np.asarray(days, dtype=np.int64).astype("timedelta64[D]")
    return (np.datetime64(first_day, "D") + whole).astype(str).astype(object)


def stream(seed: int, *key: int) -> np.random.Generator:
    """Open one of the run's independent random streams.

    Each unit, chunk and purpose has its own key, so that a unit's fate does not depend on how
    many units are simulated beside it.
    """
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))
