"""What an inspection finding means: its failure mode and what it demands.

A finding is one word an inspector writes beside a pivot. Some say the bushing has failed in a
way that free play does not show; some say the truck must not leave the yard.

Not here: which rows carry findings, and how long an order stands.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

#: Failure mode that each finding tells of. `axle-shifted` concerns the whole unit: no mode.
FINDING_MODE: Final[dict[str, str]] = {
    "split": "split",
    "extruded": "split",
    "rough": "rough",
    "rust-in-purge": "rough",
    "cracked": "broken",
    "broken": "broken",
    "part-missing": "broken",
    "seized": "seized",
    "loose-fit": "loose-fit",
}

#: Findings after which the unit stays where it is until repaired.
PARK_FINDINGS: Final[frozenset[str]] = frozenset(
    {"cracked", "broken", "part-missing", "axle-shifted", "seized"}
)

#: Findings after which the bushing is replaced at the coming visit, whatever it costs.
REPLACE_FINDINGS: Final[frozenset[str]] = frozenset(
    {"split", "extruded", "rough", "rust-in-purge", "loose-fit"}
)

#: Findings that end a life as a failure.
FAILURE_FINDINGS: Final[frozenset[str]] = frozenset(FINDING_MODE)

#: Modes that only an inspection finds, and those that announce themselves on the road.
INSPECTED_MODES: Final[tuple[str, ...]] = ("wear", "split", "rough", "seized", "loose-fit")
SUDDEN_MODES: Final[tuple[str, ...]] = ("broken",)


def is_over(free_play_mm: npt.ArrayLike, limit_mm: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Say which readings reach their limit.

    Parameters
    ----------
    free_play_mm : array_like of float, millimetres
        Total movement read at the pivot; NaN where nothing was read.
    limit_mm : array_like of float, millimetres
        The play at which the bushing counts as worn out; NaN where none applies.

    Returns
    -------
    ndarray of bool
        True where the reading, rounded to 0.001 mm so that a converted inch value compares
        as it was written, is at or above the limit. Missing values are never over.
    """
    limit = np.asarray(limit_mm, dtype=float)
    with np.errstate(invalid="ignore", over="ignore"):
        play = np.round(np.asarray(free_play_mm, dtype=float), 3)
        return np.asarray(play >= limit, dtype=bool)
