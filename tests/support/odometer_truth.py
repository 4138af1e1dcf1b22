"""What becomes of an invented fleet's odometers, beside their truth (all invented).

A spoilt value is findable when it is off by more than 2 % or 2,000 miles and contradicts the true
miles of the rows next to it (before, after, the same day): it falls, or climbs faster than a truck
can drive. An engine computer that is a few per cent off, a number on two trucks and what was
written after an unrecorded change of meter are counted apart.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.true_miles import TrueMiles, true_miles

TABLES = ("readings", "repairs", "lube", "odometer")
#: Faults of one row, which findability speaks of.
ROW_KINDS = ("odometer-typo", "rollback", "kilometres")
OFF_SHARE, OFF_MILES = 0.02, 2_000.0


class Told(NamedTuple):
    """Every dated row with an odometer beside its truth, and what was reported."""

    rows: pd.DataFrame
    placed: TrueMiles


def told(folder: Path) -> Told:
    """Read a simulated fleet and place it; then, and only then, look at its truth.

    `rows`: unit_id, day, kind ("" for a good value), shown (before spoiling), written, miles
    (truth), placed (result), mark, moved, findable, apart ("" or why it is counted apart), meter
    (changed: "on record", "not on record"), restarted (read off a new meter).
    """
    settings = load_settings(folder / "settings.toml")
    tables = judge(read_sources(settings)).tables
    daily = settings.odometer.daily_maximum
    placed = true_miles(tables, daily)
    points = placed.points
    points = points[points["table"].isin(TABLES)]
    number = "row " + points["row_number"].astype(str)
    named = points.assign(row_id=points["row_id"].where(points["row_id"] != "", number))
    named = named.rename(columns={"true_miles": "placed", "odometer_miles": "written"})
    truth = pd.read_csv(folder / "truth" / "odometers.csv", dtype={"row_id": str})
    rows = named.merge(truth.rename(columns={"true_miles": "miles"}), on=["table", "row_id"])
    rows["day"] = rows["date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    return Told(_findable(_with_faults(rows, folder / "truth", tables), daily), placed)


def _with_faults(rows: pd.DataFrame, truth: Path, tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    faults = pd.read_csv(truth / "faults.csv", dtype=str, keep_default_na=False)
    at = ["table", "row_id"]
    spoilt = faults[faults["kind"].isin(ROW_KINDS)].drop_duplicates(at, keep="last")
    rows = rows.merge(spoilt[[*at, "kind", "true_value"]], on=at, how="left")
    rows["kind"] = rows["kind"].fillna("")
    rows["shown"] = rows["true_value"].astype(float).fillna(rows["written"])
    reused = faults[faults["kind"] == "unit-number-reused"]["written_value"]
    engine = faults[faults["kind"] == "engine-offset"][at].assign(engine=True)
    rows = rows.merge(engine.drop_duplicates(), on=at, how="left")
    swapped = faults[faults["kind"] == "meter-replaced"]["row_id"].astype(str)
    on_record = tables["meters"]["unit_id"]
    rows["meter"] = np.select(
        [~rows["unit_id"].isin(_units(swapped, tables)), rows["unit_id"].isin(on_record)],
        ["", "on record"],
        "not on record",
    )
    rows["restarted"] = (rows["meter"] != "") & (rows["miles"] - rows["shown"] > OFF_MILES)
    rows["apart"] = np.select(
        [rows["unit_id"].isin(reused), rows["engine"].notna()], ["reused number", "engine"], ""
    )
    return rows


def _units(row_ids: pd.Series, tables: dict[str, pd.DataFrame]) -> pd.Series:
    units = tables["units"]
    named = "row " + units["row_number"].astype(str)
    return units.loc[units["row_id"].isin(row_ids) | named.isin(row_ids), "unit_id"]


def _findable(rows: pd.DataFrame, daily: float) -> pd.DataFrame:
    error = rows["written"] - rows["shown"]
    rows["moved"] = (error.abs() > OFF_SHARE * rows["shown"]) | (error.abs() > OFF_MILES)
    rows = rows.sort_values(["unit_id", "day"], kind="stable").reset_index(drop=True)
    value = rows["miles"] + rows["written"] - rows["shown"]
    stop = rows.groupby(["unit_id", "day"], as_index=False).agg(
        miles=("miles", "mean"), alike=("miles", "size")
    )
    track = stop.groupby("unit_id")
    for side, step in (("before", 1), ("after", -1)):
        stop[f"{side}_day"] = track["day"].shift(step)
        stop[f"{side}_miles"] = track["miles"].shift(step)
    near = rows[["unit_id", "day"]].merge(stop, on=["unit_id", "day"], how="left")
    rise = value - near["before_miles"]
    fall = near["after_miles"] - value
    wrong = (rise < 0) | (rise > (near["day"] - near["before_day"] + 1) * daily)
    wrong |= (fall < 0) | (fall > (near["after_day"] - near["day"] + 1) * daily)
    wrong |= (near["alike"] > 1) & ((value - near["miles"]).abs() > daily)
    rows["findable"] = (rows["kind"] != "") & rows["moved"] & wrong
    return rows


class Score(NamedTuple):
    """How many of how many."""

    hits: int
    of: int

    @property
    def share(self) -> float:
        """Share of hits; NaN of nothing."""
        return self.hits / self.of if self.of else float("nan")


def scores(rows: pd.DataFrame) -> dict[str, Score]:
    """Score one fleet: found by kind, good values touched, imputed values near the truth.

    Found: the row does not keep its value. A good value is touched when its row does not keep it,
    or when its true miles are more than a mile from the truth although no meter was changed
    unrecorded. Near: within 2 % of the truth.
    """
    main = rows[rows["apart"] == ""]
    kept = main["mark"] == "kept"
    off = (main["placed"] - main["miles"]).abs()
    near = off <= OFF_SHARE * main["miles"]
    good = main["kind"] == ""
    lost = main["meter"] == "not on record"
    touched = ~kept | (off > 1.0 + 1e-9) & ~lost
    found = {
        f"found, {kind}": _score(~kept, main["findable"] & (main["kind"] == kind))
        for kind in ROW_KINDS
    }
    spoilt = ~good & ~main["findable"]
    return {
        **found,
        "found, all findable": _score(~kept, main["findable"]),
        "found, moved but fitting in": _score(~kept, spoilt & main["moved"]),
        "found, hardly moved": _score(~kept, spoilt & ~main["moved"]),
        "good values touched": _score(touched, good),
        "imputed within 2 %": _score(near, ~kept),
        "findable within 2 %": _score(near, main["findable"]),
        "all rows within 2 %": _score(near, kept | ~kept),
        "new meter on record, within 2 %": _score(near, main["restarted"] & ~lost & good),
        "new meter not on record, within 2 %": _score(near, main["restarted"] & lost & good),
    }


def suspicions(told: Told) -> dict[str, Score]:
    """Score what is only reported, by unit: how many of the true ones, and how many wrongly."""
    rows, said = told.rows, told.placed.suspects
    reused = set(rows.loc[rows["apart"] == "reused number", "unit_id"])
    true = {
        "meter-change": set(rows.loc[rows["meter"] == "not on record", "unit_id"]) - reused,
        "instrument-offset": set(rows.loc[rows["apart"] == "engine", "unit_id"]) - reused,
        "number-used-twice": reused,
    }
    found: dict[str, Score] = {}
    for kind, units in true.items():
        named = set(said.loc[said["kind"] == kind, "unit_id"])
        found[f"suspected, {kind}"] = Score(len(named & units), len(units))
        found[f"suspected wrongly, {kind}"] = Score(
            len(named - units - reused), rows["unit_id"].nunique()
        )
    return found


def table(scored: dict[str, Score]) -> str:
    """Write scores one a line."""
    return "\n".join(
        f"  {name:<40} {score.hits:>6} of {score.of:>6}  {score.share:7.2%}"
        for name, score in scored.items()
    )


def _score(hit: pd.Series, of: pd.Series) -> Score:
    return Score(int((hit & of).sum()), int(of.sum()))
