"""Tiny invented fleets for the history tests: one truck that drives 100 miles a day.

Day 0 is 2020-01-01. An event of day d shows odometer 100 d unless a test overrides it, so a
bushing fitted new on day 0 has age 100 d. Rows are native text rows and go through the real
checks, so a test sees what the pipeline sees. Every number is invented.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from pivotlife.pipeline.histories import Histories, build_histories
from pivotlife.pipeline.judge import Judged, judge
from pivotlife.pipeline.known_rows import known_at
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.safety_evidence import SafetyEvidence, safety_evidence
from pivotlife.pipeline.settings import Settings, SourceSettings
from pivotlife.pipeline.suspects import Screened, screen
from pivotlife.pipeline.true_miles import TrueMiles, true_miles
from pivotlife.pipeline.visits import next_visits

FIRST_DAY = dt.date(2020, 1, 1)
MILES_PER_DAY = 100
PIVOT = "U1.1.left.fixed-eye"
SIX = [(side, node) for side in ("left", "right")
       for node in ("fixed-eye", "shackle-lower", "shackle-upper")]  # fmt: skip

Row = dict[str, Any]


def date(day: int) -> str:
    return (FIRST_DAY + dt.timedelta(days=day)).isoformat()


def stamp(day: int) -> pd.Timestamp:
    return pd.Timestamp(date(day))


def unit(**over: Any) -> Row:
    row = {
        "unit_id": "U1",
        "depot": "Northpit",
        "duty": "line-haul",
        "road_salt": "yes",
        "in_service_date": date(0),
        "in_service_odometer": 0,
    }
    return row | over


def one_pivot(**over: Any) -> Row:
    row = {"unit_id": "U1", "axle": 1, "side": "left", "node": "fixed-eye"}
    return row | {"bushing_type": "threaded", "fitted_odometer": 0} | over


def six_pivots(**over: Any) -> list[Row]:
    return [one_pivot(side=side, node=node, **over) for side, node in SIX]


def _at(day: int, column: str) -> Row:
    return {column: date(day), "odometer": day * MILES_PER_DAY}


def reading(day: int, play: object = "", **over: Any) -> Row:
    place = {"unit_id": "U1", "axle": 1, "side": "left", "node": "fixed-eye"}
    play_cells = {"free_play": play, "free_play_unit": "mm" if play != "" else ""}
    return place | _at(day, "reading_date") | play_cells | over


def repair(day: int, reason: str = "wear", **over: Any) -> Row:
    place = {"unit_id": "U1", "axle": 1, "side": "left", "node": "fixed-eye"}
    return place | _at(day, "repair_date") | {"action": "replaced", "reason": reason} | over


def nowhere(row: Row) -> Row:
    return row | {"axle": "", "side": "", "node": ""}


def lube(day: int, **over: Any) -> Row:
    return {"unit_id": "U1"} | _at(day, "lube_date") | {"all_took_grease": "yes"} | over


def odometer(day: int, **over: Any) -> Row:
    return {"unit_id": "U1"} | _at(day, "read_date") | {"source": "dash"} | over


def visit(day: int, **over: Any) -> Row:
    return {"unit_id": "U1", "visit_date": date(day)} | over


def meter(day: int, old: float, new: float) -> Row:
    return {"unit_id": "U1", "change_date": date(day), "old_reading": old, "new_reading": new}


def settings(**over: Any) -> Settings:
    return Settings(sources={"units": SourceSettings(path="units.csv")}, **over)


@dataclass(frozen=True)
class Fleet:
    """Tables of a tiny fleet and what the pipeline makes of them at `today`."""

    tables: Mapping[str, Sequence[Row]]
    today: int
    settings: Settings

    @cached_property
    def judged(self) -> Judged:
        return judge({name: _raw(name, rows) for name, rows in self.tables.items()})

    @cached_property
    def placed(self) -> TrueMiles:
        return true_miles(self.judged.tables, self.settings.odometer.daily_maximum)

    @cached_property
    def histories(self) -> Histories:
        return build_histories(self.placed.tables, self.settings, stamp(self.today))

    @cached_property
    def visits(self) -> pd.DataFrame:
        return next_visits(self.placed.tables, self.placed.points, self.settings, stamp(self.today))

    @cached_property
    def safety(self) -> SafetyEvidence:
        return safety_evidence(self.judged, self.histories, self.settings, stamp(self.today))

    @cached_property
    def screened(self) -> Screened:
        known, _ = known_at(self.judged.tables, stamp(self.today))
        return screen(
            known, self.judged, self.placed, self.histories, self.settings, stamp(self.today)
        )

    def suspects(self, kind: str = "") -> pd.DataFrame:
        found = self.screened.suspects
        return found[found["kind"] == kind] if kind else found

    def life(self, number: int = 1, pivot_id: str = PIVOT) -> pd.Series:
        lives = self.histories.lives
        return lives[lives["life_id"] == f"{pivot_id}#{number}"].iloc[0]

    def fate(self, table: str, place: int = 0) -> tuple[str, str]:
        """Fate and reason of the table's row, counted from 0."""
        fates = self.histories.fates
        row = fates[(fates["table"] == table) & (fates["row_number"] == place + 2)].iloc[0]
        return row["fate"], row["reason"]


def fleet(*, today: int = 2000, options: Settings | None = None, **tables: Sequence[Row]) -> Fleet:
    """Build a fleet; units and pivots default to one truck with one original threaded pivot."""
    given = {"units": [unit()], "pivots": [one_pivot()], "readings": [], "repairs": []} | tables
    for table, prefix in (("readings", "RD"), ("repairs", "RP")):
        id_column = table[:-1] + "_id"
        given[table] = [
            {id_column: f"{prefix}-{n}"} | dict(row) for n, row in enumerate(given[table])
        ]
    return Fleet(given, today, options or settings())


def _raw(name: str, rows: Sequence[Row]) -> RawTable:
    frame = pd.DataFrame(list(rows)).fillna("").astype(str) if rows else pd.DataFrame()
    frame["row_number"] = range(2, len(frame) + 2)
    return RawTable(name, Path(f"{name}.csv"), frame)
