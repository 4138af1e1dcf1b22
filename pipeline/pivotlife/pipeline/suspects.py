"""One listing of every suspect value, and the records without those a user does not trust.

Nothing is left out on a suspicion alone, but for second entries of one reading. Which kinds are
left out says `judge.exclude_suspect`: a doubted play or odometer is blanked and its row goes on
without it, a doubted row is dropped from lives, fits and growth. Safety reads the records as if
nothing were left out: its evidence, its limits and what ended a danger come from the first
reading of the records, so that leaving out can never hide one.

Not here: the rules (`suspect_*`), rows withheld with a fault.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.histories import Histories, build_histories
from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.known_rows import fates
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.suspect_events import DATED, suspect_events
from pivotlife.pipeline.suspect_kinds import (
    ENTERED_TWICE,
    ODOMETER_KINDS,
    PLAY_KINDS,
    ROW_KEY,
    gathered,
)
from pivotlife.pipeline.suspect_kits import suspect_kits
from pivotlife.pipeline.suspect_odometers import suspect_odometers
from pivotlife.pipeline.suspect_plays import suspect_plays
from pivotlife.pipeline.suspect_repeats import suspect_repeats
from pivotlife.pipeline.true_miles import TrueMiles, true_miles

Mask = npt.NDArray[np.bool_]

SUSPECT_COLUMNS: Final = [
    *("table", "row_number", "row_id", "unit_id", "column", "kind", "evidence", "excluded"),
    *("fate", "file"),
]
EXCLUDED: Final = "left out as suspect (judge.exclude_suspect)"
KEPT_ONCE: Final = "entered twice, kept once"


@dataclass(frozen=True)
class Screened:
    """The records that lives and fits rest on, and what was suspected.

    Attributes
    ----------
    placed : TrueMiles
        Without what is left out; its `suspects` are those of the whole records.
    histories : Histories
        Without what is left out; its fates tell every row, also those left out.
    suspects : DataFrame
        Every suspect value: `SUSPECT_COLUMNS` but `fate`.
    roster : DataFrame
        `unit_id, pivot_id` of the pivots in service by the whole records: what must be
        re-inspected before a danger without position ends.
    """

    placed: TrueMiles
    histories: Histories
    suspects: pd.DataFrame
    roster: pd.DataFrame


def screen(
    known: Mapping[str, pd.DataFrame],
    judged: Judged,
    placed: TrueMiles,
    histories: Histories,
    settings: Settings,
    as_of: pd.Timestamp,
) -> Screened:
    """List what is suspect and build the records anew without what the settings leave out.

    Parameters
    ----------
    known : mapping of table name to DataFrame
        Judged tables as known on the day, before true miles.
    judged : Judged
        Withheld and repeated rows.
    placed, histories
        What was made of all known rows.
    settings : Settings
        Kinds to leave out; limits and the rest as for the first building.
    as_of : Timestamp
    """
    twice, copies = suspect_repeats(known, judged)
    listed = gathered(
        [
            suspect_plays(judged, histories.readings, settings),
            suspect_events(known, histories),
            suspect_kits(known, judged),
            twice,
            suspect_odometers(placed),
        ]
    )
    left_out = _left_out(listed, copies, settings.judge.exclude_suspect)
    suspects = listed.assign(excluded=np.where(left_out, "yes", "no")).reset_index(drop=True)
    roster = histories.in_service[["unit_id", "pivot_id"]]
    going = listed[left_out & _is_in(listed, known)]
    if going.empty:
        return Screened(placed, histories, suspects, roster)
    tables, dropped = _without(known, going)
    again = true_miles(tables, settings.odometer.daily_maximum)
    fresh = build_histories(again.tables, settings, as_of)
    told = pd.concat([_with_reasons(fresh.fates, going), *dropped], ignore_index=True)
    return Screened(
        replace(again, suspects=placed.suspects),
        replace(fresh, fates=told),
        suspects,
        roster,
    )


def with_fates(suspects: pd.DataFrame, ledger: pd.DataFrame) -> pd.DataFrame:
    """Write beside every suspect value what became of its row.

    Parameters
    ----------
    suspects : DataFrame
        From `screen`.
    ledger : DataFrame
        Columns of `ledger.csv`.

    Returns
    -------
    DataFrame
        `SUSPECT_COLUMNS`, in the order of the ledger.
    """
    place = ledger[[*ROW_KEY, "fate"]].assign(place=np.arange(len(ledger)))
    joined = suspects.merge(place, on=ROW_KEY, how="left")
    ordered = joined.sort_values(["place", "kind"], kind="stable", ignore_index=True)
    return ordered.assign(fate=ordered["fate"].fillna(""))[SUSPECT_COLUMNS]


def _keys(rows: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_frame(rows[ROW_KEY])


def _left_out(listed: pd.DataFrame, copies: pd.DataFrame, kinds: Collection[str]) -> Mask:
    """Say which values are left out: of rows entered twice the copies, else the kinds named.

    A row of `units` or `pivots` is never left out: without it nothing could be said of its unit.
    """
    twice = listed["kind"].eq(ENTERED_TWICE).to_numpy()
    named = (listed["kind"].isin(list(kinds)) & listed["table"].isin(DATED)).to_numpy()
    return np.asarray(np.where(twice, _keys(listed).isin(_keys(copies)), named), dtype=bool)


def _is_in(listed: pd.DataFrame, known: Mapping[str, pd.DataFrame]) -> Mask:
    here = np.zeros(len(listed), dtype=bool)
    for table in DATED:
        here |= np.asarray(_keys(listed).isin(_keys(known[table])), dtype=bool)
    return here


def _without(
    known: Mapping[str, pd.DataFrame], going: pd.DataFrame
) -> tuple[dict[str, pd.DataFrame], list[pd.DataFrame]]:
    """Blank doubted values, drop doubted rows; returns the tables and the fates of those."""
    tables, dropped = dict(known), []
    for name in DATED:
        mine = going[going["table"] == name]
        if mine.empty:
            continue
        table, keys = known[name].copy(), _keys(known[name])
        for (kind, column), rows in mine.groupby(["kind", "column"], sort=False):
            here = keys.isin(_keys(rows))
            if kind in PLAY_KINDS:
                table.loc[here, f"{column}_mm"] = np.nan
            elif kind in ODOMETER_KINDS:
                table.loc[here, f"{column}_miles"] = np.nan
        doubted = mine[~mine["kind"].isin(PLAY_KINDS | ODOMETER_KINDS)]
        gone = keys.isin(_keys(doubted))
        tables[name] = table[~gone].reset_index(drop=True)
        told = fates(known[name][gone], name, "not-needed", EXCLUDED)
        dropped.append(_with_reasons(told, doubted))
    return tables, dropped


def _with_reasons(told: pd.DataFrame, going: pd.DataFrame) -> pd.DataFrame:
    """Add to the reason of a row's fate which of its values were left out and why."""
    doubted = going["column"].where(going["column"] != "", "row")
    words = doubted + ": " + going["kind"] + ", " + EXCLUDED
    words = words.mask(going["kind"] == ENTERED_TWICE, KEPT_ONCE)
    by_row = words.groupby(_keys(going)).agg("; ".join)
    more = pd.Series(by_row.reindex(_keys(told)).to_numpy(dtype=object), index=told.index)
    old = told["reason"].where(told["reason"] != EXCLUDED, "")
    joined = (old + "; " + more.fillna("")).str.strip("; ")
    return told.assign(reason=old.where(more.isna(), joined))
