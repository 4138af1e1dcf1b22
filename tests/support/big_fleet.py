"""The shortlist of a whole invented fleet, to see and to weigh the pages at their usual size.

Every number is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd

from pivotlife.dashboards.inputs import PageInputs


def big_shortlist(
    factory: ModuleType, units: int = 180, acting: float = 0.2, seed: int = 7
) -> pd.DataFrame:
    """Invent the shortlist of a whole fleet, six pivots a unit."""
    rng = np.random.default_rng(seed)
    rows: list[dict[str, Any]] = []
    for unit in range(1, units + 1):
        name, depot = f"MD-{unit:03d}", factory.DEPOTS[unit % 4]
        date = pd.Timestamp(factory.AS_OF) + pd.Timedelta(days=int(rng.integers(2, 75)))
        kind = factory.TYPES[int(rng.choice(3, p=[0.4, 0.35, 0.25]))]
        busy = rng.random() < acting * 2
        for side in ("left", "right"):
            for node in factory.NODES:
                mine = {"unit_id": name, "depot": depot, "visit_date": date, "side": side}
                mine |= {"node": node, "bushing_type": kind, "pivot_id": f"{name}.1.{side}.{node}"}
                rows.append(
                    _invented_line(factory.shortlist_row, rng, busy, kind)
                    | mine
                    | {"rank": len(rows) + 1}
                )
    return pd.DataFrame(rows)


def _invented_line(
    shortlist_row: Callable[..., dict[str, Any]], rng: np.random.Generator, busy: bool, kind: str
) -> dict[str, Any]:
    draw = rng.random()
    play = np.nan if draw > 0.93 else round(float(rng.gamma(4.0, 0.35)), 2)
    limit = np.nan if kind == "rubber-bonded" else 3.2
    chance = float(np.clip(rng.beta(1.2, 9.0), 0.001, 0.95))
    shared: dict[str, Any] = {
        "last_free_play_mm": play,
        "limit_mm": limit,
        "limit_source": "" if kind == "rubber-bonded" else "Quebec C-24.2 r. 32, s. 116",
        "visit_odometer_miles": float(rng.integers(80_000, 720_000)),
        "chance_over_now": chance * 0.5,
        "chance_over_by_next_visit": chance,
        "chance_lower": chance * 0.6,
        "chance_upper": min(1.0, chance * 1.6),
        "wait_cost": chance * 600.0,
        "kept_value": 45.0,
        "source_rows": ", ".join(f"readings:R-{rng.integers(10_000, 90_000)}" for _ in range(3)),
    }
    if busy and draw < 0.012:
        return shortlist_row(**shared) | {
            "decision": "park",
            "rule": "park-finding",
            "reason": "Found broken on 2026-11-17 (reading by dial gauge, left side). "
            "Park the unit; the order stands until this bushing is replaced.",
        }
    if busy and draw < 0.1:
        return shortlist_row(**shared) | {
            "reason": "Play 3.40 mm (0.134 in) was over the 3.2 mm limit on 2026-08-11. "
            "Replace it; only a replacement or a corrected record lifts this order."
        }
    if busy and draw < 0.45:
        return shortlist_row(**shared) | {
            "mandatory": "no",
            "rule": "wait-or-replace",
            "reason": f"Last play {play:.2f} mm of 3.2 mm on 2026-08-11. Chance of failing between "
            "2026-12-03 and 2027-02-11: 9 %; of being over by then: 19 % (15 % to 24 %). Waiting "
            "costs USD 54 on average, the miles kept are worth USD 45.",
        }
    if draw > 0.93:
        return shortlist_row(**shared) | {
            "decision": "measure",
            "mandatory": "no",
            "rule": "no-recent-reading",
            "last_reading_date": pd.NaT,
            "reason": "No usable reading in the last 50,000 miles; take one at this visit.",
        }
    return shortlist_row(**shared) | {
        "decision": "leave",
        "mandatory": "no",
        "rule": "waiting-costs-less",
        "reason": f"Last play {play:.2f} mm of 3.2 mm on 2026-08-11. Chance of failing between "
        "2026-12-03 and 2027-02-11: 2 %; of being over by then: 9 % (5 % to 14 %). Waiting costs "
        "USD 12 on average, the miles kept are worth USD 45.",
    }


def big_inputs(factory: ModuleType, units: int = 180) -> PageInputs:
    """Invent a whole fleet's run."""
    shortlist = big_shortlist(factory, units)
    growth = pd.DataFrame(
        {
            "pivot_id": shortlist["pivot_id"],
            "readings_used": 4,
            "play_at_visit_mm": shortlist["last_free_play_mm"] + 0.2,
            "play_at_visit_lower_mm": shortlist["last_free_play_mm"],
            "play_at_visit_upper_mm": shortlist["last_free_play_mm"] + 0.5,
            "miles_until_due": 52_000.0,
            "warning": "",
        }
    )
    inputs: PageInputs = factory.make_inputs(
        {"shortlist": shortlist, "growth": growth, "planned_cost": factory.planned_cost(shortlist)}
    )
    return inputs
