"""Labour of the pivots that are done together, and the order in which lines are shown.

The first pivot of a side opens the job; a second one on its shackle, or a third on its side, costs
the smaller increment. The other side, and every other axle, opens again.

Not here: which pivots are worth joining to a job.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.decision_costs import CostItems
from pivotlife.models.safety import PRESSING


def labour_hours(table: pd.DataFrame, costs: CostItems) -> pd.Series:
    """Give each line its hours in the job of its unit.

    Parameters
    ----------
    table : DataFrame, one row per line
        unit_id, axle, side, node, pivot_id ("" = the unit), decision.
    costs : CostItems

    Returns
    -------
    Series of float, hours, same index
        park and replace: share of the unit's job; measure: one reading; else 0. Unit-level
        lines: NaN, their work is not known yet.
    """
    hours = pd.Series(0.0, index=table.index)
    hours = hours.mask(table["decision"] == "measure", costs.hours_measure)
    done = table.loc[table["decision"].isin(["park", "replace"]) & (table["pivot_id"] != "")]
    done = done.assign(shackle=done["node"].astype(str).str.startswith("shackle"))
    # Shackle pivots first: the fixed eye then joins an open side whatever order the lines have.
    done = done.sort_values(["unit_id", "axle", "side", "shackle", "node"], ascending=False)
    side = ["unit_id", "axle", "side"]
    opens = ~done.duplicated(side)
    same_shackle = done["shackle"] & done.duplicated([*side, "shackle"])
    share = np.select(
        [opens, same_shackle],
        [costs.hours_first_pivot, costs.hours_same_shackle],
        default=costs.hours_same_side,
    )
    hours.loc[done.index] = share
    return hours.mask(table["pivot_id"] == "")


def ranked(table: pd.DataFrame) -> pd.DataFrame:
    """Sort lines by urgency and number them from 1.

    Parameters
    ----------
    table : DataFrame
        decision, mandatory (bool), wait_cost, kept_value, unit_id, pivot_id.

    Returns
    -------
    DataFrame
        Park first, then mandatory replacements, mandatory measurements, then what waiting costs
        most beyond the miles kept, then what is left; column rank, fresh index.
    """
    pressing = table["decision"].map(PRESSING).to_numpy()
    mandatory = table["mandatory"].to_numpy(dtype=bool)
    left = table["decision"].to_numpy() == "leave"
    place = np.where(mandatory, pressing, np.where(left, 5, 4))
    keys = pd.DataFrame(
        {
            "place": place,
            "gain": (table["kept_value"] - table["wait_cost"]).to_numpy(dtype=float),
            "unit_id": table["unit_id"].to_numpy(),
            "pivot_id": table["pivot_id"].to_numpy(),
        }
    )
    # Safety orders do not compete on money: within a place they stand by unit.
    keys.loc[keys["place"] < 4, "gain"] = 0.0
    order = keys.sort_values(["place", "gain", "unit_id", "pivot_id"], kind="stable").index
    out = table.iloc[order].reset_index(drop=True)
    return out.assign(rank=np.arange(1, len(out) + 1))
