"""Which pivots of one axle are renewed together while it is open.

Setting up is paid once: the first pivot of a side opens it, its shackle partner or the rest of the
side join for less, alignment and planned downtime come once. For every set of pivots

    total = parts + labour + alignment + downtime of the set - sum of (planned + W - v) in the set,

planned + W being what a pivot costs when it waits for its own renewal and v what the miles until
then are worth. The set with the least total is chosen by trying all of them. A single due pivot is
in it exactly when its own rule renews it; a partner joins when the miles it gives up are worth no
more than the set-up it saves and the waiting it spares; several together may pay to open an axle
where none is due by itself. What safety orders renew is always in the set.

Downtime and alignment are counted by axle. Not here: bay hours, budgets, what a kit holds.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.decision_costs import CostItems, planned_cost

#: Rules under which a pivot may be renewed for company; the others lack the knowledge for it.
JOINABLE: Final = frozenset({"waiting-costs-less", "uncertain"})
#: Pivots of one axle of which all sets are tried.
MOST_PIVOTS: Final = 8
_RENEWED: Final = ("park", "replace")


def grouped(table: pd.DataFrame, costs: CostItems) -> pd.DataFrame:
    """Add to each axle's job the pivots that it pays to renew with it.

    Parameters
    ----------
    table : DataFrame, one row per line
        unit_id, axle, side, node, pivot_id, bushing_type, decision, rule, mandatory, gain
        (currency: worth less cost of the best wait), reason.
    costs : CostItems

    Returns
    -------
    DataFrame
        The same rows: those that join become `replace` under the rule `joins-job`, with
        setup_saved (currency), joined_because, and both amounts in the reason.
    """
    out = table.assign(setup_saved=np.nan, joined_because="")
    priced = out["bushing_type"].isin(list(costs.parts)) & out["pivot_id"].ne("")
    renewed = out["decision"].isin(_RENEWED)
    may = out["rule"].isin(JOINABLE) & ~out["mandatory"].astype(bool) & out["gain"].notna()
    chosen = out.loc[priced & (renewed | may)]
    if chosen.empty:
        return out
    chosen = chosen.assign(must=renewed.loc[chosen.index], order=chosen["gain"].fillna(-np.inf))
    chosen = chosen.sort_values(
        ["unit_id", "axle", "must", "order"], ascending=[True, True, False, True], kind="stable"
    )
    place = chosen.groupby(["unit_id", "axle"], sort=False).cumcount()
    chosen = chosen.loc[place < MOST_PIVOTS]
    for size, jobs in _by_size(chosen):
        joined, saved = _best_sets(jobs, size, costs)
        _write(out, jobs, joined, saved, costs)
    return out


def _by_size(chosen: pd.DataFrame) -> list[tuple[int, pd.DataFrame]]:
    """Return axles with equally many candidates together, each axle's rows in one block."""
    size = chosen.groupby(["unit_id", "axle"], sort=False)["pivot_id"].transform("size")
    return [(int(n), chosen.loc[size == n]) for n in sorted(size.unique()) if n > 1]


def _best_sets(jobs: pd.DataFrame, size: int, costs: CostItems) -> tuple[BoolArray, FloatArray]:
    """Return who is in each axle's best set and the set-up each member saves, shape (n, size)."""
    shape = (len(jobs) // size, size)
    left = (jobs["side"] == "left").to_numpy().reshape(shape)
    shackle = jobs["node"].astype(str).str.startswith("shackle").to_numpy().reshape(shape)
    must = jobs["must"].to_numpy(dtype=bool).reshape(shape)
    alone = jobs["bushing_type"].map({k: planned_cost(costs, k) for k in costs.parts})
    parts: FloatArray = np.asarray(jobs["bushing_type"].map(dict(costs.parts)), dtype=np.float64)
    parts = parts.reshape(shape)
    worth = (alone - jobs["gain"]).to_numpy(dtype=float).reshape(shape)
    worth = np.where(must, 0.0, worth)
    best = np.full(shape[0], np.inf)
    members = np.zeros(shape, dtype=bool)
    for number in range(1, 2**size):
        within = np.array([bool(number >> bit & 1) for bit in range(size)])
        total = _job_cost(np.broadcast_to(within, shape), left, shackle, parts, costs)
        total = total - (worth * within).sum(axis=1)
        total = np.where((must & ~within).any(axis=1), np.inf, total)
        better = total < best - 1e-9
        best = np.where(better, total, best)
        members[better] = within
    members[~must.any(axis=1) & (best >= 0.0)] = False
    members |= must
    saved = np.full(shape, np.nan)
    whole = _job_cost(members, left, shackle, parts, costs)
    own: FloatArray = np.asarray(alone, dtype=np.float64).reshape(shape)
    for bit in range(size):
        without = members.copy()
        without[:, bit] = False
        saved[:, bit] = own[:, bit] - (whole - _job_cost(without, left, shackle, parts, costs))
    return members, saved


def _job_cost(
    within: BoolArray, left: BoolArray, shackle: BoolArray, parts: FloatArray, costs: CostItems
) -> FloatArray:
    """Cost of renewing a set in one job, shape (n,)."""
    hours = np.zeros(len(within))
    for side in (left, ~left):
        done = within & side
        shackles = (done & shackle).sum(axis=1)
        others = (done & ~shackle).sum(axis=1)
        more = np.maximum(shackles - 1, 0)
        eyes = np.where(shackles > 0, others, np.maximum(others - 1, 0))
        hours += costs.hours_first_pivot * done.any(axis=1)
        hours += costs.hours_same_shackle * more + costs.hours_same_side * eyes
    once = costs.alignment * costs.alignment_share
    once += costs.downtime_days_planned * costs.downtime_per_day
    opened = within.any(axis=1)
    return np.asarray((parts * within).sum(axis=1) + hours * costs.shop_rate + once * opened)


def _write(
    out: pd.DataFrame, jobs: pd.DataFrame, members: BoolArray, saved: FloatArray, costs: CostItems
) -> None:
    """Put what joins into the table, in place."""
    joins = members.ravel() & ~jobs["must"].to_numpy(dtype=bool)
    rows = jobs.loc[joins]
    if rows.empty:
        return
    names = jobs["side"].astype(str) + " " + jobs["node"].astype(str)
    told = names.where(pd.Series(members.ravel(), jobs.index), "")
    key = [jobs["unit_id"], jobs["axle"]]
    company = told.groupby(key, sort=False).transform(
        lambda cells: ", ".join(c for c in cells if c)
    )
    due = jobs["must"].groupby(key, sort=False).transform("any")
    amounts = pd.Series(saved.ravel(), jobs.index)
    because, reasons = [], []
    told_rows = zip(rows.index, rows["gain"].to_numpy(dtype=float), rows["reason"], strict=True)
    for row, gain, reason in told_rows:
        with_whom = ", ".join(n for n in company[row].split(", ") if n != names[row])
        how = "joins the job on" if due[row] else "opened together with"
        because.append(f"{how} {with_whom}")
        reasons.append(
            f"{reason} Renewed while the axle is open ({how} {with_whom}): that saves"
            f" {costs.currency} {amounts[row]:,.0f} of set-up against {costs.currency} {gain:,.0f}"
            " that waiting for its own renewal is worth."
        )
    out.loc[rows.index, "decision"] = "replace"
    out.loc[rows.index, "rule"] = "joins-job"
    out.loc[rows.index, "setup_saved"] = amounts.loc[rows.index]
    out.loc[rows.index, "joined_because"] = because
    out.loc[rows.index, "reason"] = reasons
