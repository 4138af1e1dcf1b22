"""A person's word against the rules: shown with who and why, for a time, never against safety.

An override changes the decision of one pivot until its last day. A standing safety order stays,
unless the override asks for something more pressing still; a milder one is named beside the order
and has no effect.

Not here: where overrides are written down, whether their pivots exist.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.models.decision_costs import CostItems
from pivotlife.models.decision_jobs import labour_hours, ranked
from pivotlife.models.safety import PRESSING

RULE: Final = "override"
OVERRIDE_COLUMNS: Final = ("pivot_id", "decision", "reason", "by", "until")


def apply_overrides(
    shortlist: pd.DataFrame, overrides: pd.DataFrame, as_of: pd.Timestamp, costs: CostItems
) -> pd.DataFrame:
    """Put overrides that still run onto the shortlist.

    Parameters
    ----------
    shortlist : DataFrame
        From `decision.decide`.
    overrides : DataFrame
        `OVERRIDE_COLUMNS`, one row per pivot; until (date) is the last day it counts.
    as_of : Timestamp
        Today.
    costs : CostItems
        For the hours of the jobs it changes.

    Returns
    -------
    DataFrame
        The same rows; where an override counts: its decision, rule "override", a reason that says
        who, why, until when and what the rules say; ranked anew.
    """
    running = overrides[pd.to_datetime(overrides["until"]) >= as_of]
    running = running[running["pivot_id"].isin(shortlist["pivot_id"])]
    if running.empty:
        return shortlist
    word = running.set_index("pivot_id")
    table = shortlist.copy()
    asked = table["pivot_id"].map(word["decision"])
    told = asked.notna()
    milder = asked.map(PRESSING) >= table["decision"].map(PRESSING)
    blocked = told & table["mandatory"] & milder
    counts = told & ~blocked
    given = word.to_dict("index")
    table["reason"] = [
        _reason(line, given[line["pivot_id"]], blocked=stopped) if is_told else line["reason"]
        for line, is_told, stopped in zip(table.to_dict("records"), told, blocked, strict=True)
    ]
    table["decision"] = table["decision"].mask(counts, asked)
    table["rule"] = table["rule"].mask(counts, RULE)
    return ranked(_jobs_again(table, counts, costs))


def _jobs_again(table: pd.DataFrame, changed: pd.Series, costs: CostItems) -> pd.DataFrame:
    """Share the set-ups anew in the units that an override touched."""
    here = table["unit_id"].isin(table.loc[changed, "unit_id"])
    table["labour_hours"] = table["labour_hours"].mask(here, labour_hours(table[here], costs))
    day = pd.to_datetime(table["visit_date"]).dt.strftime("%Y-%m-%d").fillna("no-date")
    group = (table["unit_id"] + "@" + day).where(table["decision"] != "leave", "")
    table["group_id"] = table["group_id"].mask(here, group)
    return table


def _reason(line: Mapping[Any, Any], given: Mapping[Any, Any], *, blocked: bool) -> str:
    until = f"{pd.Timestamp(given['until']):%Y-%m-%d}"
    why = str(given["reason"]).rstrip(". ")
    if blocked:
        return (
            f"{line['reason']} {given['by']} asked to {given['decision']} it until {until} "
            f"({why}): that has no effect against a safety order."
        )
    return (
        f"{given['by']} says {given['decision']} until {until}: {why}. "
        f"The rules say {line['decision']}: {line['reason']}"
    )
