"""What a reader must know about a run: missing tables, stale data, assumptions.

Not here: reasons of single lines.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import pandas as pd

from pivotlife.pipeline.missing_places import ATTRIBUTED, STILL_OPEN
from pivotlife.pipeline.raw_table import RawTable, SheetCount
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import TABLES
from pivotlife.pipeline.sources import near_misses
from pivotlife.pipeline.work import Intake

#: Columns whose correction can end or begin an order.
TELLING = frozenset(
    {
        *("finding", "teardown_finding", "free_play", "teardown_free_play", "free_play_unit"),
        *("takes_grease", "unit_id"),
    }
)

#: How the notes begin that a run also prints.
NEWEST, NONE_DATED, EMPTY = "The newest reading is of", "No reading is dated", "No row in"

#: What is switched off when an optional table is absent.
WITHOUT = {
    "lube": "grease care is unknown",
    "odometer": "true miles rest on the odometers of readings and repairs alone",
    "meters": "a replaced meter can only be suspected",
    "visits": "visit dates come from the service interval",
    "kits": "no kit is named, measure before ordering",
    "capacity": "room in the shop is not planned",
    "gauge_study": "how good the gauges are is known only from readings marked as repeats",
}


def notes(
    intake: Intake, made: Mapping[str, pd.DataFrame], settings: Settings, day: dt.date
) -> list[str]:
    """Write the notes of a run, one sentence each.

    Parameters
    ----------
    intake : Intake
        The sources as read.
    made : mapping of DataFrame
        The run's tables.
    settings : Settings
        For the guards.
    day : date
        The day the run stands on.

    Returns
    -------
    list of str
    """
    lines = list(intake.notes)
    lines += [f"No {name} table: {WITHOUT[name]}." for name in TABLES if name in _absent(intake)]
    empty = [
        name for name, table in intake.raw.items() if name not in WITHOUT and table.frame.empty
    ]
    lines += [f"{EMPTY} the {name} table: its file holds headers alone." for name in empty]
    for table in intake.raw.values():
        lines += [f"{text[0].upper()}{text[1:]}" for text in near_misses(table)]
    lines += _corrected(intake)
    lines += sheet_note(intake.raw)
    lines += _stale(intake, settings, day)
    lines += _withheld(made["quarantine"])
    lines += place_note(made["ledger"])
    defaults = int(made["prices"]["is_default"].sum())
    if defaults:
        lines.append(f"{defaults} of {len(made['prices'])} prices are invented defaults.")
    lines.append(
        "A bushing counts as good up to its last recorded good evidence. If good readings are"
        " often not written down, this makes lives look shorter than they are."
    )
    lines.append(
        "Bushings taken out before they failed (preventive, campaign) are weighed by their readings"
        " where these allow it; the engineer page sets the other ways of counting them beside it."
    )
    return lines


def is_pressing(note: str) -> bool:
    """Say whether a note belongs before the eyes of whoever started the run."""
    return note.startswith((NEWEST, NONE_DATED, EMPTY))


def _absent(intake: Intake) -> set[str]:
    return {name for name in WITHOUT if name not in intake.raw}


def _corrected(intake: Intake) -> list[str]:
    """Say how many cells a person has put right, and which of them speak of danger."""
    made = [(name, one) for name, table in intake.raw.items() for one in table.corrections]
    if not made:
        return []
    telling = sum(one.column in TELLING for _, one in made)
    text = f"{len(made):,} cells are corrected by hand; the ledger names each with its reason"
    return [
        f"{text}. {telling:,} of them change a finding, a free play, a grease remark or a unit."
    ]


def sheet_note(raw: Mapping[str, RawTable]) -> list[str]:
    """Say what filled inspection sheets brought; nothing where there are none."""
    sheets = raw["readings"].sheets if "readings" in raw else SheetCount()
    if not sheets.files:
        return []
    text = f"{sheets.files:,} inspection sheets brought {sheets.filled:,} rows"
    return [f"{text}; {sheets.blank:,} rows were left blank and are skipped."]


def _stale(intake: Intake, settings: Settings, day: dt.date) -> list[str]:
    newest = intake.judged.tables.some("readings", "reading_date")["reading_date"]
    newest = newest[newest <= pd.Timestamp(day)].max()
    if pd.isna(newest):
        return [f"{NONE_DATED} on or before the day of this run."]
    age = (pd.Timestamp(day) - newest).days
    if age <= settings.guard.stale_days:
        return []
    text = f"{NEWEST} {newest:%Y-%m-%d}, {age} days before this run"
    return [f"{text}: have the latest records been handed in?"]


def _withheld(quarantine: pd.DataFrame) -> list[str]:
    if quarantine.empty:
        return []
    silent = int(quarantine["acted_on"].eq("").sum())
    text = f"{len(quarantine):,} rows are withheld from the fits"
    return [f"{text}; {len(quarantine) - silent:,} of them stand behind an order all the same."]


def place_note(ledger: pd.DataFrame) -> list[str]:
    """Count readings and repairs that leave their position open, by what became of them."""
    attributed = int(ledger["reason"].str.contains(ATTRIBUTED, regex=False).sum())
    unknown = int(ledger["reason"].str.contains(STILL_OPEN, regex=False).sum())
    if not attributed + unknown:
        return []
    text = f"{attributed + unknown:,} readings and repairs do not name their whole position"
    return [
        f"{text}: {attributed:,} can mean only one place, {unknown:,} stay unknown and are not"
        " spread over the pivots of their units; the ledger says which and from what."
    ]
