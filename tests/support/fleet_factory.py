"""Invented pivots in service with readings of known growth, for the table of growth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

LIMIT = 3.2
#: Invented law of two types: shape, scale, play of a new bushing in mm, exponent of growth.
LAW = {"threaded": (2.2, 500_000.0, 0.2, 1.3), "roller": (2.5, 600_000.0, 0.08, 3.0)}


@dataclass
class Fit:
    """A fitted curve as far as the estimate asks for one."""

    shape: float
    scale: float
    n_failures: int = 60
    covariance: np.ndarray = field(default_factory=lambda: np.diag([0.08**2, 0.05**2]))


FITS = {(kind, "all"): Fit(shape, scale) for kind, (shape, scale, _, _) in LAW.items()}


@dataclass
class Fleet:
    in_service: pd.DataFrame
    readings: pd.DataFrame
    visits: pd.DataFrame
    lives: pd.DataFrame
    crossing: np.ndarray


def fleet(n: int, seed: int, noise: float = 0.15) -> Fleet:
    """Pivots seen at ages that do not depend on their lives; gauge error is normal."""
    rng = np.random.default_rng(seed)
    kinds = np.array(sorted(LAW))[rng.integers(0, 2, n)]
    shape, scale, new, power = (np.array([LAW[k][i] for k in kinds]) for i in range(4))
    crossing = scale * rng.weibull(shape)
    now = rng.uniform(100_000, 500_000, n)
    ages = now[:, None] - np.arange(7, -1, -1) * 50_000.0 - rng.uniform(0, 30_000, (n, 1))
    play = new[:, None] + (LIMIT - new[:, None]) * np.power(
        np.maximum(ages, 0) / crossing[:, None], power[:, None]
    )
    loaded, greased = rng.random((2, *play.shape)) < 0.25
    shown = play * np.where(loaded, 0.7, 1.0) - np.where(greased, 0.25, 0.0)
    read = np.maximum(shown + rng.normal(0, noise, play.shape), 0.0)
    # Nobody goes on reading what is far over the limit.
    rows, nth = np.nonzero((ages > 5_000) & (play < 2 * LIMIT))
    names = np.array([f"L{i:05}" for i in range(n)])
    readings = pd.DataFrame(
        {
            "life_id": names[rows],
            "bushing_type": kinds[rows],
            "duty": "regional",
            "age_miles": ages[rows, nth],
            "true_miles": ages[rows, nth],
            "free_play_mm": read[rows, nth],
            "limit_mm": LIMIT,
            "reading_date": pd.Timestamp("2026-01-01") - pd.to_timedelta((7 - nth) * 300, "D"),
            "direction": "vertical",
            "load_state": np.where(loaded, "loaded", "unloaded")[rows, nth],
            "greased_before": np.where(greased, "yes", "no")[rows, nth],
        }
    )
    units = [f"MD-{i:05}" for i in range(n)]
    in_service = pd.DataFrame(
        {
            "pivot_id": [f"{u}.1.left.fixed-eye" for u in units],
            "unit_id": units,
            "duty": "regional",
            "bushing_type": kinds,
            "life_id": names,
            "fitted_miles": 0.0,
            "age_at_most_miles": now,
            "age_at_least_miles": 0.25 * now,
            "last_good_miles": 0.0,
            "last_reading_date": pd.Timestamp("2026-01-01"),
            "limit_mm": LIMIT,
        }
    )
    visits = pd.DataFrame(
        {
            "unit_id": units,
            "miles_now": now,
            "visit_date": pd.Timestamp("2026-03-01"),
            "visit_miles": now + 15_000,
            "next_visit_date": pd.Timestamp("2026-08-01"),
            "next_visit_miles": now + 40_000,
        }
    )
    return Fleet(in_service, readings, visits, lives(names, kinds, crossing, now), crossing)


def lives(
    names: np.ndarray, kinds: np.ndarray, crossing: np.ndarray, now: np.ndarray
) -> pd.DataFrame:
    """Lives whose failures are found at visits every 25,000 miles."""
    n = len(names)
    failed = crossing < now
    before = np.floor(crossing / 25_000.0) * 25_000.0
    none = np.full(n, np.nan)
    return pd.DataFrame(
        {
            "life_id": names,
            "unit_id": [f"MD-{i:05}" for i in range(n)],
            "pivot_id": [f"MD-{i:05}.1.left.fixed-eye" for i in range(n)],
            "bushing_type": kinds,
            "duty": "regional",
            "node": "fixed-eye",
            "life_order": "first",
            "in_fit": True,
            "evidence": np.where(failed, "bad-reading", "in-service"),
            "mode": np.where(failed, "wear", ""),
            "informative": False,
            "removed_reason": "",
            "entry_miles": 0.0,
            "lower_miles": np.where(failed, before, now),
            "upper_miles": np.where(failed, before + 25_000.0, np.inf),
            "last_good_miles": np.where(failed, before, now),
            "first_evidence_miles": np.where(failed, before + 25_000.0, np.nan),
            "last_seen_miles": now,
            "records_begin_miles": 0.0,
            "fitted_odometer_miles": 0.0,
            "removed_odometer_miles": none,
        }
    )
