"""The fleet manager's page: which trucks, which pivots, when, and why.

Order of the page is the order of the morning: trucks that stay where they are, work that must be
done, work that pays, pivots to measure, what changed, what to lay ready, then what is left alone.
Where mandatory work does not fit into the shop, that stands before everything.

Not here: the planning tables (`fleet_plan`), prices by month (`finance`), curves (`engineer`).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.facts import rule_words
from pivotlife.dashboards.fleet_plan import plan_sections, shortage_groups
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.lines import ORDERS, Job, Line, gather_jobs, read_lines
from pivotlife.dashboards.tables import Cell, Column, Table, group_sizes, make_table

#: Chapter -> heading, explanation, the sentence when it is empty.
_CHAPTERS: Final[dict[str, tuple[str, str, str]]] = {
    "park": (
        "Park now",
        (
            "These units stay where they are until a qualified person has repaired and released "
            "them. No price and no schedule changes this."
        ),
        "No unit has to be parked on the records given.",
    ),
    "must": (
        "Must be done at the coming visit",
        (
            "At least one pivot of each of these units is over its limit, was found failed, or has "
            "to be measured or opened and looked at. Lines marked 'by choice' pay by themselves or "
            "because the truck is open."
        ),
        "No mandatory work on the records given.",
    ),
    "choice": (
        "Worth doing at the coming visit",
        (
            "Nothing here is over its limit on record. Waiting one more visit is expected to cost "
            "more than the miles it would save, for one pivot or for several that share a job, or "
            "the pivot joins a job that is open anyway."
        ),
        "No replacement pays at the coming visits.",
    ),
    "measure": (
        "Measure",
        "A reading is missing, too old or too uncertain to decide on. No reading never means good.",
        "No pivot waits for a reading.",
    ),
}

CAUTIONS: Final = (
    (
        "This page says which unit and when, never how. Local rules, the site's rules and the "
        "maker's procedure come first, and only qualified people do and release the work."
    ),
    (
        "Cracked, broken or missing parts, a seized pin or an axle that has moved: the unit is out "
        "of service now. It is not watched for another week."
    ),
    (
        "Lift only within marked ratings, with wheels chocked and the load on stands at once. "
        "Nobody works under a vehicle that stands on jacks alone."
    ),
    (
        "A spring that still carries force can throw a pin or itself. All force must be off before "
        "a pin is moved."
    ),
    (
        "Presses, rams and hammers throw fragments and pinch hands: rated tools, guards, eye "
        "protection, nobody in line. Heated rubber burns and gives off harmful fumes."
    ),
    "A pin that refuses grease is taken out and inspected; it is not left for the next service.",
    (
        "Both sides of the axle are looked at, fasteners are new and tightened as the maker says, "
        "and alignment is checked afterwards."
    ),
    (
        "The repair goes into the unit's record before it returns to the road; the yearly "
        "inspection the law asks for stays due."
    ),
)


@dataclass(frozen=True)
class Chapter:
    """One part of the page: a heading over jobs."""

    name: str
    heading: str
    explanation: str
    empty: str
    jobs: tuple[Job, ...]

    @property
    def size(self) -> str:
        """How many units and lines stand below the heading."""
        lines = sum(len(job.lines) for job in self.jobs)
        units = len({job.unit for job in self.jobs})
        return f"{words.count(units, 'unit')}, {words.count(lines, 'line')}"


def fleet_context(inputs: PageInputs) -> dict[str, Any]:
    """Prepare what the fleet template shows.

    Parameters
    ----------
    inputs : PageInputs
        One run.

    Returns
    -------
    dict
        `shortages`, `chapters`, `left` (jobs), `plan` (sections), `left_reasons`, `acted`
        (tables), `depots`, `orders`, `cautions`, and the counts in words.
    """
    tables = inputs.tables
    lines = read_lines(tables["shortlist"], tables["growth"], inputs.currency)
    jobs = gather_jobs(lines)
    left = gather_jobs(lines, left=True)
    return {
        "chapters": _chapters(jobs),
        "left": left,
        "left_size": words.count(sum(len(job.lines) for job in left), "pivot"),
        "left_reasons": left_reasons(tables["shortlist"]),
        "acted": acted_rows(tables["quarantine"]),
        "depots": sorted({line.depot for line in lines}),
        "orders": tuple(ORDERS.items()),
        "cautions": CAUTIONS,
        "total": words.count(len(lines), "line"),
        "shortages": shortage_groups(inputs),
        "plan": plan_sections(inputs),
    }


def _chapters(jobs: tuple[Job, ...]) -> tuple[Chapter, ...]:
    return tuple(
        Chapter(name, *texts, jobs=tuple(job for job in jobs if job.chapter == name))
        for name, texts in _CHAPTERS.items()
    )


def parked_lines(lines: tuple[Line, ...]) -> tuple[Line, ...]:
    """Pick the lines that keep a unit where it is."""
    return tuple(line for line in lines if line.decision == "park")


def left_reasons(shortlist: pd.DataFrame) -> Table:
    """Count the pivots that are left alone, by the rule that leaves them."""
    left = shortlist[shortlist["decision"] == "leave"]
    return make_table(
        "left-by-rule",
        f"Why pivots are left alone, n = {words.number(len(left))}: read how much of the fleet "
        "rests on readings and how much on curves alone.",
        (Column("Rule"), Column("Pivots", numeric=True)),
        [(rule_words(rule), words.number(size)) for (rule,), size in group_sizes(left, ["rule"])],
        empty="No pivot is left alone.",
    )


def as_written(row: str) -> str:
    """Tell a withheld row, kept as JSON, in words: each cell that holds something."""
    try:
        cells = json.loads(row)
    except ValueError:
        return row
    if not isinstance(cells, dict):
        return row
    return "; ".join(f"{name} {value}" for name, value in cells.items() if words.text(value))


def acted_rows(quarantine: pd.DataFrame) -> Table:
    """List the withheld rows that still moved a decision."""
    acted = quarantine[quarantine["acted_on"].map(words.text) != ""]
    return make_table(
        "withheld-rows",
        f"{words.count(len(acted), 'row')} of {words.number(len(quarantine))} withheld: too faulty "
        "to count in any curve, yet heard by the safety rules. Correct them at their source or in "
        "the corrections table.",
        (
            Column("File"),
            Column("Line", numeric=True),
            Column("Id"),
            Column("Fault"),
            Column("What it did"),
        ),
        [
            (
                words.text(row["file"]) or words.text(row["table"]),
                words.number(row["row_number"]),
                words.text(row["row_id"]) or "none",
                Cell(words.text(row["reasons"]), (as_written(words.text(row["row"])),)),
                words.text(row["acted_on"]),
            )
            for row in acted.to_dict("records")
        ],
        empty="No withheld row moved a decision.",
    )
