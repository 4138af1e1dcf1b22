"""The sentences of an economic choice: the reading, the chance with its band, both amounts.

Not here: safety orders (`safety_reasons`), the choice itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import pandas as pd

_ODD_ZERO: Final = (
    "That zero stands against its other readings or its miles: perhaps nobody measured. "
)
_DUE: Final = "Measure it at this visit: a pivot without figures is not taken as healthy."


def choice_reasons(table: pd.DataFrame, currency: str, alarm: float, early: float) -> list[str]:
    """Tell each pivot's choice in one or two plain sentences.

    Parameters
    ----------
    table : DataFrame, one row per pivot
        rule, wait_cost, kept_value, chance_between, chance_over_now, chance_over_at_visit,
        chance_over_by_next_visit, chance_lower, chance_upper, miles_since_reading,
        readings_used, visits_waited (optional), last_free_play_mm, last_reading_date, limit_mm,
        visit_date,
        next_visit_date, age_miles, warning.
    currency : str
    alarm : float
        The chance of being over at which a pivot is never left.
    early : float, miles
        Age below which nothing is renewed on the life curve alone.

    Returns
    -------
    list of str
    """
    told = pd.DataFrame(index=table.index)
    told["rule"] = table["rule"]
    told["visit"] = _day(table["visit_date"], "the next visit")
    told["following"] = _day(table["next_visit_date"], "the visit after")
    told["read"] = _last_play(table, alarm)
    told["since"] = table["miles_since_reading"]
    told["limitless"] = table["limit_mm"].isna()
    told["unread"] = table["readings_used"] == 0
    told["between"] = _percent(table["chance_between"])
    told["now"] = _percent(table[["chance_over_now", "chance_over_at_visit"]].max(axis=1))
    ends = zip(_percent(table["chance_lower"]), _percent(table["chance_upper"]), strict=True)
    by_next = _percent(table["chance_over_by_next_visit"])
    told["band"] = [_band(c, a, b) for c, (a, b) in zip(by_next, ends, strict=True)]
    told["wait"] = _money(table["wait_cost"], currency)
    told["kept"] = _money(table["kept_value"], currency)
    told["age"] = table["age_miles"]
    told["warning"] = table["warning"]
    told["visits"] = table.get("visits_waited", 1)
    told["alarm"] = f"{100 * alarm:g} %"
    told["state"] = np.where(table["limit_mm"].isna(), "having failed", "being over the limit")
    told["early"] = early
    rows = told.itertuples(index=False)
    return [_SENTENCES[rule](row) for rule, row in zip(told["rule"], rows, strict=True)]


def _day(dates: pd.Series, otherwise: str) -> pd.Series:
    return pd.to_datetime(dates).dt.strftime("%Y-%m-%d").fillna(otherwise)


def _percent(chance: pd.Series) -> list[str]:
    """Write chances in whole percent; the ends never read as certainty."""
    return [
        "unknown"
        if np.isnan(c)
        else "under 1 %"
        if c < 0.005
        else "over 99 %"
        if c > 0.995
        else f"{100 * c:.0f} %"
        for c in chance.to_numpy(dtype=float)
    ]


def _band(chance: str, lower: str, upper: str) -> str:
    """Write a chance with its limits; limits that read like the chance itself say nothing."""
    return chance if lower == chance == upper else f"{chance} ({lower} to {upper})"


def _money(amount: pd.Series, currency: str) -> list[str]:
    return [
        "an unknown amount" if np.isnan(a) else f"{currency} {a:,.0f}"
        for a in amount.to_numpy(dtype=float)
    ]


def _last_play(table: pd.DataFrame, alarm: float) -> list[str]:
    """Write the last play; a zero beside a high chance would read as a contradiction."""
    likely = table[["chance_over_now", "chance_over_at_visit"]].max(axis=1) >= alarm
    odd = likely & table["last_free_play_mm"].eq(0.0) & table["limit_mm"].notna()
    cells = zip(
        table["last_free_play_mm"].to_numpy(dtype=float),
        table["limit_mm"].to_numpy(dtype=float),
        _day(table["last_reading_date"], ""),
        odd,
        strict=True,
    )
    return [
        ""
        if np.isnan(play)
        else f"Last play {play:.2f} mm ({play / 25.4:.3f} in)"
        + ("" if np.isnan(limit) else f" of {limit:g} mm")
        + (f" on {day}. " if day else ". ")
        + (_ODD_ZERO if is_odd else "")
        for play, limit, day, is_odd in cells
    ]


def _chance(row: Any) -> str:
    return (
        f"Chance of failing between {row.visit} and {row.following}: {row.between}; of "
        f"{row.state} by then: {row.band}."
    )


def _amounts(row: Any) -> str:
    if row.visits == 0:
        return (
            f"The truck is to be sold before long: waiting until then costs {row.wait} on average, "
            f"a renewal {row.kept}."
        )
    if row.visits > 1:
        return (
            f"Waiting {row.visits} visits costs {row.wait} on average, the miles kept are worth "
            f"{row.kept}."
        )
    return f"Waiting costs {row.wait} on average, the miles kept are worth {row.kept}."


def _replace(row: Any) -> str:
    return f"{row.read}{_chance(row)} {_amounts(row)}{_alone(row)}"


def _alone(row: Any) -> str:
    return " No play reading stands behind this: inspect before the job." if row.unread else ""


def _alarm(row: Any) -> str:
    return (
        f"{row.read}Chance of {row.state} by {row.visit} is {row.now}, at or above the "
        f"{row.alarm} alarm; by {row.following}: {row.band}."
    )


def _alarm_replace(row: Any) -> str:
    outlook = f"If so, waiting costs more than the {row.kept} that the miles kept are worth."
    return f"{_alarm(row)} {outlook}{_alone(row)}"


def _alarm_measure(row: Any) -> str:
    return f"{_alarm(row)} {_amounts(row)} Measure it at this visit."


def _no_estimate(row: Any) -> str:
    cause = row.warning or "miles, curve or price are missing"
    return f"{row.read}No estimate is possible: {cause}. {_DUE}"


def _early(row: Any) -> str:
    cause = (
        f"at {row.age:,.0f} mi it is under {row.early:,.0f} mi"
        if row.age < row.early
        else "its age is not known"
    )
    return (
        f"The life curve alone would renew it, but {cause} and no reading confirms that. "
        "Measure it at this visit."
    )


def _no_reading(row: Any) -> str:
    if np.isnan(row.since) and row.read and row.limitless:
        return f"{row.read}It came without a finding, and play alone does not judge it. {_DUE}"
    if np.isnan(row.since):
        return f"No usable reading of this bushing is on record. {_DUE}"
    since = f"about {round(row.since, -2):,.0f}" if row.since >= 100 else "under 100"
    return (
        f"{row.read}At the visit {since} mi will have passed since the last usable reading. "
        "Measure it at this visit."
    )


def _doubted(row: Any) -> str:
    return (
        f"{row.read}That lies far above what this bushing's other readings, or others of its type, "
        f"say. {_chance(row)} It may be a slip or a bushing about to go: measure it at this visit."
    )


def _uncertain(row: Any) -> str:
    return (
        f"{row.read}{_chance(row)} The band spans both choices ({row.wait} against {row.kept}): "
        "a reading is worth more than it costs. Measure it at this visit."
    )


def _leave(row: Any) -> str:
    return f"{row.read}{_chance(row)} {_amounts(row)}"


_SENTENCES: Final[dict[str, Callable[[Any], str]]] = {
    "no-estimate": _no_estimate,
    "early-life": _early,
    "waiting-costs-more": _replace,
    "chance-now": _alarm_replace,
    "chance-now-measure": _alarm_measure,
    "last-reading-doubted": _doubted,
    "no-recent-reading": _no_reading,
    "uncertain": _uncertain,
    "waiting-costs-less": _leave,
}
