"""Work sheets: one printed page per unit and visit, from what to do to what to write down.

A sheet says which pivots, why, with which kit, what to watch for and who signs; the findings of
the tear-down come back through the repairs table as `teardown_finding`. How the work is done is
for the maker's procedure and qualified people.

Not here: the choice of lines, kits and visits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.lines import ORDERS
from pivotlife.dashboards.render import render
from pivotlife.dashboards.sheet_names import sheet_path
from pivotlife.models.findings import FINDING_MODE
from pivotlife.models.kit_match import FITS, SIZES

#: What a tear-down may be found to be: the words of the records.
FINDINGS: Final = ("ok", *FINDING_MODE, "axle-shifted")
#: Longest reason on a sheet; the whole one stands on the fleet page.
_REASON_LETTERS: Final = 250

CAUTIONS: Final = (
    (
        "Local codes, site rules and the maker's procedure govern. This sheet says which pivot and "
        "when, never how; qualified people do the work."
    ),
    (
        "Lift within the marked rating, chock the wheels, secure the load the moment it is up. "
        "Nobody works under jacks alone."
    ),
    "A loaded spring throws pins: no pin is moved before all force is off the spring.",
    (
        "Presses and rams: rated tooling, guards, eye protection, nobody in line. Side bars and "
        "shackles pinch, hammers throw splinters, hot rubber burns and fumes."
    ),
    (
        "New fasteners, tightened as the maker says; U-bolts under normal load, rubber bushings at "
        "ride height; U-bolts are tightened again after the first miles the maker names."
    ),
    "A pin that refuses grease comes out and is inspected. Look at both sides of the axle.",
    (
        "Cracked, broken or missing parts, a seized pin or a shifted axle: out of service now, "
        "nothing of that is watched for another week."
    ),
    (
        "Alignment is checked after the work. A qualified person returns the unit to service; the "
        "record is kept, the yearly inspection stays due."
    ),
)
#: Common practice, no source; the maker's procedure governs.
REMINDERS: Final = (
    "Before tear-down: sizes above confirmed against the kit?",
    "Ribbed bushing for the spring eye, smooth one for the hanger?",
    "The kit's own drive tool at hand? Bushing to end flush with the outer face.",
    "Bore clean and free of burrs, bore and bushing lightly lubricated?",
    "Hanger bushing: is a press free? With the bracket off the truck it is easier there.",
    "Needle rollers carry no pressing load: collar at hand?",
    "Grease fitting facing outward? Shim washers as supplied?",
    "Side bars clamped while the nuts are tightened?",
    (
        "Greased until it leaves both ends? Roller bushings take it with the weight on, threaded "
        "ones may need it off."
    ),
    "Next grease: at each service or every 5,000 to 10,000 miles.",
)


@dataclass(frozen=True)
class SheetLine:
    """One pivot of the sheet, written out."""

    place: str
    bushing: str
    order: str
    reason: str
    kit: str


@dataclass(frozen=True)
class Size:
    """One size of the unit to confirm: what is on record, or that nothing is."""

    name: str
    recorded: str


def build_sheets(inputs: PageInputs) -> dict[str, str]:
    """Draw the sheet of every unit with work at its coming visit.

    Parameters
    ----------
    inputs : PageInputs
        One run.

    Returns
    -------
    dict of str to str
        File name below the run's folder to HTML.
    """
    listed = inputs.tables["shortlist"]
    listed = listed[listed["decision"].map(words.text) != "leave"].sort_values("rank")
    kits = {str(row["pivot_id"]): row for row in inputs.tables["kit_matches"].to_dict("records")}
    sizes = {str(row["unit_id"]): row for row in inputs.tables["unit_sizes"].to_dict("records")}
    return {
        sheet_path(str(unit)): render(
            "sheet.html", _context(inputs, rows, kits, sizes.get(str(unit), {}))
        )
        for unit, rows in listed.groupby("unit_id", sort=True)
    }


def _context(
    inputs: PageInputs,
    rows: pd.DataFrame,
    kits: Mapping[str, Mapping[Any, Any]],
    sizes: Mapping[Any, Any],
) -> dict[str, Any]:
    records = rows.to_dict("records")
    waiting = [row for row in records if words.is_yes(row["postponed"])]
    # A renewal that waits may still have to be measured now.
    now = [
        row for row in records if not words.is_yes(row["postponed"]) or row["decision"] == "measure"
    ]
    first = records[0]
    return {
        "fleet_name": inputs.fleet_name,
        "as_of": inputs.as_of.isoformat(),
        "unit": words.text(first["unit_id"]),
        "depot": words.text(first["depot"]) or words.UNKNOWN,
        "visit": words.day(first["visit_date"], "no visit date"),
        "odometer": words.odometer_ahead(first["visit_odometer_miles"]),
        "parked": tuple(
            "PARK NOW: this unit stays where it is until a qualified person has repaired and "
            "released it."
            for _ in range(any(words.text(row["decision"]) == "park" for row in records))
        ),
        "lines": tuple(_line(row, kits.get(words.text(row["pivot_id"]), {})) for row in now),
        "options": _options(now),
        "waiting": ", ".join(place(row) for row in waiting) or "none",
        "to_fill": tuple(place(row) for row in now if words.text(row["pivot_id"])),
        "spare": tuple(range(max(0, 2 - len(now)))),
        "sizes": tuple(_size(name, sizes) for name in (*SIZES, "pin_diameter_mm")),
        "findings": ", ".join(FINDINGS),
        "cautions": CAUTIONS,
        "reminders": REMINDERS,
    }


def _line(row: Mapping[Any, Any], kit: Mapping[Any, Any]) -> SheetLine:
    decision = words.text(row["decision"])
    must = " (must)" if words.is_yes(row["mandatory"]) and decision != "park" else ""
    limit = "" if pd.isna(row["limit_mm"]) else f", limit {row['limit_mm']:g} mm"
    return SheetLine(
        place=place(row),
        bushing=words.text(row["bushing_type"]) + limit,
        order=ORDERS.get(decision, decision) + must,
        reason=_why(row),
        kit=_kit(kit) + _instead(row) if words.text(row["pivot_id"]) else "",
    )


def _kit(kit: Mapping[Any, Any]) -> str:
    """Name the kit with its tool and where it comes from, or what has to be measured first."""
    if not kit:
        return "No kits table: measure before ordering."
    if words.text(kit["verdict"]) != FITS:
        decides = words.text(kit["decides"])
        return "Measure before ordering" + (f": the {decides} decides." if decides else ".")
    tool = words.text(kit["drive_tool"]) or "drive tool not on record"
    return f"{words.text(kit['kit_id'])}, {tool} ({words.text(kit['supply'])})"


def _instead(row: Mapping[Any, Any]) -> str:
    """Name the kit of another type that would be cheaper."""
    other = words.text(row["fit_instead"])
    kit = words.text(row["fit_instead_kit_id"]) or "kit to be measured for"
    return f" Or {other}: {kit}." if other else ""


def _options(records: list[dict[Any, Any]]) -> tuple[str, ...]:
    """Tell once for each axle that another type would be cheaper: a choice to make first."""
    told = {
        (words.number(row["axle"], 0, "?"), words.text(row["fit_instead"])): None
        for row in records
        if words.text(row["fit_instead"])
    }
    return tuple(
        f"To decide before ordering: {other} on the whole of axle {axle} would cost less until the "
        "planned sale, see the fleet page."
        for axle, other in told
    )


def _size(name: str, sizes: Mapping[Any, Any]) -> Size:
    millimetres = sizes.get(name, float("nan"))
    return Size(
        SIZES.get(name, "pin diameter"),
        "not on record" if pd.isna(millimetres) else f"on record {words.play(millimetres)}",
    )


def _why(row: Mapping[Any, Any]) -> str:
    """Say why; who is renewed for company comes first, because the chances do not tell it."""
    company = words.text(row["joined_because"])
    first = f"{company[0].upper()}{company[1:]}. " if company else ""
    return first + _shortened(words.text(row["reason"]))


def _shortened(reason: str) -> str:
    """Cut a long reason at the end of a sentence."""
    if len(reason) <= _REASON_LETTERS:
        return reason
    whole = reason[:_REASON_LETTERS].rfind(". ")
    cut = reason[: whole + 1] if whole > 0 else reason[:_REASON_LETTERS].rstrip() + " ..."
    return f"{cut} (More on the fleet page.)"


def place(row: Mapping[Any, Any]) -> str:
    """Write which pivot a row speaks of."""
    if not words.text(row["pivot_id"]):
        return "whole unit"
    axle = words.number(row["axle"], 0, "?")
    return f"axle {axle} {words.text(row['side'])} {words.text(row['node'])}"
