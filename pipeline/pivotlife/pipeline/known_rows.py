"""What was known on a given day.

A list for a past day may rest only on rows that were dated and typed in by then. Plans (visits,
bay hours) and the parts catalogue lie ahead by nature and stay.

Not here: corrections of rows, which carry no date.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from pivotlife.pipeline.raw_table import row_files

#: Table -> its event date.
EVENT_DATE: Final[dict[str, str]] = {
    "readings": "reading_date",
    "repairs": "repair_date",
    "lube": "lube_date",
    "odometer": "read_date",
    "meters": "change_date",
    "units": "in_service_date",
}
LATER: Final = "after the as-of date"


def known_at(
    tables: Mapping[str, pd.DataFrame], as_of: pd.Timestamp
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Leave out what lay in the future on a day.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables, with or without true miles.
    as_of : Timestamp

    Returns
    -------
    known : dict of DataFrame
        Rows dated and, where `entered_date` is given, entered on or before the day; a departure
        or a beginning of records after it is blanked.
    later : DataFrame
        `table, row_number, row_id, fate, reason, file` of the rows left out.
    """
    known: dict[str, pd.DataFrame] = {}
    later = []
    for name, table in tables.items():
        date = EVENT_DATE.get(name)
        ahead = table[date].gt(as_of) if date else pd.Series(data=False, index=table.index)
        if "entered_date" in table:
            ahead |= table["entered_date"].gt(as_of)
        known[name] = table[~ahead].reset_index(drop=True)
        later.append(fates(table[ahead], name, "not-needed", LATER))
    known["units"] = _without_later_anchors(known["units"], as_of)
    return known, pd.concat(later, ignore_index=True)


def fates(rows: pd.DataFrame, table: str, fate: str, reason: str) -> pd.DataFrame:
    """Give all these rows of one table the same fate.

    Returns
    -------
    DataFrame
        Columns `table, row_number, row_id, fate, reason, file`.
    """
    columns = {"table": table, "row_number": rows["row_number"], "row_id": rows["row_id"]}
    said = {"fate": fate, "reason": reason, "file": row_files(rows)}
    return pd.DataFrame({**columns, **said}).astype(
        {"table": object, "row_id": object, "fate": object, "reason": object, "file": object}
    )


def _without_later_anchors(units: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    units = units.copy()
    for anchor in ("left_fleet", "records_begin"):
        ahead = units[f"{anchor}_date"].gt(as_of)
        units.loc[ahead, f"{anchor}_date"] = pd.NaT
        for miles in (f"{anchor}_odometer_miles", f"{anchor}_true_miles"):
            if miles in units:
                units.loc[ahead, miles] = float("nan")
    return units


def in_fleet(units: pd.DataFrame, as_of: pd.Timestamp) -> pd.Series:
    """Say which units are in service in this fleet on a day; a unit leaves on its last day."""
    return units["in_service_date"].le(as_of) & ~units["left_fleet_date"].le(as_of)
