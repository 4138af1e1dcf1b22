"""What every line of the shortlist rests on, so that the next run can say why it moved.

The rows of a pivot are marked by one hash that does not depend on their order in the file; rows
without a position, and the unit's and pivot's own rows, likewise.

Not here: comparing (`models.changes`), reading the last run (`last_run`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np
import pandas as pd

from pivotlife.models.changes import BASIS_COLUMNS
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Intake, Records

EVIDENCE = ("readings", "repairs")
OWN = ("units", "pivots")
#: Columns that tell where a row stands, or that other rows have a say in.
NOT_THEIR_OWN = ("row_number", "row_id", "source_row", "file", "true_miles", "miles_mark")


def line_basis(
    shortlist: pd.DataFrame, intake: Intake, records: Records, settings: Settings, day: dt.date
) -> pd.DataFrame:
    """Describe what the lines rest on.

    Parameters
    ----------
    shortlist : DataFrame
        The finished list.
    intake : Intake
        For the withheld rows.
    records : Records
        For the rows that were known on the day, and the visits.
    settings : Settings
        For the overrides.
    day : date
        Today.

    Returns
    -------
    DataFrame
        `BASIS_COLUMNS`, row for row with the shortlist; next_visit_odometer_miles in miles.
    """
    evidence, own = (_marks(intake, records, names) for names in (EVIDENCE, OWN))
    visits = records.visits.set_index("unit_id")
    unit = shortlist["unit_id"]
    running = {
        one.pivot_id: f"{one.decision} by {one.by} until {one.until}: {one.reason}"
        for one in settings.overrides
        if one.until >= day
    }
    return pd.DataFrame(
        {
            "unit_id": unit,
            "pivot_id": shortlist["pivot_id"],
            "records": _of_line(shortlist, evidence),
            "own_rows": _of_line(shortlist, own),
            "override": shortlist["pivot_id"].map(running).fillna(""),
            "visit_source": unit.map(visits["visit_source"]).fillna(""),
            "next_visit_date": unit.map(visits["next_visit_date"]),
            "next_visit_odometer_miles": unit.map(visits["next_visit_miles"]),
        }
    )[list(BASIS_COLUMNS)]


def _marks(intake: Intake, records: Records, names: Iterable[str]) -> pd.Series:
    """Sum the hashes of all known rows by (unit, pivot); pivot "" = no position."""
    parts = []
    for name in names:
        for rows in (records.placed.tables[name], intake.judged.withheld[name]):
            own = [c for c in rows if c not in NOT_THEIR_OWN and not str(c).endswith("_true_miles")]
            cells = rows[own].astype(str)
            part = pd.DataFrame(
                {
                    "unit_id": rows["unit_id"].astype(str),
                    "pivot_id": rows["pivot_id"].astype(str) if "pivot_id" in rows else "",
                    "mark": pd.util.hash_pandas_object(cells, index=False).to_numpy(),
                }
            )
            parts.append(part)
    rows = pd.concat(parts, ignore_index=True).astype({"mark": np.uint64})
    # Sums wrap around at 2**64: what is wanted is a mark, not a size.
    return rows.groupby(["unit_id", "pivot_id"])["mark"].sum()


def _of_line(shortlist: pd.DataFrame, marks: pd.Series) -> pd.Series:
    """Mark of the pivot's rows and of its unit's rows without a position, as one text."""
    nothing = np.uint64(0)
    found = marks.to_dict()
    texts = [
        f"{int(found.get((unit, pivot), nothing)):016x}"
        + (f"-{int(found.get((unit, ''), nothing)):016x}" if pivot else "")
        for unit, pivot in zip(shortlist["unit_id"], shortlist["pivot_id"], strict=True)
    ]
    return pd.Series(texts, shortlist.index, dtype=object)
