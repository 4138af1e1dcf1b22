"""Faults put into the invented records, each one written down with its true value.

The kinds and shares are those of `scenario.FaultShares`: odometers mistyped, rolled back or in
kilometres; positions missing or sides swapped; jobs written as one kit line; causes left out;
readings of zero that were never made, thousandths entered whole, millimetres in an inch field;
late entry; a sold unit's number given to a later truck; rows repeated word for word. All shares
are invented.

Not here: faults in single numbers (`fleet_misreadings`) and of a meter itself (`fleet_meters`),
and honest gauge error.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.data.fleet_arrays import BoolArray
from pivotlife.data.fleet_block import Block
from pivotlife.data.fleet_misreadings import FaultLog, misread_play, spoil_odometers
from pivotlife.data.scenario import FaultShares

#: Whole sets of pivots (one bit a pivot, left fixed-eye lowest) that one kit line can renew.
KIT_SETS = {0b000110: 2, 0b110000: 2, 0b000111: 3, 0b111000: 3, 0b111111: 6}
#: Which reason a kit line is written under: the worst in it.
REASON_RANK = ("broken", "seized", "split", "wear", "preventive", "campaign", "partner")
ODOMETER_TABLES = ("readings", "repairs", "lube", "odometer")


def spoil(
    tables: dict[str, pd.DataFrame],
    block: Block,
    shares: FaultShares,
    rng: np.random.Generator,
) -> tuple[dict[str, pd.DataFrame], FaultLog]:
    """Put faults into the tables of a block.

    Parameters
    ----------
    tables : dict of DataFrame
        Rows with native columns, `unit`, `day` and `true_miles`; readings and repairs also with
        `pivot` and `stop`.
    block : Block
    shares : FaultShares
    rng : numpy.random.Generator

    Returns
    -------
    tables : dict of DataFrame
        With `key` (a name for each row within its table) and `copied` (a repeated row).
    log : FaultLog
    """
    log = FaultLog()
    made = {name: frame.assign(key=np.arange(len(frame))) for name, frame in tables.items()}
    made["repairs"] = _kit_lines(made["repairs"], shares.kit_line, rng, log)
    _lose_positions(made["repairs"], "repairs", shares.repair_position_missing, rng, log)
    _lose_positions(made["readings"], "readings", shares.reading_position_missing, rng, log)
    for name in ("readings", "repairs"):
        _swap_sides(made[name], name, shares.side_swapped, rng, log)
        _enter_late(made[name], name, block, shares, log)
    _lose_causes(made["repairs"], shares.cause_unknown, rng, log)
    misread_play(made["readings"], shares, rng, log)
    _log_meters(made, block, log)
    for name in ODOMETER_TABLES:
        spoil_odometers(made[name], name, shares, rng, log)
    _reuse_numbers(made, block, shares.reused_numbers, log)
    for name, frame in made.items():
        share = shares.duplicate if name in ODOMETER_TABLES else 0.0
        made[name] = _repeat_rows(frame, name, share, rng, log)
    return made, log


def _chosen(rows: pd.DataFrame, share: float, rng: np.random.Generator) -> BoolArray:
    """Choose rows at random."""
    return rng.random(len(rows)) < share


def _kit_lines(
    repairs: pd.DataFrame, share: float, rng: np.random.Generator, log: FaultLog
) -> pd.DataFrame:
    """Write some whole-shackle, whole-side and whole-axle jobs as one line without nodes."""
    renewed = repairs["action"] == "replaced"
    job = repairs["unit"].astype(str) + "/" + repairs["day"].astype(str)
    bits = (1 << repairs["pivot"].to_numpy()) * renewed.to_numpy()
    sets = pd.Series(bits).groupby(job.to_numpy()).sum()
    able = sets[sets.isin(list(KIT_SETS))]
    lines = able[rng.random(len(able)) < share]
    inside = (renewed & job.isin(lines.index)).to_numpy()
    if not inside.any():
        return repairs
    rank = repairs["reason"].map({reason: i for i, reason in enumerate(REASON_RANK)})
    rows = repairs[inside].assign(rank=rank[inside], job=job[inside])
    rows = rows.sort_values(["job", "rank", "pivot"], kind="stable")
    first = rows.drop_duplicates("job").set_index("job")
    sums = ["parts_cost", "labour_hours", "downtime_days"]
    first[sums] = rows.groupby("job")[sums].sum().round(2)
    count = lines[first.index].map(KIT_SETS)
    place = rows["side"] + "." + rows["node"]
    log.add(
        "repairs", first, column="node", kind="kit-line",
        true=place.groupby(rows["job"]).agg(";".join)[first.index].to_numpy(), written="",
    )  # fmt: skip
    first["node"] = ""
    first["side"] = np.where(count == 6, "", first["side"])
    first["pivots_in_kit"] = count.astype(str)
    kept = pd.concat([repairs[~inside], first.reset_index(drop=True).drop(columns="rank")])
    return kept.sort_values("key").reset_index(drop=True)


def _lose_positions(
    frame: pd.DataFrame, table: str, share: float, rng: np.random.Generator, log: FaultLog
) -> None:
    """Leave out the node, the side and node, or the whole position."""
    lost = _chosen(frame, share, rng)
    if "pivots_in_kit" in frame:
        lost &= frame["pivots_in_kit"].isin(["", "1"]).to_numpy()
    depth = rng.random(len(frame))
    for column, deeper in (("node", 0.0), ("side", 0.5), ("axle", 0.8)):
        here = lost & (depth >= deeper)
        true = frame.loc[here, column].to_numpy()
        log.add(table, frame[here], column=column, kind="position-missing", true=true, written="")
        frame.loc[here, column] = ""


def _swap_sides(
    frame: pd.DataFrame, table: str, share: float, rng: np.random.Generator, log: FaultLog
) -> None:
    """Write left for right and right for left."""
    here = _chosen(frame, share, rng) & (frame["side"] != "").to_numpy()
    true = frame.loc[here, "side"].to_numpy(dtype=object)
    other = np.where(true == "left", "right", "left").astype(object)
    log.add(table, frame[here], column="side", kind="side-swapped", true=true, written=other)
    frame.loc[here, "side"] = other


def _enter_late(
    frame: pd.DataFrame, table: str, block: Block, shares: FaultShares, log: FaultLog
) -> None:
    """Enter half of the sheets late, mostly by days, at most by 45, never after the last day."""
    if shares.entry_lag <= 0:
        return
    part = block.drawn_sheet(frame, "lag") / shares.entry_lag
    days = np.ceil(shares.longest_lag_days * np.minimum(part, 1.0) ** 3).astype(np.int64)
    last = block.trucks.last_day
    day = frame["day"].to_numpy(dtype=np.int64)
    entered = np.minimum(day + np.where(part < 1.0, days, 0), last)
    late = entered > day
    text = block.dates(entered)
    true = frame.loc[late, "entered_date"].to_numpy()
    log.add(table, frame[late], column="entered_date", kind="entry-lag", true=true,
            written=text[late])  # fmt: skip
    frame["entered_date"] = text


def _lose_causes(
    repairs: pd.DataFrame, share: float, rng: np.random.Generator, log: FaultLog
) -> None:
    """Leave the cause blank or call it unknown."""
    here = _chosen(repairs, share, rng) & (repairs["reason"] != "").to_numpy()
    word = np.where(rng.random(len(repairs)) < 0.5, "", "unknown").astype(object)[here]
    true = repairs.loc[here, "reason"].to_numpy()
    log.add("repairs", repairs[here], column="reason", kind="cause-unknown", true=true,
            written=word)  # fmt: skip
    repairs.loc[here, "reason"] = word


def _log_meters(made: dict[str, pd.DataFrame], block: Block, log: FaultLog) -> None:
    """Write down replaced meters, and the rows of engine computers that are off."""
    meters, units = block.meters, made["units"]
    swapped = meters.change_day <= block.trucks.last_day
    log.add("units", units[swapped], column="", kind="meter-replaced",
            true=meters.change_miles[swapped].astype(np.int64),
            written=meters.new_reading[swapped].astype(np.int64))  # fmt: skip
    reads = made["odometer"]
    unit = reads["unit"].to_numpy()
    off = (reads["source"] == "engine").to_numpy() & (meters.engine_factor[unit] != 1.0)
    log.add("odometer", reads[off], column="odometer", kind="engine-offset",
            true=reads.loc[off, "true_miles"].astype(np.int64),
            written=reads.loc[off, "odometer"])  # fmt: skip


def reused_numbers(block: Block, pairs: int) -> list[tuple[int, int]]:
    """Pair sold units with trucks delivered at least 30 days later.

    Returns
    -------
    list of (sold unit, later truck)
        Places in the block; the later truck gets the sold one's number.
    """
    trucks = block.trucks
    sold = np.flatnonzero(~trucks.in_fleet & ~trucks.wrecked)
    later = np.flatnonzero(trucks.in_fleet & (trucks.day[:, 0] > 0))
    newest = later[np.argsort(-trucks.day[later, 0], kind="stable")].tolist()
    found: list[tuple[int, int]] = []
    for unit in sold[np.argsort(trucks.left_day[sold], kind="stable")].tolist():
        if len(found) == pairs or not newest:
            break
        if trucks.day[newest[0], 0] >= trucks.left_day[unit] + 30:
            found.append((unit, newest.pop(0)))
    return found


def _reuse_numbers(made: dict[str, pd.DataFrame], block: Block, pairs: int, log: FaultLog) -> None:
    """Give sold units' numbers to later trucks, in every table."""
    for sold, later in reused_numbers(block, pairs):
        old, true = block.ids(np.array([sold, later]))
        for table, frame in made.items():
            here = (frame["unit"] == later).to_numpy()
            rows = frame[here]
            log.add(table, rows, column="unit_id", kind="unit-number-reused",
                    true=np.repeat(true, len(rows)), written=old)  # fmt: skip
            frame.loc[here, "unit_id"] = old


def _repeat_rows(
    frame: pd.DataFrame, table: str, share: float, rng: np.random.Generator, log: FaultLog
) -> pd.DataFrame:
    """Repeat some rows word for word, right below themselves."""
    twice = _chosen(frame, share, rng)
    rows = frame[twice]
    log.add(table, rows, column="", kind="duplicate", true=np.repeat("", len(rows)), written="",
            copied=True)  # fmt: skip
    both = pd.concat([frame.assign(copied=False), rows.assign(copied=True)])
    return both.sort_values(["key", "copied"], kind="stable").reset_index(drop=True)
