"""Fault kinds of the invented fleet: rows with one, rows found, sound rows flagged.

Kinds that the simulator does not write are put into a fault-free fleet here, row by row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.data.fleet import LAST_RECORDED_DAY, simulate
from pivotlife.pipeline import stages
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.settings_file import load_settings

SEEDS = range(301, 306)
PUT_IN = 40
KEY = ["table", "row_number"]
#: Fault kind of the simulator -> kinds of suspicion that count as finding it.
WRITTEN = {
    "zero-not-measured": ("zero-not-measured", "sheet-of-zeros"),
    "thousandths-whole": ("thousandths-as-inches",),
    "millimetres-as-inches": ("millimetres-as-inches",),
    "duplicate": ("entered-twice",),
    "odometer-typo": ("odometer-off-track",),
    "rollback": ("odometer-off-track",),
    "kilometres": ("odometer-off-track", "kilometres"),
    "engine-offset": ("instrument-offset", "odometer-off-track"),
}
REUSED = ("number-used-twice", "before-service", "after-leaving")

Tables = dict[str, pd.DataFrame]
Change = Callable[[Tables, np.random.Generator], pd.DataFrame]

pytestmark = pytest.mark.slow


def suspects(folder: Path) -> pd.DataFrame:
    settings = load_settings(folder / "settings.toml")
    progress = Progress(stages=stages.COUNT, quiet=True)
    records = stages.build(stages.read(settings, progress), settings, LAST_RECORDED_DAY, progress)
    return records.suspects


def keys(rows: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_frame(rows[KEY].drop_duplicates())


def counted(
    found: pd.DataFrame, faults: pd.DataFrame, kinds: Mapping[str, tuple[str, ...]]
) -> pd.DataFrame:
    """Rows injected, found, and flagged under these kinds without any fault of a kind so found."""
    found = found[~(found["kind"].eq("entered-twice") & found["excluded"].eq("no"))]
    lines = []
    for kind, told in kinds.items():
        flagged = pd.MultiIndex.from_frame(
            found.loc[found["kind"].isin(told), KEY].drop_duplicates()
        )
        mine = pd.MultiIndex.from_frame(faults.loc[faults["kind"] == kind, KEY].drop_duplicates())
        like = [name for name, other in kinds.items() if set(other) & set(told)]
        sound = ~flagged.isin(keys(faults[faults["kind"].isin(like)]))
        lines.append((kind, len(mine), int(mine.isin(flagged).sum()), int(sound.sum())))
    return pd.DataFrame(lines, columns=["kind", "injected", "found", "false"]).set_index("kind")


def test_kinds_that_the_fleet_writes(tmp_path: Path) -> None:
    rows, reused = [], []
    for seed in SEEDS:
        simulate(tmp_path / str(seed), seed=seed)
        faults = pd.read_csv(tmp_path / str(seed) / "truth" / "faults.csv")
        # A later fault in the same cell overwrites an earlier one.
        faults = faults.drop_duplicates([*KEY, "column"], keep="last")
        found = suspects(tmp_path / str(seed))
        rows.append(counted(found, faults, WRITTEN))
        numbers = faults.loc[faults["kind"] == "unit-number-reused", "written_value"].unique()
        doubted = found.loc[found["kind"].isin(REUSED), "unit_id"]
        reused.append((len(numbers), int(np.isin(numbers, doubted).sum()), doubted.nunique()))
    told = summary(rows)
    print(f"\n{told.to_string()}\nreused numbers, found, units doubted: {reused}")
    share = told["share found"].astype(float)
    assert share["thousandths-whole"] > 0.99
    assert share["millimetres-as-inches"] > 0.85
    assert share["duplicate"] == 1.0


def summary(rows: list[pd.DataFrame]) -> pd.DataFrame:
    shares = pd.concat([one["found"] / one["injected"] for one in rows], axis=1)
    total = sum(rows[1:], rows[0])
    return total.assign(
        **{
            "share found": total["found"] / total["injected"],
            "standard error": shares.std(axis=1, ddof=1) / np.sqrt(len(rows)),
        }
    )


def _some(rows: pd.DataFrame, rng: np.random.Generator, most: int = PUT_IN) -> pd.Index[int]:
    return rows.sample(min(most, len(rows)), random_state=rng).index


def _before_service(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    repairs, came = tables["repairs"], tables["units"].set_index("unit_id")["in_service_date"]
    here = _some(repairs, rng)
    day = pd.to_datetime(repairs.loc[here, "unit_id"].map(came)) - pd.Timedelta(days=10)
    repairs.loc[here, "repair_date"] = day.dt.strftime("%Y-%m-%d")
    return repairs.loc[here]


def _after_leaving(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    readings = tables["readings"]
    left = tables["units"].set_index("unit_id")["left_fleet_date"]
    here = _some(readings[readings["unit_id"].map(left).ne("")], rng)
    day = pd.to_datetime(readings.loc[here, "unit_id"].map(left)) + pd.Timedelta(days=10)
    readings.loc[here, "reading_date"] = day.dt.strftime("%Y-%m-%d")
    return readings.loc[here]


def _last_repairs(tables: Tables) -> pd.DataFrame:
    """Keep the last repair of each pivot that was read after it."""
    placed = ["unit_id", "axle", "side", "node"]
    repairs = tables["repairs"]
    repairs = repairs[(repairs["action"] == "replaced") & repairs["node"].ne("")]
    last = repairs.sort_values("repair_date").drop_duplicates(placed, keep="last")
    newest = tables["readings"].groupby(placed)["reading_date"].max().rename("newest")
    later = last.join(newest, on=placed)
    return last[later["newest"] > later["repair_date"]]


def _nothing_fitted(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    last = _last_repairs(tables)
    here = _some(last, rng)
    tables["repairs"].loc[here, "action"] = "removed"
    placed = ["unit_id", "axle", "side", "node"]
    removed = last.loc[here].set_index(placed)["repair_date"].rename("removed")
    readings = tables["readings"]
    return readings[readings["reading_date"] > readings.join(removed, on=placed)["removed"]]


def _fitted_over(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    here = _some(_last_repairs(tables), rng)
    tables["repairs"].loc[here, "action"] = "fitted"
    return tables["repairs"].loc[here]


def _wrong_kit(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    repairs, node = tables["repairs"], tables["kits"].set_index("kit_id")["node"]
    here = _some(
        repairs[repairs["kit_id"].map(node).eq("shackle-lower") & repairs["node"].ne("")], rng
    )
    repairs.loc[here, "kit_id"] = repairs.loc[here, "kit_id"].str.replace("SL", "SU")
    return repairs.loc[here]


def _large_kit(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    repairs = tables["repairs"]
    here = _some(repairs[repairs["node"].ne("") & repairs["action"].eq("replaced")], rng)
    repairs.loc[here, "pivots_in_kit"] = "4"
    return repairs.loc[here]


def _second_entry(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    readings = tables["readings"]
    copies = readings.loc[_some(readings, rng)]
    start = len(readings)
    later = (pd.to_datetime(copies["entered_date"]) + pd.Timedelta(days=3)).dt.strftime("%Y-%m-%d")
    copies = copies.assign(
        reading_id=[f"RD-again-{n}" for n in range(len(copies))], entered_date=later
    ).set_axis(range(start, start + len(copies)))
    tables["readings"] = pd.concat([readings, copies])
    return copies[copies["entered_date"] <= LAST_RECORDED_DAY.isoformat()]


def _zero_sheets(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    readings, kinds = tables["readings"], tables["pivots"]
    metal = kinds.groupby("unit_id")["bushing_type"].agg(lambda all_: set(all_) == {"threaded"})
    lines = readings[
        readings["unit_id"].isin(metal.index[metal]) & readings["after_repair"].ne("yes")
    ]
    lines = lines[~lines["finding"].isin(["seized", "broken", "loose-fit"])]
    size = lines.groupby(["unit_id", "reading_date"])["reading_id"].transform("size")
    first = _some(lines[size >= 4].drop_duplicates(["unit_id", "reading_date"]), rng, 8)
    sheets = pd.MultiIndex.from_frame(readings.loc[first, ["unit_id", "reading_date"]])
    own = pd.MultiIndex.from_frame(readings[["unit_id", "reading_date"]]).isin(sheets)
    readings.loc[own, "free_play"] = "0"
    return readings.loc[own & readings["takes_grease"].ne("no").to_numpy(dtype=bool)]


def _one_number(tables: Tables, rng: np.random.Generator) -> pd.DataFrame:
    readings = tables["readings"]
    metric = readings[readings["free_play_unit"].eq("mm")]
    who = metric["inspector"].unique()[int(rng.integers(metric["inspector"].nunique()))]
    own = metric.index[metric["inspector"] == who]
    readings.loc[own, "free_play"] = "0.8"
    return readings.loc[own]


PUT: dict[str, tuple[Change, tuple[str, ...]]] = {
    "repair before service": (_before_service, ("before-service",)),
    "reading after leaving": (_after_leaving, ("after-leaving",)),
    "reading with nothing fitted": (_nothing_fitted, ("nothing-fitted",)),
    "two fittings, no removal": (_fitted_over, ("fitted-without-removal",)),
    "kit of another node": (_wrong_kit, ("kit-wrong-node",)),
    "kit for more pivots": (_large_kit, ("kit-holds-more",)),
    "same reading under another id": (_second_entry, ("entered-twice",)),
    "sheet of zeros": (_zero_sheets, ("sheet-of-zeros",)),
    "always one number": (_one_number, ("same-number",)),
}


def test_kinds_that_are_put_in(tmp_path: Path) -> None:
    rows = []
    for seed in SEEDS:
        clean = tmp_path / str(seed)
        simulate(clean, seed=seed, faults=False)
        lines = [_put_in(clean, kind, seed) for kind in PUT]
        rows.append(pd.concat(lines))
    told = summary(rows)
    print(f"\n{told.to_string()}")
    assert (told["share found"] > 0.9).all()


def _put_in(clean: Path, kind: str, seed: int) -> pd.DataFrame:
    """Put one kind of fault into a copy of a fleet without faults and count what is found."""
    change, told = PUT[kind]
    names = ("units", "pivots", "readings", "repairs", "kits")
    tables = {n: pd.read_csv(clean / f"{n}.csv", dtype=str, keep_default_na=False) for n in names}
    kept = {n: (clean / f"{n}.csv").read_bytes() for n in names}
    put = change(tables, np.random.default_rng(seed))
    name = "readings" if "reading_id" in put else "repairs"
    faults = pd.DataFrame({"table": name, "row_number": put.index + 2, "kind": kind})
    for table, frame in tables.items():
        frame.to_csv(clean / f"{table}.csv", index=False)
    found = suspects(clean)
    for table, content in kept.items():
        (clean / f"{table}.csv").write_bytes(content)
    return counted(found, faults, {kind: told})
