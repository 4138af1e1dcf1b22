"""Which pivots a repair line renewed when it does not name one, or when it covers several.

Work orders often lack the position, and one kit line may renew two, three or six pivots. A line
is placed only where the other records of that day or of that pivot leave exactly as many pivots
as it renewed; the rule that placed it is named in its reason. Nothing is guessed: a line that
stays open may have renewed any of its candidates.

Not here: what an open line does to the lives of its candidates.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isnan
from typing import Final, NamedTuple

#: A drop to less than this share of a clear play shows that a bushing is new.
CLEAR_PLAY_MM: Final = 1.2
NEW_SHARE: Final = 0.4

#: Order of what happens to a pivot within one day.
LOOKED, REMOVED, FITTED, LOOKED_AFTER = 1, 2, 3, 5
PHASES: Final = 8

SHACKLE: Final = ("shackle-lower", "shackle-upper")
#: Stand in a line's node for the two shackle pivots of a side: its kit says so, or it is only
#: likely because two pivots of one side were renewed together.
BOTH_OF_SHACKLE: Final = "shackle"
LIKELY_SHACKLE: Final = "shackle?"

#: Wording of the one way to place a line that leaves no doubt.
ONLY: Final = "the only pivots it can mean"


_SHACKLE_PAIR: Final = {
    (pair, node) for pair in (BOTH_OF_SHACKLE, LIKELY_SHACKLE) for node in SHACKLE
}


class Place(NamedTuple):
    """One pivot of a unit."""

    pivot_id: str
    axle: float
    side: str
    node: str


class Line(NamedTuple):
    """One repair line that fits or removes a bushing; `heard`: its remark told part of where."""

    line_index: int
    unit_id: str
    pivot_id: str
    axle: float
    side: str
    node: str
    day: int
    action: str
    reason: str
    bushing_type: str
    pivots_in_kit: int
    true_miles: float
    source_row: str
    heard: bool = False

    @property
    def key(self) -> int:
        """Time of the line, within the day after the looking and before the looking again."""
        return self.day * PHASES + (REMOVED if self.action == "removed" else FITTED)


@dataclass(frozen=True)
class PlayRecord:
    """What was read at one pivot, in order of time."""

    keys: Sequence[int]
    play_mm: Sequence[float]
    found_bad: Sequence[bool]

    def bad_between(self, start: int, end: int, limit_mm: float) -> bool:
        """Say whether bad evidence stands from `start` (inclusive) to `end`."""
        rows = range(bisect_right(self.keys, start - 1), bisect_right(self.keys, end))
        return any(self.found_bad[i] or round(self.play_mm[i], 3) >= limit_mm for i in rows)

    def dropped(self, start: int, at: int) -> bool:
        """Say whether a clear play before `at` is followed by a new bushing's play."""
        before, after = self._around(start, at)
        clear = bool(before) and bool(after) and before[-1] >= CLEAR_PLAY_MM
        return clear and after[0] <= NEW_SHARE * before[-1]

    def went_on(self, start: int, at: int) -> bool:
        """Say whether a clear play before `at` is still there afterwards: nothing was renewed."""
        before, after = self._around(start, at)
        clear = bool(before) and bool(after) and before[-1] >= CLEAR_PLAY_MM
        return clear and after[0] > NEW_SHARE * before[-1]

    def _around(self, start: int, at: int) -> tuple[list[float], list[float]]:
        cut = bisect_right(self.keys, at)
        before = [p for p in self.play_mm[bisect_right(self.keys, start - 1) : cut] if not isnan(p)]
        return before, [p for p in self.play_mm[cut:] if not isnan(p)]

    def looked_after(self, day: int) -> bool:
        """Say whether the pivot was looked at again after that day's repair."""
        return day * PHASES + LOOKED_AFTER in self.keys


def candidates(line: Line, places: Sequence[Place]) -> list[Place]:
    """Pivots of the unit that agree with whatever part of a position the line names."""
    return [
        place
        for place in places
        if (isnan(line.axle) or line.axle == place.axle)
        and line.side in ("", place.side)
        and (line.node in ("", place.node) or (line.node, place.node) in _SHACKLE_PAIR)
    ]


def kit_members(line: Line, places: Sequence[Place]) -> list[Place]:
    """Pivots that a line with a full position renewed: its own and those its kit covers.

    Two with a shackle pivot is that shackle, three is that side of the axle; otherwise a kit
    covers the axle or the unit when it holds exactly as many. Other counts: the named pivot.
    """
    own = [place for place in places if place.pivot_id == line.pivot_id]
    axle = [place for place in places if place.axle == line.axle]
    side = [place for place in axle if place.side == line.side]
    shackle = [p for p in side if p.node in SHACKLE] if line.node in SHACKLE else []
    groups = [group for group in (shackle, side, axle, list(places)) if own[:1] and own[0] in group]
    fitting = [group for group in groups if len(group) == line.pivots_in_kit]
    return fitting[0] if fitting and line.pivots_in_kit > 1 else own


#: Says whether a line may have renewed a pivot, given the pivots that others renewed that day.
Shows = Callable[[Line, Place, set[str]], bool]


class Sign(NamedTuple):
    """A sign that a pivot was renewed.

    `denied`, where given, must show of every other candidate that it was not: a weak sign of one
    pivot says little while nothing is known of the others.
    """

    how: str
    shows: Shows
    denied: Shows | None = None

    def chosen(self, line: Line, free: Sequence[Place], taken: set[str]) -> list[Place]:
        """Give the candidates that show the sign; none when another one cannot be excluded."""
        shown = [place for place in free if self.shows(line, place, taken)]
        rest = [place for place in free if place not in shown]
        sure = self.denied is None or all(self.denied(line, place, taken) for place in rest)
        return shown if sure else []


def place_open_lines(
    lines: Sequence[Line],
    places: Sequence[Place],
    taken: set[str],
    signs: Sequence[Sign],
) -> tuple[dict[int, tuple[list[Place], str]], dict[int, list[Place]]]:
    """Place the lines of one unit and day that name no pivot.

    Parameters
    ----------
    lines : sequence of Line
        Lines of the same kind of action without a full position.
    places : sequence of Place
        All pivots of the unit.
    taken : set of str
        Pivots that other lines renewed the same day.
    signs : sequence of Sign
        Signs that a pivot was renewed, strongest first.

    Returns
    -------
    placed : dict of line index to (pivots, how)
    still_open : dict of line index to candidate pivots
    """
    placed: dict[int, tuple[list[Place], str]] = {}
    still_open: dict[int, list[Place]] = {}
    taken = set(taken)
    waiting = list(lines)
    for sign in (None, *signs):
        for line in list(waiting):
            free = [p for p in candidates(line, places) if p.pivot_id not in taken]
            wanted = max(line.pivots_in_kit, 1)
            chosen = free if sign is None else sign.chosen(line, free, taken)
            enough = len(chosen) <= wanted if sign is None else len(chosen) == wanted
            if chosen and enough:
                placed[line.line_index] = (chosen, sign.how if sign else ONLY)
                taken |= {p.pivot_id for p in chosen}
                waiting.remove(line)
    for line in waiting:
        still_open[line.line_index] = [
            p for p in candidates(line, places) if p.pivot_id not in taken
        ]
    return _filled_up(placed, still_open, waiting)


def _filled_up(
    placed: dict[int, tuple[list[Place], str]],
    still_open: dict[int, list[Place]],
    waiting: Sequence[Line],
) -> tuple[dict[int, tuple[list[Place], str]], dict[int, list[Place]]]:
    """Lines that together renewed every remaining pivot are placed, in whatever order."""
    same = {tuple(free) for free in still_open.values()}
    left = next(iter(same), ())
    if len(same) != 1 or not left or sum(max(w.pivots_in_kit, 1) for w in waiting) < len(left):
        return placed, still_open
    rest = list(left)
    for line in waiting:
        wanted = max(line.pivots_in_kit, 1)
        placed[line.line_index] = (rest[:wanted], "the lines of that day renewed every pivot left")
        rest = rest[wanted:]
    return placed, {}
