"""Which pivots of one axle are renewed together while it is open.

Setting up is paid once: the first pivot of a side opens it, its shackle partner or the rest of the
side join for less, alignment and planned downtime come once. For every set of pivots renewed now

    total(set) = job(set) + later(rest),  job = parts + labour + alignment + downtime,
    later(rest) = least over ways to part the rest into later jobs of
                  sum over jobs of (job(block) - pivots in it x least gain in it),

gain being what the miles until a pivot's own renewal are worth beyond what waiting costs. A later
job comes when its first pivot is due; the others then give up what is left of their own gain. The
set with the least total is chosen by trying all of them. A partner joins when the miles it gives up
are worth no more than the set-up it saves and the waiting it spares, against a renewal by itself
and against one with its neighbours later on. Waiting one more visit keeps every member of a set
that is not due its miles, and the same job can be done then: so none is opened here that has no due
pivot (`decision_together` finds those whose pivots are due in company). What safety orders renew is
always in the set.

Downtime and alignment are counted by axle. Not here: bay hours, budgets, what a kit holds.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.decision_costs import CostItems, planned_cost

#: Rules under which a pivot may be renewed for company; the others lack the knowledge for it.
JOINABLE: Final = frozenset({"waiting-costs-less", "uncertain"})
#: Pivots of one axle of which all sets are tried.
MOST_PIVOTS: Final = 8
#: Rule of a pivot that is renewed because its axle is open anyway.
RULE: Final = "joins-job"
_RENEWED: Final = ("park", "replace")


def grouped(table: pd.DataFrame, costs: CostItems) -> pd.DataFrame:
    """Add to each axle's job the pivots that it pays to renew with it.

    Parameters
    ----------
    table : DataFrame, one row per line
        unit_id, axle, side, node, pivot_id, bushing_type, decision, rule, mandatory, gain
        (currency: worth less cost of the best wait), reason; optional setup_saved and
        joined_because of what is renewed in company already.
    costs : CostItems

    Returns
    -------
    DataFrame
        The same rows: those that join become `replace` under the rule `joins-job`, with
        setup_saved (currency), joined_because, and both amounts in the reason.
    """
    out = table.copy()
    if "setup_saved" not in out:
        out = out.assign(setup_saved=np.nan, joined_because="")
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
    for size, jobs in by_size(chosen):
        joined, saved = _best_sets(jobs, size, costs)
        _write(out, jobs, joined, saved, costs)
    return out


def by_size(chosen: pd.DataFrame) -> list[tuple[int, pd.DataFrame]]:
    """Return axles with equally many candidates together, each axle's rows in one block.

    Axles with a single candidate are left out.
    """
    size = chosen.groupby(["unit_id", "axle"], sort=False)["pivot_id"].transform("size")
    return [(int(n), chosen.loc[size == n]) for n in sorted(size.unique()) if n > 1]


def _best_sets(jobs: pd.DataFrame, size: int, costs: CostItems) -> tuple[BoolArray, FloatArray]:
    """Return who is in each axle's best set and the set-up each member saves, shape (n, size)."""
    shape = (len(jobs) // size, size)
    must = jobs["must"].to_numpy(dtype=bool).reshape(shape)
    gain: FloatArray = np.asarray(jobs["gain"], dtype=np.float64).reshape(shape)
    alone = jobs["bushing_type"].map({k: planned_cost(costs, k) for k in costs.parts})
    sets, places = all_sets(size), places_of(jobs, size, costs)
    cost = [job_costs(places, np.broadcast_to(s, shape), costs) for s in sets]
    later = _later_costs(cost, np.maximum(np.nan_to_num(gain), 0.0))
    best = np.full(shape[0], np.inf)
    members = np.zeros(shape, dtype=bool)
    for number, within in enumerate(sets):
        total = cost[number] + later[-1 - number]
        total = np.where((must & ~within).any(axis=1), np.inf, total)
        better = total < best - 1e-9
        best = np.where(better, total, best)
        members[better] = within
    saved = np.full(shape, np.nan)
    whole = job_costs(places, members, costs)
    own: FloatArray = np.asarray(alone, dtype=np.float64).reshape(shape)
    for bit in range(size):
        without = members.copy()
        without[:, bit] = False
        saved[:, bit] = own[:, bit] - (whole - job_costs(places, without, costs))
    return members, saved


def all_sets(size: int) -> list[BoolArray]:
    """List every set of so many pivots; bit by bit its number tells who is in it."""
    return [np.array([bool(number >> bit & 1) for bit in range(size)]) for number in range(2**size)]


class Places(NamedTuple):
    """Where the pivots of each axle sit and what their kits cost, arrays of shape (axles, pivots).

    `left` and `shackle` say which are on the left side, and which on a shackle.
    """

    left: BoolArray
    shackle: BoolArray
    parts: FloatArray


def places_of(jobs: pd.DataFrame, size: int, costs: CostItems) -> Places:
    """Lay out rows with side, node and bushing_type, the pivots of one axle after another's."""
    shape = (len(jobs) // size, size)
    left = (jobs["side"] == "left").to_numpy().reshape(shape)
    shackle = jobs["node"].astype(str).str.startswith("shackle").to_numpy().reshape(shape)
    parts: FloatArray = np.asarray(jobs["bushing_type"].map(dict(costs.parts)), dtype=np.float64)
    return Places(left, shackle, parts.reshape(shape))


def _later_costs(cost: list[FloatArray], gain: FloatArray) -> list[FloatArray]:
    """Least cost of renewing each set in later jobs, by the set's number.

    Pivots stand in the order of their gains, so the lowest in a set is the first to be due, and
    some job holds it: all jobs that do are tried, the rest being known already.
    """
    later = [np.zeros(len(gain))]
    for number in range(1, len(cost)):
        first = (number & -number).bit_length() - 1
        least = np.full(len(gain), np.inf)
        block = number
        while block:
            if block >> first & 1:
                whole = cost[block] - block.bit_count() * gain[:, first] + later[number ^ block]
                least = np.minimum(least, whole)
            block = (block - 1) & number
        later.append(least)
    return later


def job_costs(places: Places, within: BoolArray, costs: CostItems) -> FloatArray:
    """Cost of renewing a set of each axle's pivots in one job, currency.

    Parameters
    ----------
    places : Places
    within : ndarray of bool, shape (axles, pivots)
    costs : CostItems

    Returns
    -------
    ndarray, shape (axles,)
    """
    left, shackle, parts = places
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
    amounts = pd.Series(saved.ravel(), jobs.index)
    because, reasons = [], []
    told_rows = zip(rows.index, rows["gain"].to_numpy(dtype=float), rows["reason"], strict=True)
    for row, gain, reason in told_rows:
        with_whom = ", ".join(n for n in company[row].split(", ") if n != names[row])
        how = f"joins the job on {with_whom}"
        because.append(how)
        reasons.append(
            f"{reason} Renewed while the axle is open ({how}): that saves"
            f" {costs.currency} {amounts[row]:,.0f} of set-up against {costs.currency} {gain:,.0f}"
            " that waiting for its own renewal is worth."
        )
    out.loc[rows.index, "decision"] = "replace"
    out.loc[rows.index, "rule"] = RULE
    out.loc[rows.index, "setup_saved"] = amounts.loc[rows.index]
    out.loc[rows.index, "joined_because"] = because
    out.loc[rows.index, "reason"] = reasons
