"""Which kit belongs to a pivot: the one whose sizes agree with the unit's, or none.

A kit is offered for a pivot of its bushing type and node when its side-bar centre distance, spring
width and bushing outside diameter all agree with the unit's within the kit's tolerance. The side
bars do not touch the fixed eye: a kit for it that states no centre distance is not asked for one.
Ribbed bushings belong in a spring eye (fixed eye, lower shackle), smooth ones in the hanger (upper
shackle): common practice, no source; a kit that says otherwise of itself is never offered.

One agreeing kit is a match. With none or several there is no match: the line says "measure before
ordering" and which size would decide. Nothing is guessed.

Not here: stock and lead times (`kit_staging`), which pivots are renewed.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

FITS: Final = "fits"
MEASURE: Final = "measure before ordering"

#: Column of each size and how a shop calls it.
SIZES: Final[dict[str, str]] = {
    "side_bar_centres_mm": "side-bar centre distance",
    "spring_width_mm": "spring width",
    "bushing_outside_diameter_mm": "bushing outside diameter",
}
#: Outside of the bushing by node. Common practice, no source.
OUTSIDE: Final[dict[str, str]] = {
    "fixed-eye": "ribbed",
    "shackle-lower": "ribbed",
    "shackle-upper": "smooth",
}
KIT_MATCH_COLUMNS: Final = (
    *("pivot_id", "unit_id", "bushing_type", "node", "kit_id", "verdict", "decides", "detail"),
    *("candidates", "drive_tool"),
)
_KEY: Final = ("bushing_type", "node", *SIZES)
#: Converted sizes may differ in the last digit of a float; no gauge reads a micrometre.
_ROUNDING_MM: Final = 1e-3


class _Verdict(NamedTuple):
    kit_id: str
    verdict: str
    decides: str
    detail: str
    candidates: str
    drive_tool: str


def match_kits(pivots: pd.DataFrame, kits: pd.DataFrame) -> pd.DataFrame:
    """Find each pivot's kit.

    Parameters
    ----------
    pivots : DataFrame, one row per pivot
        pivot_id, unit_id, bushing_type (what will be fitted), node, and the unit's sizes
        side_bar_centres_mm, spring_width_mm, bushing_outside_diameter_mm (float, millimetres;
        NaN = not on record).
    kits : DataFrame, one row per kit and node
        kit_id, bushing_type, node, outside ("" = not stated), the same three sizes, tolerance_mm
        (how far a size may differ and still fit; NaN = not at all), drive_tool.

    Returns
    -------
    DataFrame, same index
        `KIT_MATCH_COLUMNS`: kit_id ("" unless exactly one fits), verdict (fits, measure before
        ordering), decides (the size that would settle it), detail (a sentence), candidates (kits
        that cannot be excluded, joined by ";"), drive_tool.
    """
    asked = pivots[list(_KEY)].drop_duplicates()
    verdicts = {
        tuple(_hashable(row)): _judge(pd.Series(dict(zip(_KEY, row, strict=True))), kits)
        for row in asked.itertuples(index=False, name=None)
    }
    rows = [
        verdicts[tuple(_hashable(row))]
        for row in pivots[list(_KEY)].itertuples(index=False, name=None)
    ]
    found = pd.DataFrame(rows, index=pivots.index, columns=list(_Verdict._fields), dtype=object)
    known = pivots[["pivot_id", "unit_id", "bushing_type", "node"]]
    return known.join(found)[list(KIT_MATCH_COLUMNS)]


def _hashable(row: tuple[Any, ...]) -> list[Any]:
    """Let unknown sizes of two units be the same unknown."""
    return [None if isinstance(cell, float) and np.isnan(cell) else cell for cell in row]


def _judge(asked: pd.Series, kits: pd.DataFrame) -> _Verdict:
    """Judge all kits for one combination of type, node and sizes."""
    node, kind = str(asked["node"]), str(asked["bushing_type"])
    here = kits[(kits["bushing_type"] == kind) & (kits["node"] == node)]
    right = here["outside"].isin(["", OUTSIDE.get(node, "")]) | (node not in OUTSIDE)
    if not right.any():
        return _none_listed(kind, node, here)
    offered = here[right].drop_duplicates("kit_id")
    off = _distances(asked, offered)
    blank = off.isna()
    if node == "fixed-eye":
        unasked = offered["side_bar_centres_mm"].isna()
        blank["side_bar_centres_mm"] &= ~unasked
    apart = off > _ROUNDING_MM
    fitting = offered[~blank.any(axis=1) & ~apart.any(axis=1)]
    open_ones = offered[~apart.any(axis=1)]
    if len(fitting) == 1:
        return _one(fitting.iloc[0], kind, node)
    if len(fitting) > 1:
        return _several(fitting)
    if len(open_ones):
        return _unknown(asked, open_ones, blank.loc[open_ones.index])
    return _nearest(offered, off, apart)


def _distances(asked: pd.Series, kits: pd.DataFrame) -> pd.DataFrame:
    """How far each size lies outside the kit's tolerance, mm; below 0 inside, NaN unknown."""
    tolerance = kits["tolerance_mm"].fillna(0.0)
    return pd.DataFrame(
        {size: (kits[size] - float(asked[size])).abs() - tolerance for size in SIZES}, kits.index
    )


def _none_listed(kind: str, node: str, wrong: pd.DataFrame) -> _Verdict:
    detail = f"The kits table lists no {kind} kit for the {node}"
    if len(wrong):
        names = ", ".join(wrong["kit_id"])
        detail += f" with a {OUTSIDE[node]} outside; correct the outside of {names} or the node"
    return _Verdict("", MEASURE, "", f"{detail}.", "", "")


def _one(kit: pd.Series, kind: str, node: str) -> _Verdict:
    name, tool = str(kit["kit_id"]), str(kit["drive_tool"])
    with_tool = f"; drive tool {tool}" if tool else "; its drive tool is not on record"
    detail = f"{name} is the one {kind} kit for the {node} that agrees in size{with_tool}."
    return _Verdict(name, FITS, "", detail, name, tool)


def _several(fitting: pd.DataFrame) -> _Verdict:
    names = ", ".join(fitting["kit_id"])
    spread = fitting[list(SIZES)].max() - fitting[list(SIZES)].min()
    telling = spread[spread > _ROUNDING_MM]
    if telling.empty:
        decides = ""
        detail = f"{names} agree alike: their sizes in the kits table do not tell them apart."
    else:
        decides = SIZES[str(telling.idxmax())]
        detail = f"{names} all agree within their tolerances: the {decides} decides."
    return _Verdict("", MEASURE, decides, detail, ";".join(fitting["kit_id"]), "")


def _unknown(asked: pd.Series, candidates: pd.DataFrame, blank: pd.DataFrame) -> _Verdict:
    """Name the size whose record is missing: the unit's first, else the kit's."""
    names = ", ".join(candidates["kit_id"])
    missing = [size for size in SIZES if blank[size].any()]
    unit_lacks = [size for size in missing if np.isnan(float(asked[size]))]
    spread = (candidates[list(SIZES)].max() - candidates[list(SIZES)].min()).fillna(0.0)
    lacking = sorted(unit_lacks or missing, key=lambda size: -float(spread[size]))
    decides = SIZES[lacking[0]]
    also = "".join(f", then the {SIZES[size]}" for size in lacking[1:])
    where = "of this unit" if unit_lacks else "of the kit"
    detail = (
        f"{names} cannot be confirmed or excluded: the {decides}{also} {where} is not on record."
    )
    return _Verdict("", MEASURE, decides, detail, ";".join(candidates["kit_id"]), "")


def _nearest(offered: pd.DataFrame, off: pd.DataFrame, apart: pd.DataFrame) -> _Verdict:
    """Say by how much, and in what, the nearest kit misses."""
    beyond = off.where(apart, 0.0)
    order = pd.DataFrame({"sizes": apart.sum(axis=1), "mm": beyond.sum(axis=1)})
    place = order.sort_values(["sizes", "mm"], kind="stable").index[0]
    size = str(beyond.loc[place].idxmax())
    name = str(offered.loc[place, "kit_id"])
    millimetres = float(beyond.loc[place, size])
    detail = (
        f"No listed kit agrees; the nearest, {name}, is {millimetres:.2f} mm beyond its tolerance "
        f"in the {SIZES[size]}."
    )
    return _Verdict("", MEASURE, SIZES[size], detail, "", "")
