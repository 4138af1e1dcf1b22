"""What an invented fleet's files hold, counted while they are written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pivotlife.data import fleet_truth
from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import IntArray
from pivotlife.data.fleet_block import Block


@dataclass(frozen=True)
class FleetSummary:
    """What was written; lives are those with at least some recorded years.

    Attributes
    ----------
    units, units_in_fleet, units_converted : int
    lives, failures, removals, running : int
        Lives on record: all, ended by failure, taken out for another reason, and still running
        when the truck left or the window ended.
    readings, repairs, lube, odometer, visits : int
        Rows written, repeated ones included.
    faults : int
        Rows of truth/faults.csv.
    lives_by_type, failures_by_type, readings_by_type : mapping of str to int
    million_miles_by_type : mapping of str to float
        True miles run on recorded lives since the records begin.
    """

    units: int
    units_in_fleet: int
    units_converted: int
    lives: int
    failures: int
    removals: int
    running: int
    readings: int
    repairs: int
    lube: int
    odometer: int
    visits: int
    faults: int
    lives_by_type: Mapping[str, int]
    failures_by_type: Mapping[str, int]
    readings_by_type: Mapping[str, int]
    million_miles_by_type: Mapping[str, float]


class Tally:
    """Counts over the blocks, and the few numbers of each truck that the true laws need."""

    def __init__(self) -> None:
        self.trucks: list[fleet_truth.TruckLaws] = []
        self.lives: list[pd.DataFrame] = []
        self.readings = np.zeros(len(sc.BUSHING_TYPES), dtype=np.int64)
        self.in_fleet = 0
        self.converted = 0

    def add(
        self, block: Block, lives: pd.DataFrame, readings: pd.DataFrame, convert_at: IntArray
    ) -> None:
        """Count one block."""
        trucks = block.trucks
        own = fleet_truth.TruckLaws(trucks.duty, trucks.salt, trucks.care, trucks.frailty)
        self.trucks.append(own)
        self.readings += np.bincount(readings["kind"], minlength=len(sc.BUSHING_TYPES))
        self.in_fleet += int(trucks.in_fleet.sum())
        self.converted += int((convert_at >= 0).sum())
        own_lives = block.history.lives
        unit = own_lives["unit"].to_numpy()
        begin = trucks.miles_on(np.arange(len(trucks.number)), trucks.begin_day)[unit]
        entered = np.maximum(begin, own_lives["fitted_miles"].to_numpy())
        recorded = lives["recorded"] == "yes"
        facts = pd.DataFrame({
            "bushing_type": lives["bushing_type"],
            "lives": 1,
            "failures": fleet_truth.recorded_failures(lives),
            "removals": lives["end_reason"] != "",
            "miles": own_lives["end_miles"] - entered,
        })  # fmt: skip
        self.lives.append(facts[recorded].groupby("bushing_type").sum())

    def laws(self) -> fleet_truth.TruckLaws:
        """Join what shapes lives over all trucks."""
        parts = [[getattr(t, name) for t in self.trucks] for name in ("duty", "salt", "care",
                                                                     "frailty")]  # fmt: skip
        return fleet_truth.TruckLaws(*(np.concatenate(part) for part in parts))

    def summary(self, units: int, rows: Mapping[str, int]) -> FleetSummary:
        """Add everything up; `rows` are the rows written by file."""
        by_type = pd.concat(self.lives).groupby(level=0).sum().reindex(sc.BUSHING_TYPES).fillna(0)
        counts = {
            name: dict(zip(sc.BUSHING_TYPES, by_type[name].astype(int).tolist(), strict=True))
            for name in ("lives", "failures", "removals")
        }
        lives, failures, removals = (sum(column.values()) for column in counts.values())
        miles = (by_type["miles"] / 1e6).round(2).tolist()
        return FleetSummary(
            units=units,
            units_in_fleet=self.in_fleet,
            units_converted=self.converted,
            lives=lives,
            failures=failures,
            removals=removals - failures,
            running=lives - removals,
            readings=rows["readings"],
            repairs=rows["repairs"],
            lube=rows["lube"],
            odometer=rows["odometer"],
            visits=rows["visits"],
            faults=rows["truth/faults"],
            lives_by_type=counts["lives"],
            failures_by_type=counts["failures"],
            readings_by_type=dict(zip(sc.BUSHING_TYPES, self.readings.tolist(), strict=True)),
            million_miles_by_type=dict(zip(sc.BUSHING_TYPES, miles, strict=True)),
        )
