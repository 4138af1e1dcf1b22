"""Caught, missed, needless: what became of the pivots that past lists flagged, by type and duty.

A bushing is counted once, however many lists named it:

- flagged: a list sent it out on its own account (not as a partner of a job, no safety order);
- caught: found worn by the visit, at the tear-down or by a reading;
- needless: still within its limit when somebody looked. A bushing renewed in good time is within
  its limit by design: needless ones are the price of missing few;
- never looked at: renewed or not, nobody wrote down what it was like, or load or fresh grease hid
  it;
- missed: found worn by the visit although the last list before had left it;
- sent to measure: found worn where the list had asked for a reading.

Not here: how good the chances were (`backtest_calibration`), what it cost (`backtest_rules`).
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pivotlife.models.backtest_calibration import (
    NOT_CALIBRATED,
    SCORE_COLUMNS,
    TOO_FEW,
    score,
)
from pivotlife.models.backtest_pairs import TEAR_DOWN, UNVERIFIED, is_found_worn
from pivotlife.models.backtest_weights import is_flagged

COUNT_COLUMNS: Final = (
    *("flagged", "worn_at_tear_down", "worn_otherwise", "needless", "never_looked_at"),
    *("missed", "sent_to_measure"),
)
BACKTEST_COLUMNS: Final = (
    *("bushing_type", "duty", "lists", "pairs", "bushings", "units", "unverified_share"),
    *SCORE_COLUMNS,
    *COUNT_COLUMNS,
    "sentence",
)
ALL: Final = "all"


def backtest_table(pairs: pd.DataFrame, *, draws: int = 400, seed: int = 0) -> pd.DataFrame:
    """Score past lists by type and duty.

    Parameters
    ----------
    pairs : DataFrame
        From `backtest_weights.with_weights`.
    draws, seed : int
        Of the unit bootstrap.

    Returns
    -------
    DataFrame
        `BACKTEST_COLUMNS`; first all together, then each type, alone ("all" duties) and by duty.
    """
    rows = [_row(ALL, ALL, pairs, draws, seed)]
    for kind, of_type in pairs.groupby("bushing_type", sort=True):
        rows.append(_row(str(kind), ALL, of_type, draws, seed))
        for duty, cell in of_type.groupby("duty", sort=True):
            rows.append(_row(str(kind), str(duty), cell, draws, seed))
    return pd.DataFrame(rows, columns=list(BACKTEST_COLUMNS))


def counts(pairs: pd.DataFrame) -> dict[str, int]:
    """Count what became of flagged bushings and which worn ones no list had flagged.

    Parameters
    ----------
    pairs : DataFrame
        With decision, rule, held, is_due, outcome, how, worn_later_miles, bushing, standing_date.

    Returns
    -------
    dict
        `COUNT_COLUMNS`, numbers of bushings.
    """
    due = pairs[pairs["is_due"] & ~pairs["held"]].sort_values("standing_date", kind="stable")
    flagged = due[is_flagged(due)]
    looked = flagged[flagged["outcome"] != UNVERIFIED].drop_duplicates("bushing")
    worn = is_found_worn(looked)
    torn = looked["how"] == TEAR_DOWN
    found = due[is_found_worn(due)].drop_duplicates("bushing", keep="last")
    unflagged = found[~found["bushing"].isin(flagged["bushing"])]
    return {
        "flagged": int(flagged["bushing"].nunique()),
        "worn_at_tear_down": int((worn & torn).sum()),
        "worn_otherwise": int((worn & ~torn).sum()),
        "needless": int((~worn).sum()),
        "never_looked_at": int(flagged["bushing"].nunique() - len(looked)),
        "missed": int((unflagged["decision"] == "leave").sum()),
        "sent_to_measure": int((unflagged["decision"] == "measure").sum()),
    }


def sentence(row: dict[str, Any]) -> str:
    """Say in plain words what became of the flagged pivots and whether the chances held."""
    if row["flagged"]:
        text = (
            f"Of {row['flagged']:,} pivots flagged, {_were(row['worn_at_tear_down'])} found worn "
            f"at tear-down and {row['worn_otherwise']:,} otherwise, {_were(row['needless'])} still "
            f"within their limit, {row['never_looked_at']:,} had no look that tells."
        )
    else:
        text = "No pivot was flagged."
    text += (
        f" {_were(row['missed'])} found worn that the list had left, "
        f"{row['sent_to_measure']:,} where it had asked for a reading."
    )
    return f"{text} {_held(row)}"


def _were(count: int) -> str:
    return f"{count:,} {'was' if count == 1 else 'were'}"


def _held(row: dict[str, Any]) -> str:
    if row["verdict"] == TOO_FEW:
        return "Too few were found worn to say whether the chances are right."
    found, said = row["found"], row["forecast"]
    figures = f"{100 * said:.1f} of 100 were forecast to be worn, {100 * found:.1f} were"
    if row["verdict"] == NOT_CALIBRATED:
        return f"The chances did not come true: {figures}."
    return f"The chances held: {figures}."


def _row(kind: str, duty: str, cell: pd.DataFrame, draws: int, seed: int) -> dict[str, Any]:
    asked = cell[cell["in_calibration"]]
    row: dict[str, Any] = {
        "bushing_type": kind,
        "duty": duty,
        "lists": int(asked["standing_date"].nunique()),
        "pairs": len(asked),
        "bushings": int(asked["bushing"].nunique()),
        "units": int(asked["unit_id"].nunique()),
        "unverified_share": float((asked["outcome"] == UNVERIFIED).mean())
        if len(asked)
        else float("nan"),
        **score(asked, draws=draws, seed=seed),
        **counts(cell),
    }
    return {**row, "sentence": sentence(row)}
