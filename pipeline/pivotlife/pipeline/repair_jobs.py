"""Reading the repairs of a unit in order of time: which bushings went out, which came in.

`replaced` ends one span and begins the next, `removed` ends one, `fitted` begins one and ends
whatever was still in place. What was only adjusted or regreased goes on. A repair that may have
renewed any of several pivots ends the knowledge about all of them: their spans close there,
marked doubtful, and the ones that follow have an unknown age.

Not here: how a line without position is placed, what the readings say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import groupby
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.pipeline.life_spans import BEGINNING, FAILURE_REASONS, Renewal, Span, UnitSpans
from pivotlife.pipeline.missing_places import ATTRIBUTED, STILL_OPEN
from pivotlife.pipeline.repair_places import (
    BOTH_OF_SHACKLE,
    FITTED,
    LIKELY_SHACKLE,
    ONLY,
    REMOVED,
    SHACKLE,
    Line,
    Place,
    PlayRecord,
    Sign,
    kit_members,
    place_open_lines,
)

#: Fate of a repair row and why.
Note = tuple[str, str]
FITTED_OVER: Final = "fitted without a removal: the bushing in place is taken as removed"


def repair_lines(repairs: pd.DataFrame, kits: pd.DataFrame) -> list[Line]:
    """Lines that fit or remove bushings, in order of unit, day, action and row.

    A line without a node takes that of its kit when it renewed a single pivot; of two pivots of
    one side it takes the shackle, whose pins come out together (common practice, no source).
    `repairs` has been through `hear_remarks`.
    """
    acting = repairs[repairs["action"].isin(("fitted", "removed", "replaced"))]
    node_of = kits.drop_duplicates("kit_id").set_index("kit_id")["node"]
    from_kit = acting["kit_id"].map(node_of).fillna("").astype(str)
    count = acting["pivots_in_kit"].fillna(1)
    node = acting["node"].mask((acting["node"] == "") & (count == 1), from_kit)
    two = (acting["node"] == "") & (count == 2)
    node = node.mask(two, LIKELY_SHACKLE).mask(two & from_kit.isin(SHACKLE), BOTH_OF_SHACKLE)
    day = acting["repair_date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    phase = np.where(acting["action"] == "removed", REMOVED, FITTED)
    unit = acting["unit_id"].to_numpy(dtype=str)
    # Rows stand in the order of their files: their place, not their line, says which came first.
    order = np.lexsort((np.arange(len(acting)), phase, day, unit))
    kit = acting["pivots_in_kit"].fillna(1).astype(np.int64)
    columns = [
        acting.index, unit, acting["pivot_id"], acting["axle"], acting["side"], node,
        day, acting["action"], acting["reason"], acting["bushing_type"], kit,
        acting["true_miles"], acting["source_row"], acting["heard"],
    ]  # fmt: skip
    values = [np.asarray(column)[order].tolist() for column in columns]
    return [Line(*row) for row in zip(*values, strict=True)]


def read_repairs(
    spans: Mapping[str, Sequence[Span]],
    lines: Sequence[Line],
    records: Callable[[str], PlayRecord],
    limit_of: Callable[[str, str], float],
) -> tuple[list[Span], list[Renewal], dict[int, Note]]:
    """Turn the spans that stood when records began into all spans.

    Parameters
    ----------
    spans : mapping of unit to Span
        One span for every pivot of the unit.
    lines : sequence of Line
        Lines that fit or remove bushings, in order of unit, day, action (removals first), row.
    records : function of pivot_id
        What was read at that pivot.
    limit_of : function of (pivot_id, bushing type)
        Its play limit in millimetres; NaN without one.

    Returns
    -------
    spans : list of Span
    renewals : list of Renewal
    notes : dict of line index to (fate, reason)
    """
    units = {unit: UnitSpans(unit, own) for unit, own in spans.items()}
    notes: dict[int, Note] = {}
    for (unit, _), job in groupby(lines, key=lambda line: (line.unit_id, line.day)):
        if unit in units:
            _read_job(units[unit], list(job), notes, records, limit_of)
        else:
            notes |= dict.fromkeys(
                (line.line_index for line in job),
                ("not-needed", "its unit has no pivots on record"),
            )
    ended = [span for unit in units.values() for span in unit.all_spans()]
    return ended, [renewal for unit in units.values() for renewal in unit.renewed], notes


def _read_job(
    unit: UnitSpans,
    job: Sequence[Line],
    notes: dict[int, Note],
    records: Callable[[str], PlayRecord],
    limit_of: Callable[[str, str], float],
) -> None:
    """Read all lines of one unit and day."""
    reach: dict[int, tuple[list[Place], str]] = {
        line.line_index: (kit_members(line, unit.places), "") for line in job if line.pivot_id
    }
    still_open: dict[int, list[Place]] = {}
    nameless = [line for line in job if not line.pivot_id]
    for removing in (True, False) if nameless else ():
        same = [line for line in nameless if (line.action == "removed") is removing]
        named = [line for line in job if line.pivot_id and (line.action == "removed") is removing]
        taken = {p.pivot_id for line in named for p in reach[line.line_index][0]}
        signs = _signs(unit, records, limit_of)
        placed, unplaced = place_open_lines(same, unit.places, taken, signs)
        reach |= placed
        still_open |= unplaced
    for line in job:
        if line.line_index in still_open:
            notes[line.line_index] = _leave_open(unit, line, still_open[line.line_index])
        else:
            notes[line.line_index] = _apply(unit, line, *reach[line.line_index])


def _signs(
    unit: UnitSpans,
    records: Callable[[str], PlayRecord],
    limit_of: Callable[[str, str], float],
) -> list[Sign]:
    """Signs that a line renewed a pivot, strongest first."""

    def looked_after(line: Line, place: Place, _: set[str]) -> bool:
        return records(place.pivot_id).looked_after(line.day)

    def standing_bad(line: Line, place: Place, _: set[str]) -> bool:
        span = unit.open[place.pivot_id]
        if span is None or line.reason not in (*FAILURE_REASONS, "unknown", ""):
            return False
        limit = limit_of(place.pivot_id, span.bushing_type)
        return records(place.pivot_id).bad_between(span.start_key, line.key, limit)

    def dropped(line: Line, place: Place, _: set[str]) -> bool:
        span = unit.open[place.pivot_id]
        start = span.start_key if span is not None else BEGINNING
        return records(place.pivot_id).dropped(start, line.key)

    def went_on(line: Line, place: Place, _: set[str]) -> bool:
        span = unit.open[place.pivot_id]
        start = span.start_key if span is not None else BEGINNING
        return records(place.pivot_id).went_on(start, line.key)

    def partner(line: Line, place: Place, taken: set[str]) -> bool:
        return line.reason == "partner" and any(
            other.pivot_id in taken
            and other.node in SHACKLE
            and place.node in SHACKLE
            and (other.axle, other.side) == (place.axle, place.side)
            for other in unit.places
        )

    return [
        Sign("looked at again after the repair", looked_after),
        Sign("shackle partner of a pivot renewed that day", partner),
        Sign("bad evidence was standing there", standing_bad),
        Sign("its play is that of a new bushing afterwards", dropped, went_on),
    ]


def _apply(unit: UnitSpans, line: Line, places: Sequence[Place], how: str) -> Note:
    """Let a placed line act on its pivots and say what it did."""
    if not places:
        return "context", "every pivot it can mean was already renewed that day"
    shared = len(places) > 1 or how.startswith("the lines of that day")
    said = [_attributed(line, places, how)] if how else []
    acted = False
    for place in places:
        if line.action != "removed" and unit.began_that_day(place, line):
            continue
        own = place.pivot_id == line.pivot_id or not shared
        ended = unit.close(place, line, shared=not own)
        acted |= ended or line.action != "removed"
        if line.action == "fitted" and ended:
            said.append(FITTED_OVER)
        if line.action == "replaced" and not ended:
            said.append("replaced where none was in place")
        if line.action != "removed":
            unit.begin(place, line)
            sure = how == ONLY and line.node != LIKELY_SHACKLE and not line.heard
            certain = sure or place.pivot_id == line.pivot_id
            unit.renewed.append(Renewal(line.line_index, place.pivot_id, certain))
    if not acted and line.action == "removed":
        return "context", "no bushing was in this pivot any more"
    if not acted:
        return "context", "part of another line's job of that day"
    return "life", "; ".join(dict.fromkeys(said))


def _attributed(line: Line, places: Sequence[Place], how: str) -> str:
    """Say to which pivots a line without a full position was given, and from what."""
    named = ", ".join(place.pivot_id.removeprefix(f"{line.unit_id}.") for place in places)
    told = "its remark and " if line.heard else ""
    return f"{ATTRIBUTED} {named} by {told}{how}"


def _leave_open(unit: UnitSpans, line: Line, free: Sequence[Place]) -> Note:
    """End the knowledge about every pivot that the line may have meant."""
    if not free:
        return "context", "every pivot it can mean was already renewed that day"
    for place in free:
        if not unit.began_that_day(place, line):
            unit.close(place, line, shared=True, doubtful=True)
            unit.begin(place, line, age_known=False)
    reason = (
        f"{STILL_OPEN} it may have renewed any of {len(free)} pivots, whose lives are "
        "closed here and go on with an unknown age"
    )
    return "context", reason
