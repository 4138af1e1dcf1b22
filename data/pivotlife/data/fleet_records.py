"""Rows about the truck as a whole: lube, odometer, meters, visits; and the shop's kits and hours.

As in `fleet_tables`, frames carry `unit`, `day` and `true_miles` beside the native columns. All
numbers are invented.

Not here: the bushings, and faults.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import FloatArray, IntArray, stream, words
from pivotlife.data.fleet_block import BUILDS_IN, PARTS_COST, Block, kit_ids

LUBE_STREAM = 5
CAPACITY_STREAM = 6
PLANNED_VISITS = 3
WEEKS_BEHIND = 4
WEEKS_AHEAD = 26
BAY_HOURS_PER_UNIT = 0.4


def _services(
    block: Block, rng: np.random.Generator, unit: int, until_miles: float, converted_miles: float
) -> FloatArray:
    """Miles at which one truck's lube services were done; a missed one leaves no row."""
    trucks = block.trucks
    interval = float(sc.LUBE_MILES[trucks.duty[unit]])
    begin = float(np.interp(trucks.begin_day[unit], trucks.day[unit], trucks.odometer[unit]))
    due = int((until_miles - begin) / (0.9 * interval)) + 2
    miles = np.floor(begin + np.cumsum(interval * rng.uniform(0.9, 1.1, due)))
    done = rng.random(due)
    care = trucks.care[unit] + sc.ATTENTION_EFFECT * (miles >= converted_miles)
    return np.asarray(miles[(miles <= until_miles) & (done < care)], dtype=float)


def _reading_days(rng: np.random.Generator, first: int, last: int) -> IntArray:
    """Days on which somebody wrote down one truck's odometer, about every two months."""
    days = first + np.cumsum(rng.integers(45, 76, (last - first) // 45 + 1))
    return np.asarray(days[days <= last], dtype=np.int64)


def lube_and_odometer(
    block: Block, seed: int, until_miles: FloatArray, convert_at: IntArray
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Grease services and odometer readings of the recorded years.

    Parameters
    ----------
    block : Block
    seed : int
    until_miles : ndarray of float, shape (units,)
    convert_at : ndarray of int, shape (units,)
        Stop of the campaign's conversion, -1 for none; care is better from then on.

    Returns
    -------
    lube, odometer : DataFrame
    """
    trucks = block.trucks
    lube, reads = [], []
    for u, number in enumerate(trucks.number.tolist()):
        rng = stream(seed, LUBE_STREAM, number)
        converted = np.inf if convert_at[u] < 0 else trucks.odometer[u, convert_at[u]]
        miles = _services(block, rng, u, float(until_miles[u]), float(converted))
        day = np.ceil(np.interp(miles, trucks.odometer[u], trucks.day[u])).astype(np.int64)
        day = np.minimum(day, trucks.until_day[u])
        lube.append(pd.DataFrame({"unit": u, "day": day, "true_miles": miles}).assign(
            said=rng.random(len(miles))
        ))  # fmt: skip
        day = _reading_days(rng, int(trucks.begin_day[u]), int(trucks.until_day[u]))
        miles = np.floor(np.interp(day, trucks.day[u], trucks.odometer[u]))
        reads.append(pd.DataFrame({"unit": u, "day": day, "true_miles": miles}).assign(
            engine=rng.random(len(miles)) < 0.3
        ))  # fmt: skip
    return _lube_table(block, pd.concat(lube)), _odometer_table(block, pd.concat(reads))


def _lube_table(block: Block, rows: pd.DataFrame) -> pd.DataFrame:
    """Word the lube rows; a pin that refuses grease shows in the service's one answer."""
    rows = rows.sort_values(["day", "unit"], kind="stable").reset_index(drop=True)
    unit, miles = rows["unit"].to_numpy(), rows["true_miles"].to_numpy()
    refused = np.zeros(len(rows), dtype=bool)
    lives = block.history.lives.loc[block.history.lives["seized"]]
    first = lives["fitted_miles"] + sc.REFUSES_GREASE_FROM * lives["wear_age"]
    for truck, start, end in zip(lives["unit"], first, lives["end_miles"], strict=True):
        refused |= (unit == truck) & (miles >= start) & (miles < end)
    took = np.where(refused, "no", "yes")
    took = np.where(rows["said"] < 0.15, "unknown", took)
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            "lube_date": block.dates(rows["day"].to_numpy()),
            "odometer": block.meters.dash(unit, rows["day"].to_numpy(), miles),
            "odometer_unit": "mi",
            "all_took_grease": took,
            "remark": "",
            "unit": unit,
            "day": rows["day"],
            "true_miles": miles,
        }
    )


def _odometer_table(block: Block, rows: pd.DataFrame) -> pd.DataFrame:
    """Word the odometer rows."""
    rows = rows.sort_values(["day", "unit"], kind="stable").reset_index(drop=True)
    unit, day = rows["unit"].to_numpy(), rows["day"].to_numpy()
    miles, engine = rows["true_miles"].to_numpy(), rows["engine"].to_numpy()
    dash = block.meters.dash(unit, day, miles)
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            "read_date": block.dates(day),
            "odometer": np.where(engine, block.meters.engine(unit, miles), dash),
            "odometer_unit": "mi",
            "source": words(engine, ("dash", "engine")),
            "unit": unit,
            "day": day,
            "true_miles": miles,
        }
    )


def meters_table(block: Block) -> pd.DataFrame:
    """One row a meter replacement that was written down."""
    meters = block.meters
    unit = np.flatnonzero(meters.told & (meters.change_day <= block.trucks.last_day))
    day = meters.change_day[unit]
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            "change_date": block.dates(day),
            "old_reading": meters.change_miles[unit].astype(np.int64),
            "new_reading": meters.new_reading[unit].astype(np.int64),
            "odometer_unit": "mi",
            "unit": unit,
            "day": day,
            "true_miles": meters.change_miles[unit],
        }
    )


def visits_table(block: Block, convert_at: IntArray) -> pd.DataFrame:
    """Past stops of the recorded years and three planned ones; a few units have no plan.

    Parameters
    ----------
    block : Block
    convert_at : ndarray of int, shape (units,)

    Returns
    -------
    DataFrame
    """
    trucks = block.trucks
    future = trucks.day > trucks.last_day
    planned = future & (np.cumsum(future, axis=1) <= PLANNED_VISITS)
    has_plan = block.draws.of_sheet("lag", 0) >= sc.NO_PLANNED_VISIT_SHARE
    planned &= (trucks.in_fleet & has_plan)[:, None]
    unit, stop = np.nonzero(trucks.recorded | planned)
    purpose = words(trucks.due[unit, stop], ("service", "service and free play"))
    purpose = np.where(convert_at[unit] == stop, "retrofit", purpose)
    day = trucks.day[unit, stop]
    order = np.lexsort((unit, day))
    unit, day, purpose = unit[order], day[order], purpose[order]
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            "visit_date": block.dates(day),
            "depot": words(trucks.depot[unit], sc.DEPOTS),
            "purpose": purpose,
            "unit": unit,
            "day": day,
            "true_miles": trucks.odometer[unit, stop[order]],
        }
    )


def kits_table() -> pd.DataFrame:
    """One row a kit: each type for each node of each build; prices and stocks are invented."""
    kind, node, build = (
        part.ravel()
        for part in np.meshgrid(np.arange(3), np.arange(3), np.arange(2), indexing="ij")
    )
    centres, width, outside, _ = BUILDS_IN[build].T
    return pd.DataFrame(
        {
            "kit_id": kit_ids(kind, node, build),
            "bushing_type": words(kind, sc.BUSHING_TYPES),
            "node": words(node, sc.NODES),
            "outside": words(node == sc.NODES.index("shackle-upper"), ("ribbed", "smooth")),
            "side_bar_centres": centres,
            "spring_width": width,
            "bushing_outside_diameter": outside,
            "tolerance": 0.01,
            "length_unit": "in",
            "price": PARTS_COST[kind] + 2.0 * node + np.where(build == 1, -3.0, 0.0),
            "lead_time_days": np.array([5, 7, 21])[kind],
            "drive_tool": words(build, ("driver 1.75", "driver 1.50")),
            "on_hand": np.array([14, 16, 9])[kind] - 2 * node - 4 * build,
            "on_order": np.array([0, 6, 12])[kind],
            "warranty_miles": np.array([0, 50_000, 250_000])[kind],
            "warranty_months": np.array([0, 12, 36])[kind],
        }
    )


def capacity_table(units: int, end: date, seed: int) -> pd.DataFrame:
    """Bay hours by depot and week, from four weeks before the end to half a year after.

    Parameters
    ----------
    units : int
        Units in the whole fleet.
    end : date
        Last day of the window.
    seed : int

    Returns
    -------
    DataFrame
    """
    rng = stream(seed, CAPACITY_STREAM)
    monday = end - timedelta(days=end.weekday())
    weeks = [monday + timedelta(weeks=w) for w in range(-WEEKS_BEHIND, WEEKS_AHEAD + 1)]
    share = sc.FLEET_MIX.sum(axis=1) / sc.FLEET_UNITS
    hours = BAY_HOURS_PER_UNIT * units * share[:, None] * rng.uniform(0.8, 1.2, (4, len(weeks)))
    return pd.DataFrame(
        {
            "depot": np.repeat(np.array(sc.DEPOTS, dtype=object), len(weeks)),
            "week_start": [w.isoformat() for w in weeks] * len(sc.DEPOTS),
            "bay_hours": np.round(np.maximum(hours, 4.0).ravel(), 1),
        }
    )
