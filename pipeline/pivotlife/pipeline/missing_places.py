"""Missing positions: filled in where one possibility is left, otherwise left unknown.

A row without axle, side or node may still name them in its remark. A reading may then be left with
one pivot: the only one of its unit that fits (rubber alone splits or is squeezed out, metal alone
turns rough), or the only one that the other rows of its sheet did not read. Where nearly all sheets
list their pivots in one order (axle, side, node), it must also stand between the rows above and
below. A sheet that reads a pivot twice, or breaks that order, has more wrong with it than a
blank: nothing is inferred from its other rows. What stays open is never spread over the pivots of
its unit.

Not here: repairs once their remark is heard (`repair_places`); the safety step, for which a row
without a full position stays one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.data.contracts.vocabulary import NODES, SIDES
from pivotlife.pipeline.place_words import NOTHING, NamedParts, named_parts

#: How the parts of a position came to be known.
FROM_TEXT: Final = "its remark"
ONLY_PIVOT: Final = "the only pivot of its unit that it can mean"
ONLY_KIND: Final = "the only pivot of its unit with a bushing that can show this"
LEFT_OVER: Final = "the only pivot that the other rows of its sheet did not read"
BETWEEN: Final = "the only pivot between the rows above and below it on its sheet"
#: How the ledger begins to speak of rows without a full position.
ATTRIBUTED: Final = "position missing, attributed to"
STILL_OPEN: Final = "position unknown:"
UNKNOWN: Final = f"{STILL_OPEN} used for its odometer, and for safety on the whole unit"

RUBBER: Final = "rubber-bonded"
RUBBER_FINDINGS: Final = frozenset({"split", "extruded"})
METAL_FINDINGS: Final = frozenset({"rough", "rust-in-purge"})

#: Rows of one unit that agree in these were written at one look.
SHEET: Final = ("unit_id", "reading_date", "after_repair", "repeat")
#: Sheets are taken to list their pivots in order when this share of at least so many of them do.
ORDERLY_SHARE: Final = 0.9
ORDERLY_SHEETS: Final = 30
_PARTS: Final = ("axle", "side", "node")

Pivot = tuple[int, str, str]


class Row(NamedTuple):
    """A row, and how much of its position it names (0 and "" where it does not)."""

    row: int
    axle: int
    side: str
    node: str
    finding: str
    heard: bool
    named: bool

    def may_be(self, pivot: Pivot) -> bool:
        """Say whether a pivot agrees with the parts that the row names."""
        own = (self.axle, self.side, self.node)
        return all(not mine or mine == part for mine, part in zip(own, pivot, strict=True))


def hear_remarks(rows: pd.DataFrame, pivots: Mapping[str, Sequence[Pivot]]) -> pd.DataFrame:
    """Fill parts of positions that the remark of their row names.

    Parameters
    ----------
    rows : DataFrame
        Judged readings or repairs.
    pivots : mapping of unit_id to pivots
        (axle, side, node) of every pivot on record.

    Returns
    -------
    DataFrame
        With `heard` (bool): some part came from the remark. A remark that contradicts the row,
        or names a place the unit does not have, fills nothing. `pivot_id` stays as it is.
    """
    silent = (rows["pivot_id"] != "") | (rows["remark"] == "")
    heard: dict[int, NamedParts] = {}
    for row, unit, remark in zip(
        _rows(rows[~silent]), rows["unit_id"][~silent], rows["remark"][~silent], strict=True
    ):
        full = _joined(row, named_parts(str(remark)))
        if full is None:
            continue
        told = row._replace(axle=full.axle, side=full.side, node=full.node)
        if any(told.may_be(pivot) for pivot in pivots.get(str(unit), ())):
            heard[row.row] = full
    at = list(heard)
    filled = rows.assign(heard=rows.index.isin(at))
    for part in _PARTS if at else ():
        values = [
            getattr(full, part) or (np.nan if part == "axle" else "") for full in heard.values()
        ]
        filled.loc[at, part] = values
    return filled


def _joined(row: Row, said: NamedParts) -> NamedParts | None:
    """Join a row's own parts with the remark's; None when they differ or nothing is added."""
    own = NamedParts(row.axle, row.side, row.node)
    if said == NOTHING or any(a and b and a != b for a, b in zip(own, said, strict=True)):
        return None
    joined = NamedParts(own.axle or said.axle, own.side or said.side, own.node or said.node)
    return joined if joined != own else None


def known_pivots(tables: Mapping[str, pd.DataFrame]) -> dict[str, list[Pivot]]:
    """List the pivots of each unit: those declared, and those that a row names in full."""
    columns = ["unit_id", "pivot_id", *_PARTS]
    named = pd.concat([tables[name][columns] for name in ("pivots", "readings", "repairs")])
    named = named[named["pivot_id"] != ""].drop_duplicates("pivot_id")
    found: dict[str, list[Pivot]] = {}
    for unit, axle, side, node in zip(named["unit_id"], *(named[p] for p in _PARTS), strict=True):
        found.setdefault(str(unit), []).append((int(axle), str(side), str(node)))
    return found


def place_readings(
    readings: pd.DataFrame,
    pivots: Mapping[str, Sequence[Pivot]],
    spans: pd.DataFrame,
    keys: npt.NDArray[np.int64],
) -> pd.DataFrame:
    """Give readings without a full position their pivot where only one is left.

    Parameters
    ----------
    readings : DataFrame
        From `hear_remarks`, with a RangeIndex.
    pivots : mapping of unit_id to pivots
        From `known_pivots`.
    spans : DataFrame
        `pivot_id, bushing_type, start_key, end_key`: what was in each pivot when.
    keys : ndarray of int, shape (n_readings,)
        Time of each reading.

    Returns
    -------
    DataFrame
        With position and `pivot_id` of the placed rows, and `placed_by` ("" for rows that name
        their pivot themselves or stay open).
    """
    nameless = readings["pivot_id"].to_numpy() == ""
    placed: dict[int, tuple[Pivot, str]] = {}
    if nameless.any():
        by_sheet = readings.groupby(list(SHEET), sort=False, dropna=False)
        sheet = np.asarray(by_sheet.ngroup(), dtype=np.int64)
        inside = readings[np.isin(sheet, sheet[nameless])]
        kind_at = _kinds(spans[spans["unit_id"].isin(inside["unit_id"])])
        orderly = _lists_in_order(readings, sheet)
        for _, rows in inside.groupby(sheet[inside.index], sort=False):
            unit = str(rows["unit_id"].iloc[0])
            there = list(pivots.get(unit, ()))
            key = int(keys[rows.index[0]])
            kinds = {pivot: kind_at(_pivot_id(unit, pivot), key) for pivot in there}
            placed |= _placed(_rows(rows), kinds, orderly)
    return _with_places(readings, placed)


def _with_places(readings: pd.DataFrame, placed: Mapping[int, tuple[Pivot, str]]) -> pd.DataFrame:
    filled = readings.assign(placed_by="")
    at = list(placed)
    if not at:
        return filled
    for place, part in enumerate(_PARTS):
        filled.loc[at, part] = [pivot[place] for pivot, _ in placed.values()]
    units = filled.loc[at, "unit_id"]
    named = zip(units, placed.values(), strict=True)
    filled.loc[at, "pivot_id"] = [_pivot_id(str(unit), pivot) for unit, (pivot, _) in named]
    filled.loc[at, "placed_by"] = [how for _, how in placed.values()]
    return filled


def _kinds(spans: pd.DataFrame) -> Callable[[str, int], str]:
    """Look up the bushing type in a pivot at a time; "" where none was in it."""
    held: dict[str, list[tuple[int, int, str]]] = {}
    columns = ("pivot_id", "start_key", "end_key", "bushing_type")
    for pivot, start, end, kind in zip(*(spans[name] for name in columns), strict=True):
        held.setdefault(str(pivot), []).append((int(start), int(end), str(kind)))

    def kind_at(pivot_id: str, key: int) -> str:
        found = (kind for start, end, kind in held.get(pivot_id, ()) if start <= key < end)
        return next(found, "")

    return kind_at


def _rows(rows: pd.DataFrame) -> list[Row]:
    finding = rows["finding"] if "finding" in rows else rows["teardown_finding"]
    heard = rows["heard"] if "heard" in rows else pd.Series(data=False, index=rows.index)
    columns = [*(rows[name] for name in _PARTS), finding, heard, rows["pivot_id"]]
    return [
        Row(int(index), 0 if np.isnan(axle) else int(axle), side, node, finding, heard, pivot != "")
        for index, axle, side, node, finding, heard, pivot in zip(rows.index, *columns, strict=True)
    ]


def _lists_in_order(readings: pd.DataFrame, sheet: npt.NDArray[np.int64]) -> bool:
    """Say whether the sheets of these records list their pivots by axle, side and node."""
    named = readings["pivot_id"].to_numpy() != ""
    rows = readings[named]
    side = pd.Categorical(rows["side"], categories=list(SIDES)).codes.astype(np.int64)
    node = pd.Categorical(rows["node"], categories=list(NODES)).codes.astype(np.int64)
    rank = (rows["axle"].to_numpy().astype(np.int64) * len(SIDES) + side) * len(NODES) + node
    grouped = pd.Series(rank).groupby(sheet[named])
    several = grouped.transform("size").to_numpy() >= 3
    falls = (grouped.diff().to_numpy() <= 0)[several]
    broken = pd.Series(falls).groupby(sheet[named][several]).any()
    return len(broken) >= ORDERLY_SHEETS and 1.0 - float(broken.mean()) >= ORDERLY_SHARE


def _placed(
    sheet: Sequence[Row], kinds: Mapping[Pivot, str], orderly: bool
) -> dict[int, tuple[Pivot, str]]:
    """Place the open rows of one sheet, one after the other, while one is left with one pivot."""
    placed: dict[int, tuple[Pivot, str]] = {}
    read: dict[int, Pivot] = {}
    waiting: list[tuple[int, Row, list[Pivot]]] = []
    for place, row in enumerate(sheet):
        named = [pivot for pivot in kinds if row.may_be(pivot)]
        able = [pivot for pivot in named if kinds[pivot] and _can_show(kinds[pivot], row.finding)]
        if row.named:
            read[place] = row.axle, row.side, row.node
        elif len(able) == 1:
            how = ONLY_PIVOT if len(named) == 1 else ONLY_KIND
            placed[row.row], read[place] = (able[0], _said(row, how)), able[0]
        else:
            waiting.append((place, row, able))
    ranks = [_rank(read[place]) for place in sorted(read)]
    if len(set(ranks)) == len(ranks) and not (orderly and ranks != sorted(ranks)):
        _place_by_others(waiting, read, placed, orderly)
    return placed


def _place_by_others(
    waiting: list[tuple[int, Row, list[Pivot]]],
    read: dict[int, Pivot],
    placed: dict[int, tuple[Pivot, str]],
    orderly: bool,
) -> None:
    """Place rows that the others leave one pivot; stop where two rows want the same one."""
    while True:
        single = []
        for place, row, able in waiting:
            free = [pivot for pivot in able if pivot not in read.values()]
            fits = [pivot for pivot in free if not orderly or _between(pivot, place, read)]
            if len(fits) == 1:
                how = LEFT_OVER if len(free) == 1 else BETWEEN
                single.append((place, row, fits[0], how))
        if not single or len({pivot for _, _, pivot, _ in single}) < len(single):
            return
        for place, row, pivot, how in single:
            placed[row.row], read[place] = (pivot, _said(row, how)), pivot
        waiting = [one for one in waiting if one[0] not in read]


def _between(pivot: Pivot, place: int, read: Mapping[int, Pivot]) -> bool:
    rank = _rank(pivot)
    return all((_rank(other) < rank) == (at < place) for at, other in read.items())


def _rank(pivot: Pivot) -> tuple[int, int, int]:
    axle, side, node = pivot
    return axle, SIDES.index(side), NODES.index(node)


def _can_show(kind: str, finding: str) -> bool:
    if finding in RUBBER_FINDINGS:
        return kind == RUBBER
    return kind != RUBBER or finding not in METAL_FINDINGS


def _said(row: Row, how: str) -> str:
    return f"{FROM_TEXT} and {how}" if row.heard else how


def _pivot_id(unit: str, pivot: Pivot) -> str:
    axle, side, node = pivot
    return f"{unit}.{axle}.{side}.{node}"
