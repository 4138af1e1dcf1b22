"""How many zeros were written where nobody measured, and how far a zero is to be believed.

A zero on a sheet is either a play too small to be read or a blank filled in. Leaving doubtful zeros
out is not neutral: a bushing with little play shows many of them, so that what is left of it are
its few high readings, and it seems more worn than it is. Believing each is not neutral either: a
worn bushing that nobody measured would seem sound. So a zero counts as both, in the shares that the
readings of the type themselves show: with q the share of readings that nobody measured and Phi the
chance that the bushing reads zero, a zero has the likelihood q + (1 - q) Phi. However
clear it seems, one zero then leaves at least q times the odds of wear that there were.

q is found by the EM iteration of a two-part mixture (A. P. Dempster, N. M. Laird and D. B. Rubin,
JRSS B 39 (1977) 1-38, cited from memory), the law of growth being held, and is held in turn while
the law is fitted.
Not here: the integral over such lives (growth_censored).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pivotlife.models.growth_censored import (
    LowReadings,
    joint_nodes,
    joint_rules,
    low_doubts,
    low_groups,
)
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_quadrature import RateMap, rate_map
from pivotlife.models.growth_readings import GrowthReadings
from pivotlife.models.growth_sums import LifeTerms, cell_sums, life_terms, take_terms

Floats = NDArray[np.float64]
#: What is believed before any zero is judged: one reading in twenty, as if seen on that many
#: (common practice, no source; a few sheets outweigh it).
DOUBTED_BEFORE: Final = 1.0
READ_BEFORE: Final = 20.0
_ROUNDS: Final = 8
_SETTLED: Final = 0.02


def zero_doubts(data: GrowthReadings, law: GrowthLaw) -> Floats:
    """Chance that each zero was not measured, given all readings of its bushing.

    Parameters
    ----------
    data : GrowthReadings
    law : GrowthLaw
        `not_measured` is the share believed in beforehand.

    Returns
    -------
    ndarray, shape (n_censored,), in no order
    """
    return _doubts(law, _groups(data, law), law.not_measured)


def with_share_not_measured(law: GrowthLaw, data: GrowthReadings) -> GrowthLaw:
    """Return the law with the share of readings that nobody measured.

    Parameters
    ----------
    law : GrowthLaw
    data : GrowthReadings
        Readings of the type, weighed.

    Returns
    -------
    GrowthLaw
    """
    readings = len(data.play_mm) + len(data.censored_row)
    share = law.not_measured or DOUBTED_BEFORE / READ_BEFORE
    groups = _groups(data, law)
    for _ in range(_ROUNDS):
        doubted = float(_doubts(law, groups, share).sum())
        before, share = share, (doubted + DOUBTED_BEFORE) / (readings + READ_BEFORE)
        if abs(share - before) < _SETTLED * before:
            break
    return replace(law, not_measured=share)


_Group = tuple[LifeTerms, RateMap, LowReadings]


def _groups(data: GrowthReadings, law: GrowthLaw) -> list[_Group]:
    """Lay out the lives with zeros: nothing of it hangs on the share not measured."""
    terms = life_terms(data, cell_sums(data, law, slopes=False), law)
    found = []
    for low in low_groups(data, law, terms):
        own = take_terms(terms, low.lives)
        found.append((own, rate_map(own, law), low))
    return found


def _doubts(law: GrowthLaw, groups: list[_Group], share: float) -> Floats:
    along, across = joint_rules(law, fine=False)
    parts = [np.zeros(0)]
    for own, rates, group in groups:
        low = replace(group, not_measured=share)
        parts.append(low_doubts(low, joint_nodes(own, rates, low, along, across)).ravel())
    return np.concatenate(parts)
