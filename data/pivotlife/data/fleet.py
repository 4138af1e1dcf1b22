"""The invented Meridell Demo Fleet, written as the files a real fleet would have, with its truth.

`simulate` writes native-header CSV files, a settings.toml that runs on them as it is, and a
folder truth/ with what no shop could know: every life's true end, the true play behind each
reading, each injected fault, the true miles behind each odometer value, and the true laws by
type. EVERY NUMBER IS INVENTED.

Fleets larger than 180 units are made of blocks of 180, each with the same mix of depots and
duties. A unit's roads, first bushings and measuring errors come from its own random stream and do
not depend on how many units there are; what is shared out among a block (sales, meters, ranks in
the campaign, faults) depends on that block only. So the files of a larger fleet begin with those
of a smaller one made of whole blocks.

Not here: reading any of these files.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from pivotlife.data import fleet_records, fleet_repairs, fleet_tables, fleet_truth
from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import IntArray, stream
from pivotlife.data.fleet_block import Block
from pivotlife.data.fleet_campaign import conversion_stops
from pivotlife.data.fleet_faults import ODOMETER_TABLES, spoil
from pivotlife.data.fleet_inspections import inspector_bias_mm
from pivotlife.data.fleet_meters import build_meters
from pivotlife.data.fleet_service import run_shop
from pivotlife.data.fleet_shop import Recording, ShopRules
from pivotlife.data.fleet_summary import FleetSummary, Tally
from pivotlife.data.fleet_units import build_trucks
from pivotlife.data.fleet_writer import FleetWriter, write_settings

FAULT_STREAM = 4
LAST_RECORDED_DAY = date(2026, 6, 30)


@dataclass(frozen=True)
class _Plan:
    """The run's options after checking."""

    units: int
    seed: int
    last_day: int
    first_date: date
    shares: sc.FaultShares
    campaign: bool
    rules: ShopRules


def simulate(
    folder: Path,
    *,
    units: int = 180,
    years: float = 6.0,
    seed: int = 1,
    faults: bool = True,
    bad_odometers: float | None = None,
    campaign: bool = True,
    recording: Recording = "independent",
    renew_at: float | None = None,
    end: date = LAST_RECORDED_DAY,
) -> FleetSummary:
    """Write the files of an invented fleet.

    Parameters
    ----------
    folder : Path
        Made if absent; files of the same names in it are replaced.
    units : int
        Trucks in the fleet, those sold or wrecked on the way included.
    years : float
        Length of the recorded window, which ends on `end`.
    seed : int
        The same seed and options write the same bytes.
    faults : bool
        False writes clean records: no typing errors, every position and cause known, no late
        entry. Gauge error and human habits stay.
    bad_odometers : float or None
        Share of odometer values to spoil; None keeps the scenario's 4 %.
    campaign : bool
        Whether some trucks are converted to rollers, worst first.
    recording : "independent" or "bad-always"
        Whether good and bad readings reach the records alike; see `ShopRules`.
    renew_at : float or None
        Renew a metal bushing, as a precaution, at this share of the limit.
    end : date
        Last day of the window; the as-of date that fits the files.

    Returns
    -------
    FleetSummary

    Raises
    ------
    ValueError
        When an option is out of range; the text names it.
    """
    _check(units, years, seed, recording, renew_at)
    last_day = round(years * sc.DAYS_PER_YEAR)
    plan = _Plan(
        units=units,
        seed=seed,
        last_day=last_day,
        first_date=end - timedelta(days=last_day),
        shares=sc.fault_shares(faults, bad_odometers),
        campaign=campaign,
        rules=ShopRules(recording, renew_at),
    )
    return _run(folder, plan)


def _check(units: int, years: float, seed: int, recording: str, renew_at: float | None) -> None:
    """Check the options."""
    if units < 1:
        raise ValueError(f"units must be at least 1, not {units}")
    if not 1.0 <= years <= 40.0:
        raise ValueError(f"years must lie between 1 and 40, not {years}")
    if seed < 0:
        raise ValueError(f"seed must not be negative, not {seed}")
    if recording not in ("independent", "bad-always"):
        raise ValueError(f"recording must be independent or bad-always, not {recording!r}")
    if renew_at is not None and not 0.0 < renew_at <= 1.0:
        raise ValueError(f"renew_at must lie above 0 and up to 1, not {renew_at}")


def _run(folder: Path, plan: _Plan) -> FleetSummary:
    """Live and write block after block, then what belongs to the whole fleet."""
    writer = FleetWriter(folder)
    tally = Tally()
    for first in range(0, plan.units, sc.FLEET_UNITS):
        block, convert_at = _live(plan, first)
        _write_block(plan, block, convert_at, writer, tally)
    end = plan.first_date + timedelta(days=plan.last_day)
    writer.append("kits", fleet_records.kits_table())
    writer.append("capacity", fleet_records.capacity_table(plan.units, end, plan.seed))
    writer.append_truth("type_truth", fleet_truth.type_truth(tally.laws()))
    write_settings(folder, end, plan.seed)
    return tally.summary(plan.units, writer.rows)


def _live(plan: _Plan, first: int) -> tuple[Block, IntArray]:
    """Run one block through its years, first without and then with the campaign."""
    count = min(sc.FLEET_UNITS, plan.units - first)
    trucks, draws = build_trucks(first, count, plan.seed, plan.last_day)
    bias = inspector_bias_mm(plan.seed)
    convert_at = np.full(count, -1)
    history = run_shop(trucks, draws, plan.rules, bias, convert_at)
    if plan.campaign:
        convert_at = conversion_stops(trucks, history.readings)
        history = run_shop(trucks, draws, plan.rules, bias, convert_at)
    rng = stream(plan.seed, FAULT_STREAM, first // sc.FLEET_UNITS, 0)
    meters = build_meters(trucks, plan.shares, rng)
    return Block(trucks, draws, meters, history, plan.first_date), convert_at


def _write_block(
    plan: _Plan, block: Block, convert_at: IntArray, writer: FleetWriter, tally: Tally
) -> None:
    """Write one block's tables and truth."""
    places = np.arange(len(block.trucks.number))
    until = block.trucks.miles_on(places, block.trucks.until_day)
    lube, odometer = fleet_records.lube_and_odometer(block, plan.seed, until, convert_at)
    tables = {
        "units": fleet_tables.units_table(block, until),
        "pivots": fleet_tables.pivots_table(block),
        "readings": fleet_tables.readings_table(block),
        "repairs": fleet_repairs.repairs_table(block),
        "lube": lube,
        "odometer": odometer,
        "meters": fleet_records.meters_table(block),
        "visits": fleet_records.visits_table(block, convert_at),
    }
    rng = stream(plan.seed, FAULT_STREAM, int(block.trucks.number[0]) // sc.FLEET_UNITS, 1)
    spoiled, log = spoil(tables, block, plan.shares, rng)
    written = {name: writer.append_table(name, frame) for name, frame in spoiled.items()}
    lives = fleet_truth.true_lives(block)
    _write_truth(lives, spoiled, written, writer)
    _write_faults(log.frame(), written, writer)
    tally.add(block, lives, spoiled["readings"], convert_at)


def _write_truth(
    lives: pd.DataFrame,
    spoiled: Mapping[str, pd.DataFrame],
    written: Mapping[str, pd.DataFrame],
    writer: FleetWriter,
) -> None:
    """Write true lives, true play and true miles of one block."""
    writer.append_truth("lives", lives)
    once = ~spoiled["readings"]["copied"].to_numpy(dtype=bool)
    readings = spoiled["readings"][once]
    play = pd.DataFrame(
        {
            "reading_id": written["readings"].loc[once, "row_id"],
            "life_id": lives["life_id"].to_numpy()[readings["life"]],
            "age_miles": readings["age"].astype(np.int64),
            "true_play_mm": readings["play"].round(4),
        }
    )
    writer.append_truth("readings", play)
    for name in (*ODOMETER_TABLES, "meters"):
        once = ~spoiled[name]["copied"].to_numpy(dtype=bool)
        miles = spoiled[name].loc[once, "true_miles"].round().astype(np.int64)
        rows = {"table": name, "row_id": written[name].loc[once, "row_id"], "true_miles": miles}
        writer.append_truth("odometers", pd.DataFrame(rows))


def _write_faults(
    log: pd.DataFrame, written: Mapping[str, pd.DataFrame], writer: FleetWriter
) -> None:
    """Give logged faults their rows in the files."""
    rows = pd.concat([frame.assign(table=name) for name, frame in written.items()])
    placed = log.merge(rows, on=["table", "key", "copied"], how="left", validate="many_to_one")
    writer.append_truth("faults", placed)
