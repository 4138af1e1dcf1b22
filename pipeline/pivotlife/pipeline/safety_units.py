"""Which units a row of danger can still be acted on.

A unit is known when the units table names it, also in a row that was itself withheld. It has
left when its departure is on record; a number that was given to a second truck is still here,
but what was written before the first one left belongs to the first.

Not here: what the rows say.
"""

from __future__ import annotations

import pandas as pd

from pivotlife.pipeline.judge import Judged


def known_units(judged: Judged) -> pd.Index[str]:
    """Numbers that the units table names, in good or withheld rows."""
    names = [frame["units"]["unit_id"] for frame in (judged.tables, judged.withheld)]
    return pd.Index({name for given in names for name in given if name}, dtype=object)


def drop_departed(rows: pd.DataFrame, judged: Judged, as_of: pd.Timestamp) -> pd.DataFrame:
    """Leave out rows of units that left the fleet.

    Parameters
    ----------
    rows : DataFrame
        Columns `unit_id, date`.
    judged : Judged
    as_of : Timestamp

    Returns
    -------
    DataFrame
        Rows of units with a row of the units table that had not left by then. Of a number used
        twice, rows up to the first truck's departure are left out when the second came later.
        A departure that may itself be the fault of a withheld row is not believed.
    """
    good, faulty = judged.tables["units"], judged.withheld["units"]
    believable = ~faulty["reasons"].str.contains("left_fleet")
    left = pd.concat(
        [good["left_fleet_date"], faulty["left_fleet_date"].where(believable)], ignore_index=True
    )
    trucks = pd.DataFrame(
        {
            "unit_id": pd.concat([good["unit_id"], faulty["unit_id"]], ignore_index=True),
            "came": pd.concat([good["in_service_date"], faulty["in_service_date"]]).to_numpy(),
            "left": left,
        }
    )
    trucks["gone"] = trucks["left"].le(as_of)
    here = trucks[~trucks["gone"]]
    gone = trucks[trucks["gone"]].groupby("unit_id")["left"].max()
    came = here.groupby("unit_id")["came"].min()
    last_of_first = rows["unit_id"].map(gone)
    belongs_to_first = rows["date"].le(last_of_first) & rows["unit_id"].map(came).gt(last_of_first)
    return rows[rows["unit_id"].isin(here["unit_id"]) & ~belongs_to_first]
