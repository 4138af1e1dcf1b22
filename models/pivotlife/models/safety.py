"""Standing orders: what the evidence demands whatever it costs and whatever else is missing.

Every row that tells of danger counts here, also one that was withheld from the statistics. An
order is kept until the record shows what ends it:

================================  =========  ================================================
evidence                          decision   ends with
================================  =========  ================================================
cracked, broken, part-missing,    park       a replacement of that pivot on that day or later
seized
axle-shifted                      park       a repair on the unit, dated after that day
play at or over the limit         replace    a replacement of that pivot on that day or later
split, extruded, rough,           replace    a replacement of that pivot on that day or later
rust-in-purge, loose-fit
refuses grease                    measure    a replacement, or a later day on which it takes it
finding or play unit unreadable   measure    a replacement; or the row is corrected
any of these, position unknown    park or    a replacement, or good evidence dated after that
                                  measure    day, of every pivot of the unit
================================  =========  ================================================

A reading belongs to the bushing that was removed that day unless it was taken after the repair.
What a tear-down found belongs to the bushing that was taken out: the repair row that replaced it
ends it. Later good readings undo nothing. A row without a readable date is ended by no dated
event, only by correcting it.

Not here: collecting the evidence, prices, bay hours. How the work is done is never said.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.findings import PARK_FINDINGS, REPLACE_FINDINGS, is_over
from pivotlife.models.safety_reasons import OrderFacts, order_reason

BoolArray = npt.NDArray[np.bool_]

ORDER_COLUMNS: Final = ("unit_id", "pivot_id", "decision", "rule", "reason", "source_rows")
#: Decisions from the most to the least pressing.
PRESSING: Final[dict[str, int]] = {"park": 0, "replace": 1, "measure": 2, "leave": 3}

_TEXTS: Final = ("source_row", "unit_id", "pivot_id", "finding", "what")
_FLAGS: Final = (
    "teardown",
    "refuses_grease",
    "unreadable_finding",
    "play_unit_unreadable",
    "after_repair",
    "contradicted",
)
_RENEWED: Final = ("replaced", "fitted")


def standing_orders(
    evidence: pd.DataFrame, clearances: pd.DataFrame, roster: pd.DataFrame
) -> pd.DataFrame:
    """Turn evidence into the orders that stand today.

    Parameters
    ----------
    evidence : DataFrame, one row per record that could tell of danger
        source_row, unit_id, pivot_id ("" = position unknown), date (NaT = unreadable), finding
        ("" = none), teardown (bool), play_mm and limit_mm (float, millimetres), refuses_grease,
        unreadable_finding, play_unit_unreadable (bool), what (text for the reason); optional
        after_repair (bool, taken after that day's repair), contradicted (bool, a later reading of
        the same bushing was far smaller). Cells may be missing or hold the
        wrong kind of value: what is left still counts.
    clearances : DataFrame
        unit_id, pivot_id ("" = the unit), date, kind (replaced, fitted, repair, good-evidence,
        took-grease), source_row.
    roster : DataFrame
        unit_id, pivot_id of every pivot in service; says when a unit is wholly re-inspected.

    Returns
    -------
    DataFrame
        unit_id, pivot_id ("" = the unit), decision (park, replace, measure), rule, reason,
        source_rows (joined by ";"): one row per unit, pivot, decision and rule.
    """
    bad = _bad_rows(_tidy(evidence))
    events = _tidy_events(clearances)
    stands = ~_is_ended(bad, events, roster)
    return _joined(bad.loc[stands])


def _tidy(evidence: pd.DataFrame) -> pd.DataFrame:
    """Give every column its kind; what does not fit becomes missing, never a reason to stop."""
    rows = pd.DataFrame(index=range(len(evidence)))
    for name in _TEXTS:
        rows[name] = _text(evidence, name)
    for name in _FLAGS:
        rows[name] = _flag(evidence, name)
    for name in ("play_mm", "limit_mm"):
        values = evidence[name] if name in evidence else pd.Series(np.nan, evidence.index)
        rows[name] = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float)
    rows["date"] = _dates(evidence)
    rows["finding"] = rows["finding"].str.lower()
    return rows.loc[rows["unit_id"] != ""].reset_index(drop=True)


def _text(frame: pd.DataFrame, name: str) -> npt.NDArray[np.object_]:
    if name not in frame:
        return np.full(len(frame), "", dtype=object)
    column = frame[name].astype(object)
    return np.asarray(column.where(column.notna(), "").astype(str).str.strip(), dtype=object)


def _flag(frame: pd.DataFrame, name: str) -> BoolArray:
    if name not in frame:
        return np.zeros(len(frame), dtype=bool)
    if frame[name].dtype == bool:
        return np.asarray(frame[name], dtype=bool)
    return np.isin(np.char.lower(_text(frame, name).astype(str)), ["true", "yes", "1", "1.0"])


def _dates(frame: pd.DataFrame) -> npt.NDArray[np.datetime64]:
    if "date" not in frame:
        return np.full(len(frame), np.datetime64("NaT"), dtype="datetime64[ns]")
    column = frame["date"]
    if not pd.api.types.is_datetime64_dtype(column):
        # Numbers would read as nanoseconds since 1970: only text and dates may pass.
        texts = column.astype(object).where(~column.map(lambda v: isinstance(v, (int, float))))
        read = pd.to_datetime(texts.astype(str), errors="coerce", format="ISO8601", utc=True)
        column = read.dt.tz_localize(None)
    return np.asarray(column, dtype="datetime64[ns]")


def _bad_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """Keep the rows that order something, one line per cause."""
    over = is_over(rows["play_mm"], rows["limit_mm"])
    known = rows["finding"].isin([*PARK_FINDINGS, *REPLACE_FINDINGS, "ok", ""])
    causes = {
        "axle-shifted": ("park", rows["finding"] == "axle-shifted"),
        "park-finding": ("park", rows["finding"].isin(PARK_FINDINGS - {"axle-shifted"})),
        "over-limit": ("replace", pd.Series(over, rows.index)),
        "failure-finding": ("replace", rows["finding"].isin(REPLACE_FINDINGS)),
        "refuses-grease": ("measure", rows["refuses_grease"]),
        "finding-unreadable": ("measure", rows["unreadable_finding"] | ~known),
        "play-unit-unreadable": ("measure", rows["play_unit_unreadable"]),
    }
    parts = [
        rows.loc[hit].assign(decision=decision, cause=cause)
        for cause, (decision, hit) in causes.items()
    ]
    bad = pd.concat(parts, ignore_index=True)
    lost = (bad["pivot_id"] == "") & (bad["cause"] != "axle-shifted")
    bad["rule"] = bad["cause"].mask(lost, "position-unknown")
    bad["decision"] = bad["decision"].mask(lost & (bad["decision"] != "park"), "measure")
    bad["pivot_id"] = bad["pivot_id"].mask(bad["cause"] == "axle-shifted", "")
    return bad


def _tidy_events(clearances: pd.DataFrame) -> pd.DataFrame:
    events = pd.DataFrame(index=range(len(clearances)))
    for name in ("unit_id", "pivot_id", "kind", "source_row"):
        events[name] = _text(clearances, name)
    events["date"] = _dates(clearances)
    return events


def _is_ended(bad: pd.DataFrame, events: pd.DataFrame, roster: pd.DataFrame) -> BoolArray:
    renewals = events.loc[events["kind"].isin(_RENEWED)]
    repairs = events.loc[events["kind"].isin([*_RENEWED, "repair"])]
    renewed = _latest(bad, renewals, ["unit_id", "pivot_id"])
    greased = _latest(bad, events.loc[events["kind"] == "took-grease"], ["unit_id", "pivot_id"])
    repaired = _latest(bad, repairs, ["unit_id"])
    date = bad["date"].to_numpy()
    after = bad["after_repair"].to_numpy()
    same_day = (renewed == date) & ~after
    by_renewal = (bad["pivot_id"] != "").to_numpy() & ((renewed > date) | same_day)
    by_grease = (bad["cause"] == "refuses-grease").to_numpy() & (greased > date)
    by_repair = (bad["cause"] == "axle-shifted").to_numpy() & (repaired > date)
    lost = (bad["rule"] == "position-unknown").to_numpy()
    by_round = lost & _unit_is_cleared(bad, events, roster)
    taken_out = bad["source_row"].isin(renewals["source_row"]) & (bad["source_row"] != "")
    by_teardown = (bad["teardown"] & taken_out & (bad["cause"] != "axle-shifted")).to_numpy()
    return np.asarray(by_renewal | by_grease | by_repair | by_round | by_teardown, dtype=bool)


def _latest(bad: pd.DataFrame, events: pd.DataFrame, keys: list[str]) -> npt.NDArray[np.datetime64]:
    """Date of the latest such event of each row's pivot or unit; NaT where there is none."""
    last = events.groupby(keys, as_index=False)["date"].max()
    return np.asarray(bad[keys].merge(last, on=keys, how="left")["date"].to_numpy())


def _unit_is_cleared(bad: pd.DataFrame, events: pd.DataFrame, roster: pd.DataFrame) -> BoolArray:
    """Say of which rows every pivot of the unit was since renewed or found good.

    A renewal on the same day counts, a good reading of the same day does not: it may be the very
    inspection whose bad line lost its position.
    """
    units = bad.loc[bad["rule"] == "position-unknown", "unit_id"].unique()
    pivots = pd.DataFrame(
        {"unit_id": _text(roster, "unit_id"), "pivot_id": _text(roster, "pivot_id")}
    )
    pivots = pivots.loc[pivots["unit_id"].isin(units)].drop_duplicates()
    keys = ["unit_id", "pivot_id"]
    renewed = _latest(pivots, events.loc[events["kind"].isin(_RENEWED)], keys)
    good = _latest(pivots, events.loc[events["kind"] == "good-evidence"], keys)
    # One day less makes "later" of good evidence comparable with "that day or later" of renewals.
    good = good - np.timedelta64(1, "D")
    since = np.where(np.isnat(renewed) | (good > renewed), good, renewed)
    # A pivot with neither holds the whole unit back: NaT would be skipped by the minimum.
    since = np.where(np.isnat(since), np.datetime64("1700-01-01", "ns"), since)
    worst = pivots.assign(since=since).groupby("unit_id", as_index=False)["since"].min()
    cleared = bad[["unit_id"]].merge(worst, on="unit_id", how="left")["since"].to_numpy()
    date = bad["date"].to_numpy()
    after = bad["after_repair"].to_numpy()
    return np.asarray((cleared > date) | ((cleared == date) & ~after), dtype=bool)


def _joined(bad: pd.DataFrame) -> pd.DataFrame:
    """One row per unit, pivot, decision and rule, told by its latest evidence."""
    keys = ["unit_id", "pivot_id", "decision", "rule"]
    if bad.empty:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in ORDER_COLUMNS})
    # Undated rows sort last and so do the telling: their fault must be read.
    rows = bad.sort_values([*keys, "date", "source_row"], kind="stable", na_position="last")
    groups = rows.groupby(keys, sort=False)
    told = groups.tail(1).set_index(keys)
    sources = groups["source_row"].agg(lambda names: ";".join(n for n in dict.fromkeys(names) if n))
    told["source_rows"] = sources
    told["rows"] = groups.size()
    told = told.reset_index()
    cells = zip(*(told[name] for name in OrderFacts._fields), strict=True)
    told["reason"] = [order_reason(OrderFacts(*facts)) for facts in cells]
    told["pressing"] = told["decision"].map(PRESSING)
    ordered = told.sort_values(["pressing", "unit_id", "pivot_id", "rule"], kind="stable")
    return ordered.loc[:, list(ORDER_COLUMNS)].reset_index(drop=True)
