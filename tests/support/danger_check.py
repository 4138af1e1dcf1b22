"""What the files alone say must not be left: a check that shares no code with the pipeline."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd

from pivotlife.models.growth_cells import fit_laws
from pivotlife.models.type_table import fit_by_type_and_duty
from pivotlife.pipeline import stages
from pivotlife.pipeline.growth_readings import growth_readings
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings

FINDINGS = {"cracked", "broken", "part-missing", "axle-shifted", "seized"}
TO_MM = {"in": 25.4, "thou": 0.0254, "mm": 1.0}


def raw_table(settings: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(settings.parent / f"{name}.csv", dtype=str, keep_default_na=False)


def over_or_parked(settings: Path, day: dt.date) -> tuple[set[str], set[str]]:
    """Work out from the files alone which pivots read over 3.2 mm last, and who must park."""
    units = raw_table(settings, "units").drop_duplicates("unit_id", keep=False)
    here = set(units.loc[units["left_fleet_date"] == "", "unit_id"])
    known = raw_table(settings, "readings").query(
        "unit_id in @here and entered_date <= @day_text",
        local_dict={"here": here, "day_text": day.isoformat()},
    )
    placed = known[(known[["axle", "side", "node"]] != "").all(axis=1)].copy()
    placed["pivot_id"] = placed["unit_id"].str.cat(
        [placed["axle"], placed["side"], placed["node"]], sep="."
    )
    pivots = raw_table(settings, "pivots")
    fixed = raw_table(settings, "repairs").query("unit_id in @here", local_dict={"here": here})
    renewed = fixed[fixed["action"].isin(["replaced", "fitted"])]
    measured = placed[placed["free_play"] != ""].copy()
    measured["mm"] = measured["free_play"].astype(float) * measured["free_play_unit"].map(TO_MM)
    last = measured.sort_values(["reading_date", "mm"]).groupby("pivot_id").tail(1)
    metal = pivots.loc[pivots["bushing_type"] != "rubber-bonded"]
    metal_ids = metal["unit_id"].str.cat([metal["axle"], metal["side"], metal["node"]], sep=".")
    newest = renewed.groupby("unit_id")["repair_date"].max()
    later = last["unit_id"].map(newest).fillna("") >= last["reading_date"]
    over = last[(last["mm"].round(3) >= 3.2) & ~later & last["pivot_id"].isin(metal_ids)]
    fixed_on = fixed.groupby("unit_id")["repair_date"].max()
    grave = known[known["finding"].isin(FINDINGS)]
    open_park = grave[grave["unit_id"].map(fixed_on).fillna("") < grave["reading_date"]]
    return set(over["pivot_id"]), set(open_park["unit_id"])


def list_alone(settings: Path, day: dt.date) -> pd.DataFrame:
    """Make the shortlist from the fits it rests on, without the tables and pages around it."""
    loaded, quiet = load_settings(settings), Progress(stages.COUNT, quiet=True)
    intake = stages.read(loaded, quiet)
    records = stages.build(intake, loaded, day, quiet)
    lives, readings = records.histories.lives, growth_readings(records.histories)
    laws = fit_laws(readings, lives, seed=loaded.random.seed)
    made = stages.decided(records, fit_by_type_and_duty(lives), readings, laws, loaded)
    return stages.plan(records, made, loaded, day, quiet).shortlist


def assert_nothing_dangerous_is_left(settings: Path, shortlist: pd.DataFrame, day: dt.date) -> int:
    """Hold a shortlist against the files; return how many dangers they show."""
    over, parked = over_or_parked(settings, day)
    mandatory = shortlist[shortlist["mandatory"].astype(bool)]
    assert not mandatory["decision"].eq("leave").any()
    left = set(shortlist.loc[shortlist["decision"] == "leave", "pivot_id"])
    assert not over & left
    for unit in parked:
        assert "park" in set(shortlist.loc[shortlist["unit_id"] == unit, "decision"])
    return len(over) + len(parked)
