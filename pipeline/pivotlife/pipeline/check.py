"""Read the sources, show what is in them and every fault, change nothing.

The only thing written is the report: each withheld row word for word with all its reasons.

Not here: fits, decisions, pages.
"""

from __future__ import annotations

import datetime as dt
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.cells import cells_of
from pivotlife.pipeline.errors import SourceError, cannot_write
from pivotlife.pipeline.histories import build_histories
from pivotlife.pipeline.judge import Judged, judge
from pivotlife.pipeline.known_rows import known_at
from pivotlife.pipeline.profile import profile_table
from pivotlife.pipeline.profile_text import WIDTH, profile_text
from pivotlife.pipeline.proposal_text import propose_all
from pivotlife.pipeline.publish import csv_text
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.run_notes import sheet_note
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.sources import native_tables, read_handed_in
from pivotlife.pipeline.suspect_events import DATED
from pivotlife.pipeline.suspects import screen
from pivotlife.pipeline.true_miles import true_miles

SHOWN = 40
_WRAPPED: Final = textwrap.TextWrapper(
    WIDTH, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
)
#: Words that let a pivot pass, by column: what was mapped to them is counted aloud.
HARMLESS = {
    "finding": ("ok", ""),
    "teardown_finding": ("ok", ""),
    "takes_grease": ("yes", "not-greasable", ""),
    "free_play": ("",),
    "teardown_free_play": ("",),
}


@dataclass(frozen=True)
class CheckOutcome:
    """What `check` found.

    Parameters
    ----------
    text : str
        The profile and the faults, to be printed.
    faults : int
        How many rows were withheld.
    report : Path
        File that lists all of them.
    refused : str
        Why the rows could not be looked at; "" when they were.
    """

    text: str
    faults: int
    report: Path
    refused: str = ""


def check_sources(settings: Settings, report: Path | None = None) -> CheckOutcome:
    """Check every row of every source.

    Parameters
    ----------
    settings : Settings
        Names the sources.
    report : Path, optional
        Where the withheld rows go; `check.csv` in the output folder when left out.

    Returns
    -------
    CheckOutcome
        Text to print, number of faults, the report's place.

    Raises
    ------
    SourceError
        When a source cannot be read at all, or the report cannot be written.
    SettingsError
        When a limit's unit is unreadable.

    Notes
    -----
    Where headers are missing the rows cannot be judged; the outcome then holds the proposed
    mapping and the reason.
    """
    target = report or settings.out_folder / "check.csv"
    handed_in = read_handed_in(settings)
    proposal = propose_all(handed_in, settings)
    try:
        raw = native_tables(handed_in, settings)
    except SourceError as fault:
        return CheckOutcome(proposal, 0, target, str(fault))
    del handed_in
    judged = judge(raw)
    _write(target, judged.quarantine)
    day = newest_day(judged)
    lines = [profile_text(records_profile(raw, judged, settings, day), day)]
    quieted = [f"sheets: {note}" for note in sheet_note(raw)] + _quieted(raw)
    lines += ["", *quieted] if quieted else []
    lines += ["", *_fault_lines(raw, judged)]
    lines.append(f"report: {target}")
    if proposal:
        lines += ["", proposal.rstrip()]
    return CheckOutcome("\n".join(lines), len(judged.quarantine), target)


def _write(target: Path, quarantine: pd.DataFrame) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(csv_text(quarantine), encoding="utf-8")
    except OSError as fault:
        raise cannot_write(target, fault, "--report or publish.out") from None


def newest_day(judged: Judged) -> pd.Timestamp:
    """Day of the newest record that does not lie ahead; today where there is none."""
    today = pd.Timestamp(dt.date.today())  # noqa: DTZ011  a day as the shop's calendar shows it
    dates = [judged.tables.some(table, column)[column] for table, column in DATED.items()]
    days = pd.concat(dates, ignore_index=True)
    newest = days[days <= today].max()
    return today if pd.isna(newest) else pd.Timestamp(newest)


def records_profile(
    raw: dict[str, RawTable], judged: Judged, settings: Settings, day: pd.Timestamp
) -> pd.DataFrame:
    """Build the records as a run on that day would, and count what they hold."""
    known, _ = known_at(judged.tables, day)
    placed = true_miles(known, settings.odometer.daily_maximum)
    histories = build_histories(placed.tables, settings, day)
    used = screen(known, judged, placed, histories, settings, day)
    return profile_table(raw, judged, used.placed, used.histories, used.suspects, day)


def _quieted(raw: dict[str, RawTable]) -> list[str]:
    """Count the rows whose own word was mapped to something harmless: only the fleet knows it."""
    lines = []
    for name, table in raw.items():
        for column in (c for c in HARMLESS if c in table.dialect.meanings and c in table.frame):
            facts = column_facts(CONTRACTS[name])[column]
            cells = cells_of(table.frame[column])
            meant = table.dialect.meant(column, cells, facts)
            rows = np.bincount(cells.codes, minlength=len(cells.texts))
            lines += [
                f"{name}: {column} {written!r} counts as {now or 'not said'!r} in {count:,} rows"
                for written, now, count in zip(cells.texts, meant.texts, rows, strict=True)
                if written != now and now in HARMLESS[column] and count
            ]
    return lines


def _fault_lines(raw: dict[str, RawTable], judged: Judged) -> list[str]:
    faults = judged.quarantine
    if faults.empty:
        return ["no faults"]
    lines = [f"{len(faults):,} rows withheld (out of the fits, never out of the safety list):"]
    for row in faults.head(SHOWN).to_dict("records"):
        name = f" ({row['row_id']})" if row["row_id"] else ""
        file = row["file"] or raw[row["table"]].path.name
        told = f"  {file} row {row['row_number']}{name}: {row['reasons']}"
        lines += _WRAPPED.wrap(told)
    if len(faults) > SHOWN:
        lines.append(f"  ... and {len(faults) - SHOWN:,} more in the report")
    return lines
