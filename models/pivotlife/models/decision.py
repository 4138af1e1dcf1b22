"""The shortlist: one decision and one reason for every pivot at its unit's next visit.

Safety orders come first and nothing below them is asked for those pivots; the others get the
economic choice (`decision_economics`). Both stand in one table, the most pressing line first.

Pivots that it pays to renew while their axle is open join its job (`decision_groups`).

Not here: kits, bay hours, budgets, overrides, which fill their columns later.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from pivotlife.models.decision_costs import CostItems
from pivotlife.models.decision_economics import (
    DecisionOptions,
    chance_between,
    choose,
    wait_or_replace,
)
from pivotlife.models.decision_groups import grouped
from pivotlife.models.decision_jobs import labour_hours, ranked
from pivotlife.models.decision_reasons import choice_reasons
from pivotlife.models.decision_together import opened_together
from pivotlife.models.safety import PRESSING

__all__ = [
    "SHORTLIST_COLUMNS",
    "DecisionOptions",
    "chance_between",
    "decide",
    "wait_or_replace",
]

SHORTLIST_COLUMNS: Final = (
    "rank",
    "unit_id",
    "depot",
    "visit_date",
    "visit_odometer_miles",
    "pivot_id",
    "axle",
    "side",
    "node",
    "bushing_type",
    "decision",
    "mandatory",
    "rule",
    "reason",
    "last_reading_date",
    "last_free_play_mm",
    "limit_mm",
    "limit_source",
    "chance_over_now",
    "chance_over_by_next_visit",
    "chance_lower",
    "chance_upper",
    "wait_cost",
    "kept_value",
    "setup_saved",
    "kit_id",
    "labour_hours",
    "group_id",
    "joined_because",
    "postponed",
    "postponed_cost",
    "source_rows",
)
_FROM_GROWTH: Final = (
    "pivot_id",
    "readings_used",
    "age_miles",
    "chance_over_now",
    "chance_over_at_visit",
    "chance_over_by_next_visit",
    "chance_lower",
    "chance_upper",
    "warning",
    "last_reading_doubted",
    "miles_until_due",
)
_FROM_VISITS: Final = (
    "unit_id",
    "visit_date",
    "visit_miles",
    "next_visit_date",
    "next_visit_miles",
)
_EMPTY_TEXT: Final = ("kit_id", "postponed")
_EMPTY_NUMBER: Final = ("postponed_cost",)
_ORDERED: Final = ("unit_id", "pivot_id", "decision", "rule", "reason", "source_rows", "mandatory")
_TEXTS: Final = ("depot", "side", "node", "bushing_type", "limit_source", "source_rows")


def decide(
    in_service: pd.DataFrame,
    growth: pd.DataFrame,
    visits: pd.DataFrame,
    orders: pd.DataFrame,
    costs: CostItems,
    options: DecisionOptions,
) -> pd.DataFrame:
    """Decide for every pivot in service what happens at its unit's next visit.

    Parameters
    ----------
    in_service : DataFrame, one row per pivot
        pivot_id, unit_id, depot, duty, axle, side, node, bushing_type, fitted_miles, age_known,
        last_good_miles, last_reading_date, last_reading_miles, last_free_play_mm, limit_mm,
        limit_source, last_reading_source_row.
    growth : DataFrame, one row per pivot
        pivot_id, readings_used, age_miles, the chances with their band, warning; optional
        last_reading_doubted (bool).
    visits : DataFrame, one row per unit
        unit_id, visit_date, visit_miles, next_visit_date, next_visit_miles; optional depot.
    orders : DataFrame
        Standing orders of `safety.standing_orders`.
    costs : CostItems
    options : DecisionOptions

    Returns
    -------
    DataFrame
        `SHORTLIST_COLUMNS`: one row per pivot in service, per unit-level order, and per order on
        a pivot that is not listed as in service; most pressing first, those left last.
    """
    pivots = _assembled(in_service, growth, visits)
    chosen = pivots.join(choose(pivots, costs, options))
    chosen["reason"] = choice_reasons(
        chosen, costs.currency, options.chance_now_alarm, options.early_miles
    )
    chosen["source_rows"] = chosen["last_reading_source_row"]
    table = _with_orders(chosen, _strictest(orders), visits)
    table = grouped(opened_together(table, costs), costs)
    table["labour_hours"] = labour_hours(table, costs)
    return _shaped(ranked(table))


def _assembled(
    in_service: pd.DataFrame, growth: pd.DataFrame, visits: pd.DataFrame
) -> pd.DataFrame:
    kept = [c for c in in_service if c == "unit_id" or c not in _FROM_VISITS]
    known = [name for name in (*_FROM_VISITS, "miles_now") if name in visits]
    pivots = in_service[kept].merge(visits[known], on="unit_id", how="left")
    ahead = [name for name in growth.columns if name.startswith("chance_ahead_")]
    grown = growth.reindex(columns=[*_FROM_GROWTH, *ahead])
    pivots = pivots.merge(grown, on="pivot_id", how="left")
    pivots["last_reading_doubted"] = pivots["last_reading_doubted"].eq(True)
    pivots["readings_used"] = pivots["readings_used"].fillna(0)
    pivots["warning"] = pivots["warning"].fillna("")
    return pivots


def _strictest(orders: pd.DataFrame) -> pd.DataFrame:
    """One order per pivot or unit: the most pressing speaks, the others are named."""
    keys = ["unit_id", "pivot_id"]
    rows = orders.assign(pressing=orders["decision"].map(PRESSING))
    rows = rows.sort_values([*keys, "pressing"], kind="stable")
    groups = rows.groupby(keys, sort=False)
    first = groups.head(1).set_index(keys)
    first["source_rows"] = groups["source_rows"].agg(";".join)
    others = rows.loc[rows.duplicated(keys)].groupby(keys)["rule"].agg(_named_rules)
    also = others.map(lambda rules: f" Also standing: {rules}.").reindex(first.index).fillna("")
    return first.assign(reason=first["reason"] + also).reset_index()


def _named_rules(rules: pd.Series) -> str:
    return ", ".join(rule.replace("-", " ") for rule in rules)


def _with_orders(chosen: pd.DataFrame, orders: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Let orders override choices, and add those that stand beside no pivot in service."""
    told = ["decision", "rule", "reason", "source_rows"]
    by_pivot = orders.loc[orders["pivot_id"] != ""].drop_duplicates("pivot_id")
    by_pivot = by_pivot.set_index("pivot_id")[told]
    table = chosen.copy()
    hit = table["pivot_id"].isin(by_pivot.index)
    for name in told:
        table[name] = table[name].mask(hit, table["pivot_id"].map(by_pivot[name]))
    table["mandatory"] = hit
    extra = orders.loc[~orders["pivot_id"].isin(table["pivot_id"])]
    extra = extra[["unit_id", "pivot_id", *told]].assign(mandatory=True)
    extra = extra.merge(visits[list(_FROM_VISITS)], on="unit_id", how="left")
    depots = chosen.drop_duplicates("unit_id").set_index("unit_id")["depot"]
    extra["depot"] = extra["unit_id"].map(depots)
    return table if extra.empty else _stacked(table, extra)


def _stacked(table: pd.DataFrame, extra: pd.DataFrame) -> pd.DataFrame:
    """Put rows below a table, every column of one kind on both sides so that nothing is guessed."""
    kinds: dict[str, Any] = {}
    for name in table.columns:
        kind = table[name].dtype
        if pd.api.types.is_bool_dtype(kind) or name in (*_TEXTS, *_ORDERED):
            kinds[name] = np.dtype(object)
        elif pd.api.types.is_numeric_dtype(kind):
            kinds[name] = np.dtype("float64")
        else:
            kinds[name] = kind
    blank = extra.reindex(columns=table.columns)
    return pd.concat([table.astype(kinds), blank.astype(kinds)], ignore_index=True)


def _shaped(table: pd.DataFrame) -> pd.DataFrame:
    out = table.assign(visit_odometer_miles=table["visit_miles"])
    for name in _EMPTY_TEXT:
        out[name] = ""
    for name in _EMPTY_NUMBER:
        out[name] = np.nan
    for name in _TEXTS:
        out[name] = out[name].astype(object).where(out[name].notna(), "")
    day = pd.to_datetime(out["visit_date"]).dt.strftime("%Y-%m-%d").fillna("no-date")
    out["group_id"] = (out["unit_id"] + "@" + day).where(out["decision"] != "leave", "")
    out["axle"] = out["axle"].astype("Float64").astype("Int64")
    out["mandatory"] = out["mandatory"].astype(bool)
    return out.loc[:, list(SHORTLIST_COLUMNS)]
