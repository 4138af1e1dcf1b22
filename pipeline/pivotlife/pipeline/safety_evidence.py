"""What the safety step reads: every row that may tell of danger, and what has ended dangers.

A row that was withheld from the statistics counts here as long as its unit is known. Its limit is
that of the bushing in service at its pivot; where the position is missing, the smallest limit of
the unit's pivots; where no bushing is known, the stricter metal limit. Readings are held against
the limit as they were read: no correction for load or grease makes them smaller, and none is
known well enough to make them larger.

A renewal counts only for the pivot its line names, or where the line leaves no other pivot that
it can mean. Where the histories merely infer which one it was, the danger stands. A reading
without a position speaks of its whole unit; where the histories infer its pivot, of that as well.

Not here: what is ordered.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data.units_of_measure import NAMED, factor
from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.limits import with_limits
from pivotlife.pipeline.safety_units import drop_departed, known_units
from pivotlife.pipeline.settings import Settings

#: The largest movement that can be a bushing's; more is a wrong unit.
PLAUSIBLE_MM: Final = 25.4
_RENEWING: Final = ("replaced", "fitted")
_PLAY_UNITS: Final = tuple(unit for unit in NAMED if unit not in ("mi", "km", "ft"))


@dataclass(frozen=True)
class SafetyEvidence:
    """Input of the safety step.

    Attributes
    ----------
    evidence : DataFrame
        `source_row, unit_id, pivot_id` ("" = position unknown), `date` (NaT unreadable),
        `recorded_order, finding, teardown, after_repair, play_mm, limit_mm, refuses_grease,
        unreadable_finding, play_unit_unreadable, withheld, contradicted` (a later reading was far
        smaller), `what`.
    clearances : DataFrame
        `unit_id, pivot_id` ("" = the unit), `date, kind` (replaced, fitted, repair,
        good-evidence, took-grease), `source_row`.
    without_unit : int
        Withheld rows that name no known unit: nobody can act on them.
    """

    evidence: pd.DataFrame
    clearances: pd.DataFrame
    without_unit: int


def safety_evidence(
    judged: Judged,
    histories: Histories,
    settings: Settings,
    as_of: pd.Timestamp,
) -> SafetyEvidence:
    """Collect the evidence of danger and what has ended dangers, as known on a day.

    A row counts whether or not its odometer could be placed on true miles.

    Parameters
    ----------
    judged : Judged
        Good and withheld rows.
    histories : Histories
        Bushings in service and good readings.
    settings : Settings
        Limits.
    as_of : Timestamp
        Rows dated or entered later are not known.
    """
    rows = pd.concat(
        [_rows(judged, table, withheld) for table in _READ for withheld in (False, True)],
        ignore_index=True,
    )
    rows = _known_on(rows, as_of)
    known = rows["unit_id"].isin(known_units(judged))
    evidence = drop_departed(rows[known], judged, as_of)
    read = histories.readings
    evidence = pd.concat([evidence, _attributed(evidence, read)], ignore_index=True)
    doubtful = read.loc[read["is_over"] & read["is_suspect"], "source_row"]
    evidence = evidence.assign(
        limit_mm=_limits(evidence, judged, histories, settings),
        contradicted=evidence["source_row"].isin(doubtful),
    )
    return SafetyEvidence(
        evidence=_with_units_in_doubt(evidence)[_EVIDENCE].reset_index(drop=True),
        clearances=_clearances(judged, histories, as_of),
        without_unit=int((~known & rows["withheld"]).sum()),
    )


_EVIDENCE: Final = [
    "source_row", "unit_id", "pivot_id", "date", "recorded_order", "finding", "teardown",
    "after_repair", "play_mm", "limit_mm", "refuses_grease", "unreadable_finding",
    "play_unit_unreadable", "withheld", "contradicted", "what",
]  # fmt: skip

#: Table -> date, play and finding columns.
_READ: Final = {
    "readings": ("reading_date", "free_play", "finding"),
    "repairs": ("repair_date", "teardown_free_play", "teardown_finding"),
}


def _rows(judged: Judged, table: str, withheld: bool) -> pd.DataFrame:
    """Rows of one table in one shape; repairs speak only by their tear-down."""
    date, play, finding = _READ[table]
    frame = (judged.withheld if withheld else judged.tables)[table]
    nothing = pd.Series("", index=frame.index, dtype=object)
    unread = frame.get(f"{finding}_as_written", nothing).fillna("").astype(str)
    rows = pd.DataFrame(
        {
            "source_row": frame["source_row"],
            "unit_id": frame["unit_id"],
            "pivot_id": frame["pivot_id"],
            "node": frame["node"],
            "date": frame[date],
            "entered_date": frame["entered_date"],
            "finding": frame[finding].where(frame[finding] != "", unread),
            "teardown": table == "repairs",
            "after_repair": frame.get("after_repair", nothing) == "yes",
            "play_mm": frame[f"{play}_mm"].astype(float),
            "number": frame.get(f"{play}_number", pd.Series(np.nan, frame.index)).astype(float),
            "refuses_grease": frame.get("takes_grease", nothing) == "no",
            "unreadable_finding": unread != "",
            "withheld": withheld,
            "what": ("withheld: " + frame["reasons"]) if withheld else "",
        }
    )
    rows["recorded_order"] = np.arange(len(frame), dtype=np.int64)
    telling = (rows["finding"] != "") | rows["play_mm"].notna() | rows["number"].notna()
    return rows[telling | rows["refuses_grease"]]


def _known_on(rows: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Rows known on the day; a day that cannot be is replaced by the day of entry, or by none."""
    ahead = rows["date"].gt(as_of)
    entered_later = rows["entered_date"].gt(as_of)
    # A withheld row with a date ahead may be withheld because of that very date.
    doubtful = rows["withheld"] & (rows["what"].str.contains("date") | rows["entered_date"].notna())
    kept = rows[~entered_later & (~ahead | doubtful)]
    date = kept["date"].where(~kept["date"].gt(as_of))
    return kept.assign(date=date.fillna(kept["entered_date"]))


def _limits(
    rows: pd.DataFrame, judged: Judged, histories: Histories, settings: Settings
) -> npt.NDArray[np.float64]:
    """Limit that each row is held against."""
    current = histories.in_service.set_index("pivot_id")
    rubber = current.index[current["bushing_type"] == "rubber-bonded"]
    units = pd.concat([judged.tables["units"], judged.withheld["units"]], ignore_index=True)
    metal = [
        with_limits(rows.assign(bushing_type=kind), units, settings)["limit_mm"].to_numpy()
        for kind in ("threaded", "roller")
    ]
    strictest = np.minimum(metal[0], metal[1])
    own = rows["pivot_id"].map(current["limit_mm"]).to_numpy(dtype=np.float64)
    smallest = current.groupby("unit_id")["limit_mm"].min()
    of_unit = rows["unit_id"].map(smallest).to_numpy(dtype=np.float64)
    all_rubber = rows["unit_id"].isin(current["unit_id"]).to_numpy() & ~(
        rows["unit_id"].isin(current.loc[~current.index.isin(rubber), "unit_id"]).to_numpy()
    )
    nameless = (rows["pivot_id"] == "").to_numpy()
    no_limit = np.where(nameless, all_rubber, rows["pivot_id"].isin(rubber))
    limit = np.where(nameless, of_unit, own)
    return np.where(np.isnan(limit) & ~no_limit, strictest, limit)


def _with_units_in_doubt(rows: pd.DataFrame) -> pd.DataFrame:
    """Mark plays whose unit cannot be known and that may be over the limit in one of them."""
    absurd = rows["withheld"] & rows["play_mm"].gt(PLAUSIBLE_MM) & rows["limit_mm"].notna()
    number = rows["number"].to_numpy()[:, None]
    sizes = number * np.array([factor(unit, "play") for unit in _PLAY_UNITS])
    limit = rows["limit_mm"].to_numpy()[:, None]
    possible = ((sizes >= limit) & (sizes <= PLAUSIBLE_MM)).any(axis=1)
    unread = rows["play_mm"].isna() & rows["number"].notna() & possible
    return rows.assign(play_mm=rows["play_mm"].mask(absurd), play_unit_unreadable=absurd | unread)


def _clearances(judged: Judged, histories: Histories, as_of: pd.Timestamp) -> pd.DataFrame:
    repairs = judged.tables["repairs"]
    repairs = repairs[~repairs["repair_date"].gt(as_of) & ~repairs["entered_date"].gt(as_of)]
    repairs = repairs[repairs["action"] != "regreased"]
    kind = repairs["action"].where(repairs["action"].isin(_RENEWING), "repair")
    repaired = repairs.assign(kind=kind, date=repairs["repair_date"])
    # What the histories only infer ends no danger.
    readings = histories.readings[histories.readings["placed_by"] == ""]
    readings = readings.assign(date=readings["reading_date"])
    good = readings[readings["is_good"] & ~readings["is_suspect"]].assign(kind="good-evidence")
    greased = readings[readings["takes_grease"] == "yes"].assign(kind="took-grease")
    renewals = histories.renewals[histories.renewals["certain"]]
    parts = [repaired, renewals.assign(kind=renewals["action"]), good, greased]
    columns = ["unit_id", "pivot_id", "date", "kind", "source_row"]
    parts = [part[columns] for part in [*parts, _own_teardowns(judged)] if len(part)]
    if not parts:
        return repaired[columns].reset_index(drop=True)
    return pd.concat(parts, ignore_index=True).drop_duplicates(ignore_index=True)


def _attributed(evidence: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Let readings that the histories gave a pivot speak there, too."""
    placed = readings[readings["placed_by"] != ""].set_index("source_row")["pivot_id"]
    rows = evidence[evidence["source_row"].isin(placed.index) & ~evidence["withheld"]]
    return rows.assign(pivot_id=rows["source_row"].map(placed))


def _own_teardowns(judged: Judged) -> pd.DataFrame:
    """Withheld renewals: they end nothing but the danger that their own tear-down tells of."""
    withheld = judged.withheld["repairs"]
    rows = withheld[withheld["action"].isin(_RENEWING)]
    undated = rows["repair_date"].where(rows["repair_date"].isna())
    return rows.assign(kind=rows["action"], pivot_id="", date=undated)
