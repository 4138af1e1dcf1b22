"""The longest believable run of odometer values of one unit.

Two dated values contradict each other when the later one is smaller, or larger by more than the
unit can drive: (days between + 1) x the daily maximum. The values kept are a largest set without
a contradicting pair. With `headroom = daily maximum x day - miles`, a set agrees exactly when, in
order of miles, the headroom never falls more than one day's maximum below its highest so far. So
one pass in order of miles suffices, with the highest headroom so far as its only state.

Not here: replaced meters that are on record, and what happens to the values left out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

#: Miles below which two sums of floats count as equal.
ROUNDING_MILES = 1e-3


class Split(NamedTuple):
    """Two runs that follow each other in time: the values of either side of a day."""

    first_after: float
    before: Mask
    after: Mask


def agrees(day: Floats, miles: Floats, daily_maximum: float) -> Mask:
    """Say for each pair of dated values whether one truck can have shown both.

    Parameters
    ----------
    day : ndarray, shape (n,), days
    miles : ndarray, shape (n,), miles
    daily_maximum : float, miles a day

    Returns
    -------
    ndarray of bool, shape (n, n)
        True where the later value is not smaller and not too large. Values of one day may
        differ by up to the daily maximum in either direction.
    """
    days_between = day[None, :] - day[:, None]
    rise = np.where(days_between == 0, np.abs(miles[None, :] - miles[:, None]), np.nan)
    rise = np.where(
        days_between != 0, (miles[None, :] - miles[:, None]) * np.sign(days_between), rise
    )
    room = (np.abs(days_between) + 1.0) * daily_maximum + ROUNDING_MILES
    return np.asarray((rise >= 0.0) & (rise <= room), dtype=bool)


class _Highest:
    """Best run length over all states below a rank (a binary indexed tree of maxima)."""

    def __init__(self, size: int) -> None:
        self.length = [0] * (size + 1)
        self.state = [-1] * (size + 1)

    def below(self, rank: int) -> tuple[int, int]:
        length, state = 0, -1
        while rank > 0:
            if self.length[rank] > length:
                length, state = self.length[rank], self.state[rank]
            rank &= rank - 1
        return length, state

    def raise_to(self, rank: int, length: int) -> None:
        state, at = rank, rank + 1
        while at < len(self.length):
            if self.length[at] < length:
                self.length[at], self.state[at] = length, state
            at += at & -at


def longest_chain(
    day: Floats,
    miles: Floats,
    daily_maximum: float,
    copies: npt.NDArray[np.int64] | None = None,
) -> Mask:
    """Mark a largest set of dated odometer values in which no pair contradicts.

    Parameters
    ----------
    day : ndarray, shape (n,), days since any fixed day
    miles : ndarray, shape (n,), miles, finite
    daily_maximum : float, miles a day
        The most a truck of this fleet can drive in a day.
    copies : ndarray of int, shape (n,), optional
        On how many rows each value stands. It decides between sets of equal size, no more:
        six pivots of one stop copy one odometer.

    Returns
    -------
    ndarray of bool, shape (n,)
        True for the values kept. Time n log n while few values share a day.
    """
    kept = np.zeros(len(day), dtype=bool)
    if len(day) == 0:
        return kept
    order = np.lexsort((day, miles))
    headroom = np.round((daily_maximum * day - miles)[order], 3)
    levels, rank_of = np.unique(headroom, return_inverse=True)
    end_of = np.searchsorted(levels, headroom + daily_maximum + ROUNDING_MILES, side="right")
    extra = np.zeros(len(day), dtype=np.int64) if copies is None else copies - 1
    # The whole number part counts values, so that all the copies together weigh less than one.
    weight = (int(extra.sum()) + 1 + extra)[order]
    run = _walk(rank_of.tolist(), end_of.tolist(), weight.tolist(), len(levels))
    kept[order[run]] = True
    return kept


def _walk(rank_of: list[int], end_of: list[int], weight: list[int], levels: int) -> list[int]:
    """Positions of a heaviest run; state = rank of the highest headroom met so far."""
    length, tip = [0] * levels, [-1] * levels
    position: list[int] = []
    previous: list[int] = []
    best = _Highest(levels)
    for at, (rank, end) in enumerate(zip(rank_of, end_of, strict=True)):
        below, source = best.below(rank)
        if below >= length[rank]:
            length[rank], tip[rank] = below, tip[source] if source >= 0 else -1
            grown = [rank]
        else:
            grown = []
        grown += [state for state in range(rank, end) if length[state] and state not in grown]
        for state in grown:
            position.append(at)
            previous.append(tip[state])
            tip[state] = len(position) - 1
            length[state] += weight[at]
            best.raise_to(state, length[state])
    _, state = best.below(levels)
    node, run = tip[state], []
    while node >= 0:
        run.append(position[node])
        node = previous[node]
    return run


def best_split(day: Floats, miles: Floats, daily_maximum: float, at_least: int = 0) -> Split | None:
    """Find the day at which one run may end and another, of a different meter, begin.

    Parameters
    ----------
    day, miles, daily_maximum
        As for `longest_chain`.
    at_least : int
        Values that the two runs must keep together to be worth a closer look.

    Returns
    -------
    Split or None
        The split that keeps most values in its two runs together; None when all values share
        one day or when no split keeps that many.
    """
    order = np.lexsort((miles, day))
    days = day[order]
    rise = miles[order][None, :] - miles[order][:, None]
    room = (days[None, :] - days[:, None] + 1.0) * daily_maximum + ROUNDING_MILES
    later_ok = (rise >= 0.0) & (rise <= room)
    ending = np.maximum.accumulate(_run_lengths(later_ok))
    starting = np.maximum.accumulate(_run_lengths(later_ok.T[::-1, ::-1]))[::-1]
    new_day = days[1:] > days[:-1]
    if not new_day.any():
        return None
    both = np.where(new_day, ending[:-1] + starting[1:], -1)
    cut = int(np.argmax(both))
    if both[cut] < at_least:
        return None
    early = day <= days[cut]
    before, after = np.zeros(len(day), dtype=bool), np.zeros(len(day), dtype=bool)
    before[early] = longest_chain(day[early], miles[early], daily_maximum)
    after[~early] = longest_chain(day[~early], miles[~early], daily_maximum)
    return Split(float(day[after].min()), before, after)


def _run_lengths(fits: Mask) -> npt.NDArray[np.int64]:
    """Length of the longest run of agreeing neighbours that ends at each value, in time order."""
    length = np.ones(len(fits), dtype=np.int64)
    for at in range(1, len(fits)):
        reachable = length[:at][fits[:at, at]]
        if reachable.size:
            length[at] += int(reachable.max())
    return length
