"""Repair lines that do not go with their kit: another node, another type, fewer pivots.

A kit is made for a node: ribbed bushings are pressed into spring eyes, smooth ones into the
hanger (common practice, no source). A line whose kit is for another node tells of a wrong
position or of a wrong kit.

Not here: which kit to stage.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.repair_places import SHACKLE
from pivotlife.pipeline.rules import OUTSIDE_OF_NODE
from pivotlife.pipeline.suspect_kinds import found, gathered

Mask = npt.NDArray[np.bool_]
Counts = npt.NDArray[np.int64]

_FITTING: Final = ("fitted", "replaced")


def suspect_kits(tables: Mapping[str, pd.DataFrame], judged: Judged) -> pd.DataFrame:
    """List the repair lines that contradict the kits table or the pivots of their unit.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables as known on the day.
    judged : Judged
        Its withheld kits still say what they are for.

    Returns
    -------
    DataFrame
        Columns `suspect_kinds.FOUND_COLUMNS`.
    """
    repairs = tables["repairs"]
    lines = repairs[repairs["action"].isin(_FITTING)].reset_index(drop=True)
    kits = pd.concat([tables["kits"], judged.withheld["kits"]], ignore_index=True)
    kits = kits[kits["kit_id"] != ""]
    return gathered(
        [
            _wrong_node(lines, kits),
            _wrong_type(lines, kits),
            _larger_than_its_unit(lines, tables["pivots"]),
            _part_of_a_kit(lines, kits),
        ]
    )


def _wrong_node(lines: pd.DataFrame, kits: pd.DataFrame) -> pd.DataFrame:
    """Lines for one pivot whose kit is for other nodes, or has the outside of another one."""
    one = lines["pivots_in_kit"].fillna(1).eq(1) & lines["node"].ne("")
    asked = lines[one & lines["kit_id"].isin(kits["kit_id"])]
    wanted = kits["node"].map(OUTSIDE_OF_NODE)
    odd = kits["outside"].ne("") & wanted.notna() & kits["outside"].ne(wanted)
    made_for = kits.groupby("kit_id")["node"].agg(lambda nodes: sorted(set(nodes) - {""}))
    nodes = asked["kit_id"].map(made_for)
    other = np.array(
        [bool(of) and node not in of for node, of in zip(asked["node"], nodes, strict=True)],
        dtype=bool,
    )
    outside = kits[odd].drop_duplicates("kit_id").set_index("kit_id")["outside"]
    ribs = asked["kit_id"].map(outside).fillna("")
    unfit = ~other & ribs.ne("").to_numpy() & ribs.ne(asked["node"].map(OUTSIDE_OF_NODE)).to_numpy()
    said = [
        f"kit {kit} is for {', '.join(of)}, the line fits it at {node}"
        for kit, of, node in zip(
            asked["kit_id"][other], nodes[other], asked["node"][other], strict=True
        )
    ]
    pressed = [
        f"kit {kit} has a {outside} bushing, {node} takes a {OUTSIDE_OF_NODE[node]} one"
        for kit, outside, node in zip(
            asked["kit_id"][unfit], ribs[unfit], asked["node"][unfit], strict=True
        )
    ]
    return gathered(
        [
            found(asked[other], "kit-wrong-node", "kit_id", said),
            found(asked[unfit], "kit-wrong-node", "kit_id", pressed),
        ]
    )


def _wrong_type(lines: pd.DataFrame, kits: pd.DataFrame) -> pd.DataFrame:
    """Lines that name another bushing type than their kit holds."""
    named = kits[kits["bushing_type"] != ""]
    single = named.groupby("kit_id")["bushing_type"].agg(["nunique", "first"])
    kind = lines["kit_id"].map(single.loc[single["nunique"] == 1, "first"])
    rows = lines[kind.notna() & lines["bushing_type"].ne("") & lines["bushing_type"].ne(kind)]
    said = [
        f"kit {kit} holds a {kind[place]} bushing, the line says {written}"
        for place, kit, written in zip(
            rows.index, rows["kit_id"], rows["bushing_type"], strict=True
        )
    ]
    return found(rows, "kit-wrong-type", "bushing_type", said)


def _larger_than_its_unit(lines: pd.DataFrame, pivots: pd.DataFrame) -> pd.DataFrame:
    """Lines of a kit for more pivots than there are at the position that they name."""
    count = lines["pivots_in_kit"].fillna(1).to_numpy(dtype=np.int64)
    known = lines["unit_id"].isin(pivots["unit_id"]).to_numpy()
    rows, count = lines[known & (count > 1)], count[known & (count > 1)]
    sizes = _group_sizes(rows, pivots)
    full = rows["pivot_id"].ne("").to_numpy()
    agreed = _agreeing(rows, pivots)
    most = np.where(full, np.where((sizes == count[:, None]).any(axis=1), count, 1), agreed)
    fewer = most < count
    said = [
        f"the line is for {n} pivots, where it is there {'is' if m == 1 else 'are'} {m}"
        for n, m in zip(count[fewer], most[fewer], strict=True)
    ]
    return found(rows[fewer], "kit-holds-more", "pivots_in_kit", said)


def _group_sizes(rows: pd.DataFrame, pivots: pd.DataFrame) -> Counts:
    """Pivots of each row's shackle, side, axle and unit; shape (n, 4), 0 where it has none."""
    shackle = pivots[pivots["node"].isin(SHACKLE)]
    own_shackle = rows["node"].isin(SHACKLE).to_numpy()
    of_shackle = np.where(own_shackle, _size_of(rows, shackle, ["unit_id", "axle", "side"]), 0)
    keys = (["unit_id", "axle", "side"], ["unit_id", "axle"], ["unit_id"])
    return np.column_stack([of_shackle, *(_size_of(rows, pivots, key) for key in keys)])


def _agreeing(rows: pd.DataFrame, pivots: pd.DataFrame) -> Counts:
    """Pivots of the unit that agree with whatever part of a position each row names."""
    count = np.zeros(len(rows), dtype=np.int64)
    given = [rows["axle"].notna(), rows["side"].ne(""), rows["node"].ne("")]
    pattern = np.array([np.asarray(part, dtype=bool) for part in given]).T
    for told in np.unique(pattern, axis=0):
        here = (pattern == told).all(axis=1)
        keys = ["unit_id", *np.array(["axle", "side", "node"])[told].tolist()]
        count[here] = _size_of(rows[here], pivots, keys)
    return count


def _size_of(rows: pd.DataFrame, pivots: pd.DataFrame, keys: list[str]) -> Counts:
    sizes = pivots.drop_duplicates("pivot_id").groupby(keys, as_index=False).size()
    joined = rows[keys].merge(sizes, on=keys, how="left")["size"]
    return joined.fillna(0).to_numpy(dtype=np.int64)


def _part_of_a_kit(lines: pd.DataFrame, kits: pd.DataFrame) -> pd.DataFrame:
    """Lines of a kit with bushings for several nodes that together renew fewer pivots."""
    holds = kits.groupby("kit_id")["node"].nunique()
    rows = lines[lines["kit_id"].map(holds).gt(1)]
    job = [rows["unit_id"], rows["repair_date"], rows["kit_id"]]
    covered = rows["pivots_in_kit"].fillna(1).groupby(job).transform("sum")
    full = rows["kit_id"].map(holds)
    rows = rows[covered < full]
    said = [
        f"kit {kit} holds bushings for {full[place]:.0f} pivots, the lines of that day cover "
        f"{covered[place]:.0f}"
        for place, kit in zip(rows.index, rows["kit_id"], strict=True)
    ]
    return found(rows, "kit-holds-more", "kit_id", said)
