"""Pivots of one axle that are worth renewing together although none is due by itself.

The long-run cost of a mile, g, is that of a bushing that pays a whole set-up each time. In a job of
n pivots each pays job / n, so that their miles are worth less than g says: of what an end costs,
the planned part is shared and what a late finding costs beyond it is not. With most ends found
late, the careful case,

    k = (job / n + late) / (alone + late),

and an axle without a due pivot is opened for the set of two or more whose waiting until the next
visit costs most beyond k times the worth of its miles, where it does. Only pivots that would be
left and are known well enough to join a job take part. Others may join afterwards.

Where wear is read at each visit this hardly ever comes about and is worth nothing to speak of; on
life curves alone, bushings of like age otherwise wait for one another too long
(`tests/bench/test_opening_early.py`).

Not here: who joins an open axle (`decision_groups`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost
from pivotlife.models.decision_groups import (
    MOST_PIVOTS,
    all_sets,
    by_size,
    job_costs,
    places_of,
)

RULE: Final = "opens-together"
_RENEWED: Final = ("park", "replace")


def opened_together(table: pd.DataFrame, costs: CostItems) -> pd.DataFrame:
    """Open axles whose pivots together cost more by waiting than their miles are worth.

    Parameters
    ----------
    table : DataFrame, one row per line
        unit_id, axle, side, node, pivot_id, bushing_type, decision, rule, mandatory, gain,
        wait_cost, kept_value (currency), visits_waited, visit_miles, next_visit_miles, reason.
    costs : CostItems

    Returns
    -------
    DataFrame
        The same rows: those opened become `replace` under the rule `opens-together`, with
        setup_saved (currency: what sharing takes off the worth of their miles), joined_because,
        and both amounts in the reason.
    """
    out = table.assign(setup_saved=np.nan, joined_because="")
    rows = out.loc[out["pivot_id"].ne("") & out["bushing_type"].isin(list(costs.parts))]
    due = rows["decision"].isin(_RENEWED) | rows["mandatory"].astype(bool)
    axle = [rows["unit_id"], rows["axle"]]
    free = ~due.groupby(axle).transform("any")
    # The best wait is one visit: its amounts are those of waiting until the next.
    known = rows["gain"].notna() & rows["visits_waited"].eq(1)
    known &= rows["kept_value"].gt(0) & rows["wait_cost"].gt(0)
    chosen = rows.loc[free & known & rows["rule"].eq("waiting-costs-less")]
    chosen = chosen.sort_values(["unit_id", "axle", "gain"], kind="stable")
    place = chosen.groupby(["unit_id", "axle"], sort=False).cumcount()
    for size, jobs in by_size(chosen.loc[place < MOST_PIVOTS]):
        members, share = _best_sets(jobs, size, costs)
        _write(out, jobs, members, share, costs)
    return out


def _best_sets(jobs: pd.DataFrame, size: int, costs: CostItems) -> tuple[BoolArray, FloatArray]:
    """Return who is in each axle's set, shape (n, size), and its k, shape (n,)."""
    shape = (len(jobs) // size, size)
    kinds = sorted(set(jobs["bushing_type"]))
    alone = _priced(jobs, {kind: planned_cost(costs, kind) for kind in kinds}).reshape(shape)
    half_gap = (jobs["next_visit_miles"] - jobs["visit_miles"]).to_numpy(dtype=float) / 2.0
    worn = {kind: late_cost(costs, kind, 1.0) - late_cost(costs, kind, 0.0) for kind in kinds}
    late = _priced(jobs, {kind: late_cost(costs, kind, 0.0) for kind in kinds})
    extra = (late + _priced(jobs, worn) * half_gap).reshape(shape) - alone
    wait = jobs["wait_cost"].to_numpy(dtype=float).reshape(shape)
    kept = jobs["kept_value"].to_numpy(dtype=float).reshape(shape)
    best, share = np.zeros(shape[0]), np.ones(shape[0])
    members, places = np.zeros(shape, dtype=bool), places_of(jobs, size, costs)
    for within in all_sets(size):
        if within.sum() < 2:
            continue
        job = job_costs(places, np.broadcast_to(within, shape), costs)
        beyond = extra[:, within].sum(axis=1)
        k = (job + beyond) / (alone[:, within].sum(axis=1) + beyond)
        surplus = wait[:, within].sum(axis=1) - k * kept[:, within].sum(axis=1)
        better = surplus > best + 1e-9
        best, share = np.where(better, surplus, best), np.where(better, k, share)
        members[better] = within
    return members, share


def _priced(jobs: pd.DataFrame, by_type: dict[str, float]) -> FloatArray:
    return np.asarray(jobs["bushing_type"].map(by_type), dtype=np.float64)


def _write(
    out: pd.DataFrame, jobs: pd.DataFrame, members: BoolArray, share: FloatArray, costs: CostItems
) -> None:
    """Put what is opened into the table, in place."""
    size = members.shape[1]
    for number in np.flatnonzero(members.any(axis=1)):
        rows = jobs.iloc[number * size : (number + 1) * size].loc[members[number]]
        names = rows["side"].astype(str) + " " + rows["node"].astype(str)
        wait, kept = (float(rows[name].sum()) for name in ("wait_cost", "kept_value"))
        told = (
            f" Renewed together with {{}}, none of them due by itself: in one job their miles are"
            f" worth {costs.currency} {share[number] * kept:,.0f} and not {costs.currency}"
            f" {kept:,.0f}, waiting costs {costs.currency} {wait:,.0f} in all."
        )
        others = [", ".join(n for n in names if n != name) for name in names]
        out.loc[rows.index, "decision"] = "replace"
        out.loc[rows.index, "rule"] = RULE
        out.loc[rows.index, "setup_saved"] = (1.0 - share[number]) * rows["kept_value"]
        out.loc[rows.index, "joined_because"] = [f"opens the axle with {o}" for o in others]
        out.loc[rows.index, "reason"] = [
            f"{reason}{told.format(o)}" for reason, o in zip(rows["reason"], others, strict=True)
        ]
