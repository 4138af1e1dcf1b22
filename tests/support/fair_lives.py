"""Invented lives of a fleet whose bushing types are tied to duty: the truth is known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

KINDS = ("rubber-bonded", "threaded", "roller")
SHAPE = {"rubber-bonded": 3.0, "threaded": 2.2, "roller": 2.5}
SCALE = {"rubber-bonded": 300_000.0, "threaded": 240_000.0, "roller": 380_000.0}
DUTY = {"line-haul": 1.3, "regional": 1.0, "vocational": 0.5}
#: Share of threaded trucks by duty: the hardest duty has most.
THREADED = {"line-haul": 0.2, "regional": 0.5, "vocational": 0.8}
NODES = ("fixed-eye", "shackle-lower", "shackle-upper")


def tied_fleet(units: int, seed: int, roller: float = 0.25, **overrides: Any) -> pd.DataFrame:
    """Six pivots a unit; a share of units has later lives with rollers after a first life."""
    random = np.random.default_rng(seed)
    rows = []
    for unit in range(units):
        duty = list(DUTY)[unit % 3]
        kind = "threaded" if random.random() < THREADED[duty] else "rubber-bonded"
        salt = bool(random.random() < 0.5)
        converted = random.random() < roller
        for pivot in range(6):
            rows.append(_life(random, unit, pivot, kind, duty, salt, "first"))
            rows.append(
                _life(random, unit, pivot, "roller" if converted else kind, duty, salt, "later")
            )
    return pd.DataFrame(rows).assign(**overrides)


def _life(
    random: np.random.Generator, unit: int, pivot: int, kind: str, duty: str, salt: bool, order: str
) -> dict[str, Any]:
    age = SCALE[kind] * DUTY[duty] * (0.85 if salt else 1.0) * random.weibull(SHAPE[kind])
    gap = 15_000.0
    seen = random.uniform(100_000.0, 420_000.0)
    failed = age < gap * np.floor(seen / gap)
    lower = gap * np.floor(min(age, seen) / gap)
    return {
        "life_id": f"L{unit}-{pivot}-{order}",
        "pivot_id": f"U{unit}.1.{'left' if pivot < 3 else 'right'}.{NODES[pivot % 3]}",
        "unit_id": f"U{unit}",
        "node": NODES[pivot % 3],
        "bushing_type": kind,
        "duty": duty,
        "road_salt": "yes" if salt else "no",
        "life_order": order,
        "fitted_odometer_miles": 0.0,
        "entry_miles": 0.0,
        "lower_miles": lower,
        "upper_miles": lower + gap if failed else np.inf,
        "in_fit": bool(lower > 0 or failed),
        "informative": False,
        "lube_compliance": np.nan,
        "condition_at_fitting": np.nan,
    }


def true_log_ratio(numerator: str, denominator: str, share: float = 0.1) -> float:
    """Log ratio of standardised ages: duty in equal thirds, salt on half the trucks."""
    factors = np.array([f * s for f in DUTY.values() for s in (1.0, 0.85)])
    ages = np.geomspace(1e3, 2e6, 40_001)
    found = []
    for kind in (numerator, denominator):
        scale = SCALE[kind] * factors
        failed = -np.expm1(-((ages[:, None] / scale) ** SHAPE[kind])).mean(axis=1)
        found.append(np.interp(share, failed, np.log(ages)))
    return float(found[0] - found[1])
