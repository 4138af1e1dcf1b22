"""The free play at which each bushing counts as worn out.

The user's own limit comes first, for a bushing type or for one node of it. Failing that, metal
bushings take the play that Quebec's regulation allows between a leaf spring's anchor bushing and
its pin where the maker states none: 3.2 mm, or 2 mm for pins up to 24 mm (Regulation respecting
safety standards for road vehicles, C-24.2 r. 32, section 116). Rubber has no running clearance,
so no play limit is assumed for it: its condition decides.

Not here: comparing readings with the limit.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.data.units_of_measure import factor
from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.settings import Limit, Settings

LARGE_PIN_LIMIT_MM: Final = 3.2
SMALL_PIN_LIMIT_MM: Final = 2.0
SMALL_PIN_MM: Final = 24.0
REGULATION: Final = "Quebec regulation C-24.2 r. 32 s. 116"
LARGE_PIN_SOURCE: Final = f"3.2 mm where the maker states none, {REGULATION}"
SMALL_PIN_SOURCE: Final = f"2 mm for pins up to 24 mm where the maker states none, {REGULATION}"
RUBBER_SOURCE: Final = "no play limit for rubber-bonded: judged by findings"
UNKNOWN_SOURCE: Final = "no limit: the bushing type is not on record"

_METAL: Final = ("threaded", "roller")


def with_limits(frame: pd.DataFrame, units: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Add the limit of each row's bushing and where it comes from.

    Parameters
    ----------
    frame : DataFrame
        Columns `unit_id, node, bushing_type`.
    units : DataFrame
        Judged units; `pin_diameter_mm` decides between the two default limits.
    settings : Settings

    Returns
    -------
    DataFrame
        The frame with `limit_mm` (float; NaN where no play limit applies) and `limit_source`.

    Raises
    ------
    SettingsError
        When a limit's unit is unreadable or unfit for free play.
    """
    pin = units.drop_duplicates("unit_id").set_index("unit_id")["pin_diameter_mm"].astype(float)
    small = frame["unit_id"].map(pin).le(SMALL_PIN_MM).to_numpy(dtype=bool)
    kind = frame["bushing_type"].to_numpy(dtype=str)
    metal = np.isin(kind, _METAL)
    limit = np.where(metal, np.where(small, SMALL_PIN_LIMIT_MM, LARGE_PIN_LIMIT_MM), np.nan)
    source = np.where(small, SMALL_PIN_SOURCE, LARGE_PIN_SOURCE).astype(object)
    source[kind == "rubber-bonded"] = RUBBER_SOURCE
    source[~metal & (kind != "rubber-bonded")] = UNKNOWN_SOURCE
    node = frame["node"].to_numpy(dtype=str)
    for of_type, of_node, play_mm, said in _stated_limits(settings):
        mine = (kind == of_type) & ((node == of_node) | (of_node == ""))
        limit[mine], source[mine] = play_mm, said
    return frame.assign(limit_mm=limit, limit_source=source)


def _stated_limits(settings: Settings) -> list[tuple[str, str, float, str]]:
    """List the user's limits as type, node ("" = every node), millimetres and source."""
    stated = []
    for kind, entry in settings.limits.items():
        nodes = {"": entry} if isinstance(entry, Limit) else entry
        for node, limit in nodes.items():
            key = f"limits.{kind}" + (f".{node}" if node else "")
            stated.append((str(kind), str(node), _play_mm(limit, key, settings), limit.source))
    return stated


def _play_mm(limit: Limit, key: str, settings: Settings) -> float:
    try:
        return limit.play * factor(limit.unit, "play")
    except ValueError as unreadable:
        raise SettingsError(
            f"{settings.file}: {key}.unit: {unreadable}; write for example mm, in or thou"
        ) from None
