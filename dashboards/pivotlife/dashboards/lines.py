"""Lines of the shortlist as people read them, gathered into jobs: one unit, one visit.

A line is one pivot and what is to be done with it. All lines of a unit's visit stand together
under their unit, because the shop opens the truck once. A job belongs to the chapter of its
gravest line.

Not here: what unfolds under a line (`facts`); any choice between replacing and waiting.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.facts import chance_by_next_visit, line_facts, was_found
from pivotlife.dashboards.sheet_names import sheet_path

#: Decisions in the order of their weight, and the word a line carries.
ORDERS: Final[dict[str, str]] = {
    "park": "Park now",
    "replace": "Replace",
    "measure": "Measure",
    "leave": "Leave",
}
#: What stands in place of a chance.
FOUND: Final = "found already"
#: How the remark begins that another type would be cheaper on the whole axle.
_INSTEAD: Final = re.compile(r" Fit (\S+) instead: .*$")


@dataclass(frozen=True)
class Line:
    """One pivot (or a whole unit) of the shortlist, written out.

    Attributes
    ----------
    unit, depot, visit : str
        Whose line it is, and when the truck is next in the shop.
    place, bushing : str
        Which pivot, and what is in it.
    decision, order : str
        The decision's key and its word.
    must : bool
        True when neither price nor room in the shop may move it.
    reason : str
        Why, in a sentence.
    measured, chance : str
        Last reading, and the chance of being over its limit by the visit after next; where an
        order rests on what was found, that it was found: a chance beside it would say less.
    facts : tuple of str
        What unfolds: reading and limit, chances, amounts, records.
    """

    unit: str
    depot: str
    visit: str
    odometer: str
    place: str
    bushing: str
    decision: str
    order: str
    must: bool
    reason: str
    measured: str
    chance: str
    facts: tuple[str, ...]

    @property
    def force(self) -> tuple[str, ...]:
        """The small word under the order, if there is one to say."""
        if self.decision == "replace":
            return ("must",) if self.must else ("by choice",)
        return ("must",) if self.must and self.decision == "measure" else ()


@dataclass(frozen=True)
class Job:
    """All lines of one unit at one visit.

    Attributes
    ----------
    chapter : str
        "park", "must", "choice" or "measure": the weight of its gravest line.
    summary : str
        What is to be done, counted.
    sheets : tuple of str
        The work sheet's file; empty where nothing is to be done.
    """

    unit: str
    depot: str
    visit: str
    odometer: str
    chapter: str
    summary: str
    lines: tuple[Line, ...]
    sheets: tuple[str, ...] = ()

    @property
    def when(self) -> str:
        """When it is to be done; what parks a unit does not wait for its visit."""
        visit = f"visit {self.visit}"
        return f"now, not at the {visit}" if self.chapter == "park" else visit


def read_lines(shortlist: pd.DataFrame, growth: pd.DataFrame, currency: str) -> tuple[Line, ...]:
    """Write out every row of the shortlist, in its order of rank.

    Parameters
    ----------
    shortlist : DataFrame
        One row per pivot in service; a row without `pivot_id` speaks of the whole unit.
    growth : DataFrame
        How play grows, by `pivot_id`; may lack pivots.
    currency : str
        Code of the amounts.
    """
    grown = {str(row["pivot_id"]): row for row in growth.to_dict("records")}
    ordered = shortlist.sort_values("rank", kind="stable", na_position="last")
    return tuple(
        _line(row, grown.get(words.text(row["pivot_id"]), {}), currency)
        for row in ordered.to_dict("records")
    )


def gather_jobs(lines: tuple[Line, ...], *, left: bool = False) -> tuple[Job, ...]:
    """Gather lines into jobs, by depot, visit and unit.

    Parameters
    ----------
    lines : tuple of Line
        Any lines.
    left : bool
        False takes the lines that ask for work, True those that are left alone.
    """
    groups: dict[tuple[str, str, str], list[Line]] = {}
    for line in lines:
        if (line.decision == "leave") == left:
            groups.setdefault((line.depot, line.visit, line.unit), []).append(line)
    return tuple(_job(tuple(group)) for _, group in sorted(groups.items(), key=lambda g: g[0]))


def _job(lines: tuple[Line, ...]) -> Job:
    first = lines[0]
    return Job(
        unit=first.unit,
        depot=first.depot,
        visit=first.visit,
        odometer=first.odometer,
        chapter=_chapter(lines),
        summary=_summary(lines),
        sheets=() if all(line.decision == "leave" for line in lines) else (sheet_path(first.unit),),
        lines=_told_once(tuple(sorted(lines, key=_weight))),
    )


def _told_once(lines: tuple[Line, ...]) -> tuple[Line, ...]:
    """Leave out, from a job's further lines, a remark on its axle that a line above has made.

    That another type would be cheaper is said of the whole axle, the same on each of its lines.
    """
    seen: set[str] = set()
    kept = []
    for line in lines:
        remark = _INSTEAD.search(line.reason)
        of_axle = " ".join(line.place.split(" ")[:2]) + (remark.group() if remark else "")
        if remark and of_axle in seen:
            short = f" {remark.group(1).capitalize()} instead: as said above."
            kept.append(replace(line, reason=line.reason[: remark.start()] + short))
        else:
            kept.append(line)
        seen.add(of_axle)
    return tuple(kept)


def _weight(line: Line) -> tuple[int, bool]:
    return list(ORDERS).index(line.decision) if line.decision in ORDERS else 9, not line.must


def _chapter(lines: tuple[Line, ...]) -> str:
    decisions = {line.decision for line in lines}
    if "park" in decisions:
        return "park"
    if any(line.must for line in lines):
        return "must"
    return "measure" if decisions == {"measure"} else "choice"


def _summary(lines: tuple[Line, ...]) -> str:
    counted = [
        f"{sum(line.decision == decision for line in lines)} to {verb}"
        for decision, verb in (
            *(("park", "park for"), ("replace", "replace")),
            *(("measure", "measure"), ("leave", "leave")),
        )
        if any(line.decision == decision for line in lines)
    ]
    return ", ".join(counted)


def _line(row: Mapping[Any, Any], grown: Mapping[Any, Any], currency: str) -> Line:
    decision = words.text(row["decision"]).lower()
    return Line(
        unit=words.text(row["unit_id"]),
        depot=words.text(row["depot"]) or words.UNKNOWN,
        visit=words.day(row["visit_date"], "no visit date"),
        odometer=words.odometer_ahead(row["visit_odometer_miles"]),
        place=_place(row),
        bushing=words.text(row["bushing_type"]),
        decision=decision,
        order=ORDERS.get(decision, decision),
        must=words.is_yes(row["mandatory"]),
        reason=words.text(row["reason"]) or "No reason was recorded.",
        measured=words.play(row["last_free_play_mm"]),
        chance=FOUND if was_found(row) else chance_by_next_visit(row),
        facts=line_facts(row, grown, currency),
    )


def _place(row: Mapping[Any, Any]) -> str:
    if not words.text(row["pivot_id"]):
        return "whole unit"
    axle = words.number(row["axle"], 0, "?")
    return f"axle {axle} {words.text(row['side'])} {words.text(row['node'])}"
