"""Rows without a full position of an invented fleet, beside the pivots that they truly mean.

Numbers on two trucks are left out: their rows mean another truck's pivots.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pivotlife.data.fleet import LAST_RECORDED_DAY
from pivotlife.pipeline.histories import build_histories
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.true_miles import true_miles

#: How the ledger words each way of attribution.
WAYS = (
    "its remark", "the only pivots it can mean", "the only pivot of its unit that it can mean",
    "the only pivot of its unit with a bushing that can show this",
    "the only pivot that the other rows of its sheet did not read",
    "the only pivot between the rows above and below it on its sheet",
    "looked at again after the repair", "bad evidence was standing there",
    "its play is that of a new bushing afterwards",
    "shackle partner of a pivot renewed that day",
    "the lines of that day renewed every pivot left",
)  # fmt: skip


def judged(folder: Path) -> dict[str, pd.DataFrame]:
    """Judge a simulated fleet's tables."""
    return judge(read_sources(load_settings(folder / "settings.toml"))).tables


def outcomes(folder: Path, tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Say of every reading and renewal without a full position where it went.

    Parameters
    ----------
    folder : Path
        A simulated fleet, for its settings and truth.
    tables : dict of DataFrame
        From `judged`, remarks perhaps written in.

    Returns
    -------
    DataFrame
        table, row_id, true and given (set of pivot_id; empty = left unknown; a line given to
        another open line's pivot of the same job is true, too), swapped (some row
        of that unit and day has its side swapped), way (of `WAYS`; "" when unknown), reason.
    """
    settings = load_settings(folder / "settings.toml")
    placed = true_miles(tables, settings.odometer.daily_maximum)
    histories = build_histories(placed.tables, settings, pd.Timestamp(LAST_RECORDED_DAY))
    faults = pd.read_csv(folder / "truth" / "faults.csv", dtype=str, keep_default_na=False)
    reasons = histories.fates.set_index(["table", "row_id"])["reason"]
    rows = []
    for name in ("readings", "repairs"):
        table = placed.tables[name]
        date = "reading_date" if name == "readings" else "repair_date"
        stop = table["unit_id"] + "/" + table[date].astype(str)
        mine = faults[faults["table"] == name]
        swapped = stop[table["row_id"].isin(mine.loc[mine["kind"] == "side-swapped", "row_id"])]
        given = _given(histories, name)
        asked = table[(table["pivot_id"] == "") & table["unit_id"].isin(_single(table, faults))]
        if name == "repairs":
            asked = asked[asked["action"] == "replaced"]
        truth = _truth(asked, mine)
        job: dict[str, frozenset[str]] = {}
        for index, key in asked["row_id"].items():
            job[stop[index]] = job.get(stop[index], frozenset()) | truth.get(key, frozenset())
        for index, row in asked.iterrows():
            key = row["row_id"]
            if (name, key) in reasons.index and key in truth:
                why = reasons[name, key]
                # The open lines of one job may stand for one another.
                mean = truth[key]
                if name == "repairs" and given.get(key, mean) <= job[stop[index]]:
                    mean = given.get(key, mean)
                rows.append((name, key, mean, given.get(key, frozenset()),
                             stop[index] in set(swapped), _way(why), why))  # fmt: skip
    columns = ["table", "row_id", "true", "given", "swapped", "way", "reason"]
    return pd.DataFrame(rows, columns=columns)


def _single(table: pd.DataFrame, faults: pd.DataFrame) -> set[str]:
    reused = faults.loc[faults["kind"] == "unit-number-reused", "written_value"]
    return set(table["unit_id"]) - set(reused)


def _given(histories, name):
    rows = histories.readings if name == "readings" else histories.renewals
    ids = rows["source_row"].str.removeprefix(f"{name}:")
    return rows["pivot_id"].groupby(ids).agg(frozenset).to_dict()


def _truth(asked: pd.DataFrame, faults: pd.DataFrame) -> dict[str, frozenset[str]]:
    """Pivots that each row truly means, from the log of faults."""
    lost = faults[faults["kind"] == "position-missing"]
    lost = {(row, column): true for row, column, true in
            zip(lost["row_id"], lost["column"], lost["true_value"], strict=True)}  # fmt: skip
    kits = faults[faults["kind"] == "kit-line"].set_index("row_id")["true_value"].to_dict()
    swapped = faults[faults["kind"] == "side-swapped"].set_index("row_id")["true_value"].to_dict()
    found = {}
    for _, row in asked.iterrows():
        key, unit = row["row_id"], row["unit_id"]
        if key in kits:
            found[key] = frozenset(f"{unit}.1.{place}" for place in kits[key].split(";"))
        elif (key, "node") in lost:
            side = swapped.get(key) or lost.get((key, "side")) or row["side"]
            found[key] = frozenset([f"{unit}.1.{side}.{lost[key, 'node']}"])
    return found


def _way(reason: str) -> str:
    return next((way for way in WAYS if f" {way}" in reason and "attributed" in reason), "")


def with_remarks(
    folder: Path, tables: dict[str, pd.DataFrame], seed: int
) -> dict[str, pd.DataFrame]:
    """Write into half of the rows that lack a node what a shop would write (invented).

    Half of these remarks name the true place, the others speak of something else or somewhere
    else, as work-order text does.
    """
    faults = pd.read_csv(folder / "truth" / "faults.csv", dtype=str, keep_default_na=False)
    rng = np.random.default_rng(seed)
    spoken = dict(tables)
    for name in ("readings", "repairs"):
        table = tables[name].copy()
        asked = table[table["pivot_id"] == ""]
        truth = _truth(asked, faults[faults["table"] == name])
        for index, row in asked.iterrows():
            pivots = truth.get(row["row_id"], frozenset())
            if len(pivots) != 1 or rng.random() < 0.5:
                continue
            _, _, side, node = next(iter(pivots)).rsplit(".", 3)
            text = _NAMING if rng.random() < 0.5 else _OTHER
            hand, word = {"left": "LH", "right": "RH"}[side], _SPOKEN[node]
            table.loc[index, "remark"] = str(rng.choice(text)).format(
                hand=hand, word=word, side=side, other="right" if side == "left" else "left"
            )
        spoken[name] = table
    return spoken


_SPOKEN = {"fixed-eye": "fixed eye", "shackle-lower": "lower shackle",
           "shackle-upper": "upper shackle"}  # fmt: skip
_NAMING = (
    "{hand} {word}",
    "{word} {side} side, worn",
    "pin dry, {side} {word}",
    "{hand} {word} pin done",
)
_OTHER = (
    "all right", "left as is", "check {other} side at next PM", "kingpin {hand} upper ok",
    "same as the other {word}", "both {side} shackle pins greased", "driver side noisy",
    "parts on order", "{word} and the rest ok, see last sheet",
)  # fmt: skip


def table_of(found: pd.DataFrame) -> str:
    """Write the score, one way a line: attributed right, wrong, and what a wrong side explains."""
    right = found["true"] == found["given"]
    lines = []
    for (name, way), rows in found.groupby(["table", "way"]):
        if way:
            wrong = ~right[rows.index]
            beside = int((wrong & rows["swapped"]).sum())
            lines.append(
                f"  {name:<9} {way:<62} {int((~wrong).sum()):>5} right {int(wrong.sum()):>3} wrong"
                f" ({beside} beside a swapped side)"
            )
        else:
            lines.append(f"  {name:<9} {'position unknown':<62} {len(rows):>5}")
    return "\n".join(lines)
