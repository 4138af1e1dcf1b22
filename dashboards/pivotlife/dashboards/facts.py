"""What unfolds under a line of the shortlist: the evidence, in short sentences.

Not here: the line itself (`lines`), how a number is written (`words`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words

_MOST_RECORDS: Final = 8


def line_facts(row: Mapping[Any, Any], grown: Mapping[Any, Any], currency: str) -> tuple[str, ...]:
    """Write out the evidence behind one line.

    Parameters
    ----------
    row : mapping
        One row of the shortlist.
    grown : mapping
        How play grows at its pivot; empty when nothing is known.
    currency : str
        Code of the amounts.

    Returns
    -------
    tuple of str
        One paragraph each: reading and limit, chances, amounts, growth, company, records.
    """
    if words.text(row["decision"]).lower() == "leave":
        # Hundreds of lines are left alone: theirs is one short paragraph.
        now = f"Over or failed now: {words.percent(row['chance_over_now'])}."
        parts = (_reading(row), now, _amounts(row, currency), _postponed(row, currency))
        return (" ".join(part for part in (*parts, _records(row)) if part),)
    facts = (
        _reading(row),
        _chances(row),
        _amounts(row, currency),
        _growth(grown),
        _partner(row),
        _postponed(row, currency),
        _records(row),
    )
    return tuple(fact for fact in facts if fact)


def _reading(row: Mapping[Any, Any]) -> str:
    source = words.text(row["limit_source"])
    limit = f"limit {words.play(row['limit_mm'])}" + (f", {source}" if source else "")
    if pd.isna(row["limit_mm"]):
        limit = "no play limit applies"
    date = words.day(row["last_reading_date"], "")
    return f"Read {date}; {limit}." if date else f"No reading on record; {limit}."


def _chances(row: Mapping[Any, Any]) -> str:
    now, later = row["chance_over_now"], row["chance_over_by_next_visit"]
    if was_found(row):
        return ""
    if pd.isna(now) and pd.isna(later):
        return "Chance of being over its limit or failed: unknown."
    return (
        f"Over its limit or failed: {words.percent(now)} now, "
        f"{chance_by_next_visit(row)} if it waits."
    )


def was_found(row: Mapping[Any, Any]) -> bool:
    """Say whether an order stands on something found, beside which no chance says anything."""
    return words.text(row["decision"]).lower() in ("park", "replace") and words.is_yes(
        row["mandatory"]
    )


def chance_by_next_visit(row: Mapping[Any, Any]) -> str:
    """Write the chance of being over the limit if the pivot waits one more visit, with band."""
    band = words.percent_band(row["chance_lower"], row["chance_upper"])
    share = words.percent(row["chance_over_by_next_visit"])
    return f"{share} ({band})" if band not in ("", share) else share


def _growth(grown: Mapping[Any, Any]) -> str:
    if not grown or pd.isna(grown["play_at_visit_mm"]):
        return ""
    band = words.interval(
        grown["play_at_visit_lower_mm"], grown["play_at_visit_upper_mm"], _millimetres
    )
    told = f"Expected at the visit: {words.play(grown['play_at_visit_mm'])}"
    told += f", band {band} mm" if band else ""
    told += f", from {words.count(grown['readings_used'], 'reading')}."
    due = grown["miles_until_due"]
    left = "" if pd.isna(due) else f" Miles until due: {words.life_miles(due)}."
    warning = words.text(grown["warning"])
    return told + left + (f" Caution: {warning}" if warning else "")


def _millimetres(value: Any) -> str:
    return words.number(value, 2)


def _amounts(row: Mapping[Any, Any], currency: str) -> str:
    if pd.isna(row["wait_cost"]) and pd.isna(row["kept_value"]):
        return ""
    return (
        f"Waiting costs {words.money(row['wait_cost'], currency)}, "
        f"keeps {words.money(row['kept_value'], currency)}."
    )


def _partner(row: Mapping[Any, Any]) -> str:
    joined = words.text(row["joined_because"])
    return f"{joined[0].upper()}{joined[1:]}." if joined else ""


def _postponed(row: Mapping[Any, Any], currency: str) -> str:
    if not words.is_yes(row["postponed"]):
        return ""
    return f"Put off, at an expected cost of {words.money(row['postponed_cost'], currency)}."


def _records(row: Mapping[Any, Any]) -> str:
    records = [part.strip() for part in re.split(r"[;,|]", words.text(row["source_rows"]))]
    records = [record for record in records if record]
    shown = ", ".join(records[:_MOST_RECORDS]) or "none"
    more = len(records) - _MOST_RECORDS
    rest = f" and {more} more (all in shortlist.csv)" if more > 0 else ""
    return f"Rule: {rule_words(row['rule'])}. Records: {shown}{rest}."


def rule_words(rule: Any) -> str:
    """Write a rule's name as words."""
    return words.text(rule).replace("-", " ") or words.UNKNOWN
