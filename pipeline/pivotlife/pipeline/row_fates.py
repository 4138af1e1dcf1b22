"""The fate of every row that the histories read: what it became, and why.

Not here: rows that never got this far (withheld, repeated, unplaced).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.pipeline.known_rows import fates
from pivotlife.pipeline.missing_places import ATTRIBUTED, UNKNOWN
from pivotlife.pipeline.odometer_points import SLACK_DAYS

#: Tables whose rows stand beside the lives.
CONTEXT: Final = {
    "units": "describes the unit",
    "lube": "lubrication",
    "visits": "planned visit",
    "kits": "parts catalogue",
    "capacity": "bay hours",
    "gauge_study": "gauge study",
    "meters": "meter change",
}
BEFORE_SERVICE: Final = "dated before its unit was in service: another truck of that number?"
AFTER_DEPARTURE: Final = "dated after its unit left the fleet"
NO_UNIT: Final = "its unit is not in the units table or not yet in service"
NOTHING_FITTED: Final = "no bushing was in this pivot then: only its odometer is used"
SECOND_PIVOT_ROW: Final = "a second row for this pivot; the first one counts"


def context_fates(tables: Mapping[str, pd.DataFrame]) -> list[pd.DataFrame]:
    """Give the rows that stand beside the lives their fate."""
    beside = [fates(tables[name], name, "context", why) for name, why in CONTEXT.items()]
    return [*beside, fates(tables["odometer"], "odometer", "odometer-only", "odometer value")]


def reading_fates(readings: pd.DataFrame, flagged: pd.DataFrame) -> pd.DataFrame:
    """Give readings their fate: part of a life's readings, or only an odometer value.

    Parameters
    ----------
    readings : DataFrame
        All known readings with `span` (-1 without one).
    flagged : DataFrame
        Those with a span, flagged, with `contradicts` (good after bad evidence) and `placed_by`.
    """
    reason = np.where(
        readings["pivot_id"] == "",
        UNKNOWN,
        NOTHING_FITTED,
    )
    loose = fates(readings, "readings", "odometer-only", "").assign(reason=reason)
    nothing = flagged["free_play_mm"].isna() & (flagged["finding"] == "")
    said = np.select(
        [
            flagged["is_suspect"] & flagged["is_over"],
            flagged["is_suspect"],
            flagged["contradicts"],
            nothing,
        ],
        [
            "far over the limit, yet good afterwards: a mistaken unit, no evidence either way",
            "a zero that may mean not measured",
            "good after bad evidence: it undoes nothing",
            "neither play nor finding",
        ],
        "",
    )
    where = f"{ATTRIBUTED} " + flagged["pivot_id"] + " by " + flagged["placed_by"]
    told = where.where(flagged["placed_by"] != "", "")
    both = told + np.where((told != "") & (said != ""), "; ", "") + said
    used = fates(flagged, "readings", "reading", "").assign(reason=both)
    return pd.concat([loose[(readings["span"] < 0).to_numpy()], used], ignore_index=True)


def repair_fates(repairs: pd.DataFrame, notes: Mapping[int, tuple[str, str]]) -> pd.DataFrame:
    """Give repairs their fate; what ended or began no life is context."""
    usual = ("context", "neither fits nor removes a bushing")
    told = [notes.get(index, usual) for index in repairs.index]
    frame = fates(repairs, "repairs", "context", "")
    return frame.assign(fate=[fate for fate, _ in told], reason=[why for _, why in told])


def drop_strangers(
    tables: dict[str, pd.DataFrame], present: pd.DataFrame
) -> tuple[dict[str, pd.DataFrame], list[pd.DataFrame]]:
    """Take out rows of units that are not in the fleet at all, or dated after they left.

    Parameters
    ----------
    tables : dict of DataFrame
        What was known.
    present : DataFrame, index unit_id
        `in_service_date` and `left_fleet_date` (NaT while in the fleet) of every unit in service
        so far.

    Returns
    -------
    tables : dict of DataFrame
    dropped : list of DataFrame
        Fates of the rows taken out.
    """
    dated = {
        "readings": "reading_date",
        "repairs": "repair_date",
        "lube": "lube_date",
        "odometer": "read_date",
        "meters": "change_date",
        "pivots": None,
    }
    first = pd.to_datetime(present["in_service_date"]) - pd.Timedelta(days=SLACK_DAYS)
    last = pd.to_datetime(present["left_fleet_date"])
    kept, dropped = dict(tables), []
    for name, date in dated.items():
        table = tables[name]
        strange = ~table["unit_id"].isin(present.index)
        early = late = pd.Series(data=False, index=table.index)
        if date is not None:
            early = table[date].lt(table["unit_id"].map(first)) & ~strange
            late = table[date].gt(table["unit_id"].map(last)) & ~strange & ~early
        kept[name] = table[~strange & ~early & ~late].reset_index(drop=True)
        dropped += [
            fates(table[strange], name, "not-needed", NO_UNIT),
            fates(table[early], name, "not-needed", BEFORE_SERVICE),
            fates(table[late], name, "not-needed", AFTER_DEPARTURE),
        ]
    return kept, dropped
