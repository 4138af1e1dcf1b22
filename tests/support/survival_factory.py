"""Invented lives for the survival tests: a known Weibull law, censored as inspections do."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

SCALES = {"rubber-bonded": 250_000.0, "threaded": 320_000.0, "roller": 450_000.0}
SHAPES = {"rubber-bonded": 2.0, "threaded": 2.6, "roller": 1.8}
DUTY_FACTOR = {"line-haul": 1.15, "regional": 1.0, "vocational": 0.8}
NODES = ("fixed-eye", "shackle-lower", "shackle-upper")


def mixed_lives(
    n: int, seed: int, shape: float = 2.2, scale: float = 300_000.0, late: float = 0.4
) -> pd.DataFrame:
    """Return n lives: exact, interval and right-censored, a share of them entered late."""
    random = np.random.default_rng(seed)
    age = scale * random.weibull(shape, 3 * n)
    entry = np.where(random.random(3 * n) < late, random.uniform(0, 0.6 * scale, 3 * n), 0.0)
    alive = age > entry
    age, entry = age[alive][:n], entry[alive][:n]
    end = entry + random.uniform(0.1 * scale, 1.3 * scale, n)
    gap = random.uniform(0.03, 0.16, n) * scale
    seen = np.maximum(age - gap * random.random(n), entry)
    is_gap = random.random(n) < 0.6
    lower = np.where(age > end, end, np.where(is_gap, seen, age))
    upper = np.where(age > end, np.inf, np.where(is_gap, seen + gap, age))
    return pd.DataFrame({"entry_miles": entry, "lower_miles": lower, "upper_miles": upper})


def table_of_lives(units: int, seed: int, **overrides: Any) -> pd.DataFrame:
    """Return an invented table of lives, six pivots a unit and one type a unit."""
    random = np.random.default_rng(seed)
    rows = [_life(random, unit, pivot) for unit in range(units) for pivot in range(6)]
    return pd.DataFrame(rows).assign(**overrides)


def _life(random: np.random.Generator, unit: int, pivot: int) -> dict[str, Any]:
    kind = list(SCALES)[unit % 3]
    duty = list(DUTY_FACTOR)[(unit // 3) % 3]
    scale = SCALES[kind] * DUTY_FACTOR[duty] * np.exp(0.1 * np.sin(unit))
    age = scale * random.weibull(SHAPES[kind])
    gap = 30_000.0
    seen = random.uniform(60_000, 400_000)
    last_good = gap * np.floor(min(age, seen) / gap)
    failed = age < gap * np.floor(seen / gap)
    removed_early = not failed and random.random() < 0.1
    mode = ("split" if kind == "rubber-bonded" else "rough") if random.random() < 0.2 else "wear"
    return {
        "life_id": f"L{unit:04d}-{pivot}",
        "pivot_id": f"MD-{unit:04d}.1.{'left' if pivot < 3 else 'right'}.{NODES[pivot % 3]}",
        "unit_id": f"MD-{unit:04d}",
        "node": NODES[pivot % 3],
        "bushing_type": kind,
        "fitted_odometer_miles": 1_000.0,
        "removed_odometer_miles": 1_000.0 + (last_good + gap if failed else last_good)
        if failed or removed_early
        else np.nan,
        "entry_miles": 0.0,
        "lower_miles": last_good,
        "upper_miles": last_good + gap if failed else np.inf,
        "in_fit": last_good > 0 or failed,
        "evidence": "bad-reading"
        if failed
        else ("preventive" if removed_early else "in-service")
        if last_good > 0
        else "none-after-entry",
        "mode": mode if failed else "",
        "informative": "yes" if removed_early else "no",
        "removed_reason": "wear" if failed else ("preventive" if removed_early else ""),
        "last_good_miles": last_good if last_good > 0 else np.nan,
        "first_evidence_miles": last_good + gap if failed else np.nan,
        "last_seen_miles": last_good + gap if failed else (last_good if removed_early else seen),
        "last_visit_miles": last_good,
        "records_begin_miles": -1_000.0,
        "duty": duty,
        "life_order": "first" if random.random() < 0.7 else "later",
    }
