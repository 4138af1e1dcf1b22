"""Kits by month, depot and size, and what to keep on the shelf.

The kits of a unit in a month are drawn together (`demand_rounds`): all six of an axle or none.
Units are independent under one law and are convolved (`demand`); the laws are mixed. The stock that
serves a month is the fewest kits with which, at the service level, nothing is missing from its
first day until what is ordered at its end has come: the month and the lead time after it (periodic
review, as in any text on stock-keeping; from memory).

Depots together need less stock than each by itself, because not all are unlucky at once. What is on
hand and on order is known for all depots together.

Not here: which kit fits a pivot (`kit_match`), what to lay ready now (`kit_staging`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.budget import ALL_DEPOTS
from pivotlife.models.demand import count_quantiles, summed_by_group
from pivotlife.models.demand_months import Months
from pivotlife.models.demand_rounds import Renewals

KIT_DEMAND_COLUMNS: Final = (
    *("month", "depot", "kit_id", "mean", "p10", "p50", "p90", "stock_for_service_level"),
    *("on_hand", "on_order", "lead_time_days", "short_by", "bushing_type", "node"),
)
_LEVELS: Final = {"p10": 0.1, "p50": 0.5, "p90": 0.9}


def kit_demand(
    renewals: Renewals,
    pivots: pd.DataFrame,
    kits: pd.DataFrame,
    months: Months,
    service_level: float,
) -> pd.DataFrame:
    """Tell how many kits of each size the months and quarters ahead take.

    Parameters
    ----------
    renewals : Renewals
    pivots : DataFrame
        The table that the renewals speak of: unit_id, depot, kit_id ("" = none named),
        bushing_type, node.
    kits : DataFrame
        kit_id, on_hand, on_order, lead_time_days.
    months : Months
    service_level : float, 0 to 1
        Chance with which the stock is to suffice.

    Returns
    -------
    DataFrame
        `KIT_DEMAND_COLUMNS`; months, then quarters (no stock), for each depot and all of them.
        short_by is the stock less what is on hand and on order, at least 0, in the first month
        and for all depots; else NaN.
    """
    if pivots.empty:
        return pd.DataFrame(columns=list(KIT_DEMAND_COLUMNS))
    kit, kinds = _kinds(pivots)
    depot, depots = pd.factorize(pivots["depot"].astype(str), sort=True)
    stock = kits.groupby("kit_id")[["on_hand", "on_order"]].min()
    stock["lead_time_days"] = kits.groupby("kit_id")["lead_time_days"].max()
    lead = kinds["kit_id"].map(stock["lead_time_days"]).fillna(0.0).to_numpy(dtype=float)
    counted = _Counter(renewals, pivots, kit, depot, (len(kinds), len(depots)))
    keys = kinds.loc[np.repeat(np.arange(len(kinds)), len(depots) + 1)].reset_index(drop=True)
    keys["depot"] = np.tile([*depots, ALL_DEPOTS], len(kinds))
    starts, none = months.starts, np.zeros(len(kinds))
    parts = []
    for place, name in enumerate(months.names):
        begin, end = starts[place], starts[place + 1]
        covered = counted.span(begin, end + lead)
        parts.append(
            _rows(keys, name, counted.span(begin, end + none)).assign(
                stock_for_service_level=count_quantiles(covered, service_level).astype(float)
            )
        )
    for name, first, after in months.quarters():
        parts.append(_rows(keys, name, counted.span(starts[first], starts[after] + none)))
    table = pd.concat(parts, ignore_index=True)
    return _with_stock(table, stock, months.names[0])


def _rows(keys: pd.DataFrame, name: str, distributions: FloatArray) -> pd.DataFrame:
    counts = np.arange(distributions.shape[1])
    levels = {level: count_quantiles(distributions, share) for level, share in _LEVELS.items()}
    return keys.assign(month=name, mean=distributions @ counts, **levels)


def _with_stock(table: pd.DataFrame, stock: pd.DataFrame, first_month: str) -> pd.DataFrame:
    """Add shelf and orders where they are known, and what is short; leave out what is not asked."""
    table = table.merge(stock.reset_index(), on="kit_id", how="left")
    whole = table["depot"] == ALL_DEPOTS
    for name in ("on_hand", "on_order"):
        table[name] = table[name].astype(float).where(whole)
    there = table["on_hand"].fillna(0.0) + table["on_order"].fillna(0.0)
    short = (table["stock_for_service_level"] - there).clip(lower=0.0)
    first = whole & (table["month"] == first_month) & (table["kit_id"] != "")
    table["short_by"] = short.where(first)
    asked = (table["mean"] > 0) | (table["stock_for_service_level"] > 0)
    return table[asked].reindex(columns=list(KIT_DEMAND_COLUMNS)).reset_index(drop=True)


def _kinds(pivots: pd.DataFrame) -> tuple[IntArray, pd.DataFrame]:
    """Give every kit a number; a pivot without one counts under its type and node."""
    named = pivots[["kit_id", "bushing_type", "node"]].astype(str)
    # One kit may serve several nodes: it is one kit.
    text = named["kit_id"].where(
        named["kit_id"] != "", "\0" + named["bushing_type"] + "\0" + named["node"]
    )
    code, names = pd.factorize(text, sort=True)
    first = named.groupby(code)[["kit_id", "bushing_type", "node"]].first()
    nodes = named.groupby(code)["node"].agg(["min", "max"])
    several = nodes["min"] != nodes["max"]
    first["node"] = first["node"].mask(several, "several")
    return np.asarray(code, dtype=np.int64), first.reindex(range(len(names)))


class _Counter:
    """Counts kits of units in spans of days, kit by kit and depot by depot."""

    def __init__(
        self,
        renewals: Renewals,
        pivots: pd.DataFrame,
        kit: IntArray,
        depot: IntArray,
        size: tuple[int, int],
    ) -> None:
        self.renewals, self.size = renewals, size
        self.kit, self.depot = kit[renewals.pivot], depot[renewals.pivot]
        self.unit = pd.factorize(pivots["unit_id"])[0][renewals.pivot]

    def span(self, begin: float, end: FloatArray) -> FloatArray:
        """Distributions of the kits from a day on, shape (kits x (depots + 1), m).

        `end` has shape (kits,). Depots run within kits, all depots together last.
        """
        kinds, depots = self.size
        day = self.renewals.day
        rows = np.flatnonzero((day >= begin) & (day < end[self.kit]))
        alone, whole = self._summed(self.kit[rows] * depots + self.depot[rows], rows)
        both = np.concatenate([alone.reshape(kinds, depots, -1), whole[:, None]], axis=1)
        return np.asarray(both.reshape(kinds * (depots + 1), -1))

    def _summed(self, group: IntArray, rows: IntArray) -> tuple[FloatArray, FloatArray]:
        draws, laws = self.renewals.draws, self.renewals.laws
        units = int(self.unit.max(initial=0)) + 1
        key = (group * units + self.unit[rows]) * draws + self.renewals.draw[rows]
        cell, count = np.unique(key, return_counts=True)
        draw = cell % draws
        return summed_by_group(
            cell // draws // units,
            draw % laws,
            cell // draws % units,
            count,
            (self.size[0] * self.size[1], laws, draws // laws),
            together=self.size[1],
        )
