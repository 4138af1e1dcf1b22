"""The planning half of the fleet page: changes, kits, bay hours, and three lists to watch.

Long tables show their head; the file beside the page holds all rows.

Not here: the lines of the shortlist (`fleet`).
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section
from pivotlife.dashboards.tables import Cell, Column, Table, make_table

#: Rows of a table on the page.
HEAD: Final = 25
WEEKS: Final = 8


def plan_sections(inputs: PageInputs) -> tuple[Section, ...]:
    """Prepare the sections below the shortlist.

    Parameters
    ----------
    inputs : PageInputs
        One run.
    """
    tables, currency = inputs.tables, inputs.currency
    return (
        Section(
            "What changed since the last run",
            ("Every line that came, went or moved, and the one thing that moved it.",),
            tables=(changes_table(tables["changes"]),),
            file="changes.csv",
        ),
        Section(
            "Kits to lay ready",
            (
                "Shelves are shared out to the earliest visits first; what is already on order is "
                "not counted on. Sizes are confirmed on the truck before tear-down. What later "
                "months take and what to keep in stock stands on the finance page.",
            ),
            tables=(kits_table(tables["kits_to_stage"]),),
            file="kits_to_stage.csv",
        ),
        Section(
            "Bay hours of the coming weeks",
            ("Mandatory work and readings stand; renewals by choice share what room is left.",),
            tables=(
                hours_table(tables["hours_by_week"]),
                waiting_table(tables["shortlist"], currency),
            ),
            file="hours_by_week.csv",
        ),
        Section(
            "Overdue for a reading",
            ("Nothing is known of these pivots that is recent enough to decide on.",),
            tables=(
                gaps_by_depot(tables["inspection_gaps"]),
                gaps_by_unit(tables["inspection_gaps"]),
            ),
            file="inspection_gaps.csv",
        ),
        Section(
            "Grease missed in the last year",
            (
                "Services done of those due by miles; one at which not every pin is known to have "
                "taken grease counts half.",
            ),
            tables=(
                lube_table(tables["lube_compliance"], "depot"),
                lube_table(tables["lube_compliance"], "unit"),
            ),
            file="lube_compliance.csv",
        ),
        Section(
            "Repairs that came back",
            (
                "The same pivot renewed again within the miles the settings name. Look at the bore "
                "and the care before a third bushing goes in.",
            ),
            tables=(repeats_table(tables["repeat_repairs"]),),
            file="repeat_repairs.csv",
        ),
    )


def shortage_groups(inputs: PageInputs) -> tuple[tuple[str, ...], ...]:
    """Write where mandatory work does not fit, as one group of sentences; none where all fits.

    They stand first on the page.
    """
    told = tuple(str(text) for text in inputs.run.get("shortages", ()))
    return (told,) if told else ()


def _head(rows: list[Any], size: int = HEAD) -> str:
    return "" if len(rows) <= size else f" The first {size} are shown, all stand in the file."


def changes_table(changes: pd.DataFrame) -> Table:
    """List what moved on the shortlist."""
    rows = changes.to_dict("records")
    return make_table(
        "changes",
        f"{words.count(len(rows), 'line')} came, went or moved.{_head(rows)}",
        (
            *(Column("Pivot"), Column("Change"), Column("Before"), Column("Now")),
            *(Column("Cause"), Column("What")),
        ),
        [
            (
                words.text(row["pivot_id"]) or f"{words.text(row['unit_id'])}, whole unit",
                *(words.text(row[c]) for c in ("change", "decision_before", "decision_now")),
                *(words.text(row[c]) for c in ("cause", "detail")),
            )
            for row in rows[:HEAD]
        ],
        empty="Nothing moved, or there is no earlier run to compare with (see the run's notes).",
    )


def kits_table(stage: pd.DataFrame) -> Table:
    """List kits by visit and depot, the earliest visits first."""
    ordered = stage.sort_values(["visit_date", "depot", "kit_id"], kind="stable")
    rows = ordered.to_dict("records")
    return make_table(
        "kits",
        f"{words.number(stage['kits'].sum())} kits for the renewals of the coming visits; one a "
        f"pivot.{_head(rows)}",
        (
            *(Column("Visit"), Column("Depot"), Column("Kit"), Column("For")),
            *(Column("Kits", numeric=True), Column("From the shelf", numeric=True)),
            *(Column("Drive tool"), Column("Status")),
        ),
        [
            (
                words.day(row["visit_date"]),
                words.text(row["depot"]) or words.UNKNOWN,
                words.text(row["kit_id"]) or "none named",
                f"{words.text(row['bushing_type'])} {words.text(row['node'])}",
                words.number(row["kits"]),
                words.number(row["from_shelf"]),
                words.text(row["drive_tool"]) or words.UNKNOWN,
                _status(row),
            )
            for row in rows[:HEAD]
        ],
        empty="No kit is asked for, or no kits table was given.",
    )


def _status(row: dict[Any, Any]) -> str:
    status = words.text(row["status"])
    order = words.day(row["order_by_date"], "")
    return f"{status}: {words.number(row['to_order'])} by {order}" if order else status


def hours_table(hours: pd.DataFrame) -> Table:
    """List hours by depot and week for the coming weeks."""
    weeks = sorted(hours["week_start"].dropna().unique())[:WEEKS]
    rows = hours[hours["week_start"].isin(weeks)].to_dict("records")
    names = ("mandatory_hours", "measure_hours", "choice_hours", "planned_hours")
    return make_table(
        "bay-hours",
        f"Hours of {words.count(len(rows), 'depot week')} in the coming {WEEKS} weeks.",
        (
            *(Column("Depot"), Column("Week of"), Column("Mandatory", numeric=True)),
            *(Column("Readings", numeric=True), Column("By choice", numeric=True)),
            *(Column("Planned", numeric=True), Column("Bay hours", numeric=True)),
            *(Column("Short", numeric=True), Column("Put off", numeric=True)),
        ),
        [
            (
                words.text(row["depot"]),
                words.day(row["week_start"]),
                *(words.number(row[name], 1) for name in names),
                words.number(row["bay_hours"], 1, "not limited"),
                words.number(row["shortage_hours"], 1, "none"),
                words.number(row["postponed_hours"], 1),
            )
            for row in rows
        ],
        empty="No visit with work is planned.",
    )


def waiting_table(shortlist: pd.DataFrame, currency: str) -> Table:
    """List what waits for room or money, the dearest first."""
    waits = shortlist[shortlist["postponed"].map(words.is_yes).astype(bool)]
    waits = waits.sort_values("postponed_cost", ascending=False, kind="stable")
    rows = waits.to_dict("records")
    total = words.money(waits["postponed_cost"].astype(float).sum(), currency)
    return make_table(
        "put-off",
        f"{words.count(len(rows), 'renewal')} put off for want of room or money, at an "
        f"expected cost of {total} together.{_head(rows)}",
        (
            *(Column("Pivot"), Column("Depot"), Column("Visit")),
            *(Column("Over by the visit after", numeric=True), Column("Cost", numeric=True)),
        ),
        [
            (
                words.text(row["pivot_id"]),
                words.text(row["depot"]),
                words.day(row["visit_date"]),
                words.percent(row["chance_over_by_next_visit"]),
                words.money(row["postponed_cost"], currency),
            )
            for row in rows[:HEAD]
        ],
        empty="Nothing is put off.",
    )


def gaps_by_depot(gaps: pd.DataFrame) -> Table:
    """Count the overdue pivots by depot."""
    groups = gaps.assign(never=gaps["miles_since_reading"].isna()).groupby("depot", sort=True)
    return make_table(
        "gaps-by-depot",
        f"{words.count(len(gaps), 'pivot')} without a usable reading in the last measuring "
        "distance.",
        (
            *(Column("Depot"), Column("Units", numeric=True)),
            *(Column("Pivots", numeric=True), Column("Never read", numeric=True)),
        ),
        [
            (
                words.text(depot),
                words.number(own["unit_id"].nunique()),
                words.number(len(own)),
                words.number(own["never"].sum()),
            )
            for depot, own in groups
        ],
        empty="Every pivot was read recently enough.",
    )


def gaps_by_unit(gaps: pd.DataFrame) -> Table:
    """List the units with most overdue pivots."""
    units = gaps.groupby(["unit_id", "depot"], sort=True, as_index=False).agg(
        pivots=("pivot_id", "size"), overdue=("overdue_miles", "max")
    )
    units = units.sort_values(["pivots", "unit_id"], ascending=[False, True], kind="stable")
    rows = units.to_dict("records")
    return make_table(
        "gaps-by-unit",
        f"{words.count(len(rows), 'unit')} with overdue pivots, most pivots first.{_head(rows)}",
        (
            *(Column("Unit"), Column("Depot"), Column("Pivots", numeric=True)),
            Column("Longest overdue, miles", numeric=True),
        ),
        [
            (
                words.text(row["unit_id"]),
                words.text(row["depot"]),
                words.number(row["pivots"]),
                words.number(row["overdue"], 0, "never read"),
            )
            for row in rows[:HEAD]
        ],
        empty="No unit is overdue.",
    )


def lube_table(compliance: pd.DataFrame, level: str) -> Table:
    """List grease services done of those due, the poorest first."""
    rows = compliance[compliance["level"] == level].to_dict("records")
    shown = ("depot",) if level == "depot" else ("unit_id", "depot")
    names = {"depot": "Depot", "unit_id": "Unit"}
    return make_table(
        f"grease-by-{level}",
        f"Grease services of {words.count(len(rows), level)}, poorest first.{_head(rows)}",
        (
            *(Column(names[name]) for name in shown),
            *(Column("Done", numeric=True), Column("Due", numeric=True)),
            *(Column("Share", numeric=True), Column("Last service")),
        ),
        [
            (
                *(words.text(row[name]) for name in shown),
                words.number(row["services_done"], 1),
                words.number(row["services_due"], 1),
                words.counted_share(row["services_done"], row["services_due"]),
                words.day(row["last_service_date"], "none on record"),
            )
            for row in rows[:HEAD]
        ],
        empty="No grease records were given, or no unit takes grease.",
    )


def repeats_table(repeats: pd.DataFrame) -> Table:
    """List renewals that came back."""
    rows = repeats.to_dict("records")
    return make_table(
        "repeat-repairs",
        f"{words.count(len(rows), 'repair')} came back, the latest first.{_head(rows)}",
        (
            *(Column("Pivot"), Column("Depot"), Column("Bushing")),
            *(Column("First"), Column("Again"), Column("Miles between", numeric=True)),
        ),
        [
            (
                Cell(
                    words.text(row["pivot_id"]),
                    () if row["is_certain"] else ("position worked out, not recorded",),
                ),
                words.text(row["depot"]),
                words.text(row["bushing_type"]) or words.UNKNOWN,
                Cell(words.day(row["first_date"]), (words.text(row["first_reason"]),)),
                Cell(words.day(row["second_date"]), (words.text(row["second_reason"]),)),
                words.number(row["miles_between"]),
            )
            for row in rows[:HEAD]
        ],
        empty="No repair came back within those miles.",
    )
