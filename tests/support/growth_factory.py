"""Invented readings of free play under a known law, for the growth tests (all invented)."""

from __future__ import annotations

import numpy as np
import pandas as pd

LIMIT_MM = 3.0
SCALE_MILES = 100_000.0


def readings(
    n: int,
    seed: int,
    *,
    density: str = "normal",
    exponent: float = 1.4,
    alpha: float = 0.6,
    sigma_a: float = 0.06,
    sigma_e: float = 0.12,
    median_rate: float = 2.0,
    spread: float = 0.45,
    shape: float = 3.0,
    life_miles: float = 130_000.0,
    gap: float = 25_000.0,
    fewest: int = 1,
    most: int = 9,
    resolution: float = 0.0,
    loaded: float = 0.0,
    greased: float = 0.0,
    wild: float = 0.0,
    end_at_limit: bool = False,
) -> pd.DataFrame:
    """Return readings of n bushings, with the truth in `true_mm`, `start_mm` and `rate`.

    "weibull": the age at which a bushing of mean starting play reaches LIMIT_MM is Weibull
    (`shape`, `life_miles`), and the rate follows from it. Readings below zero are written as 0.
    """
    random = np.random.default_rng(seed)
    count = random.integers(fewest, most + 1, n)
    life = np.repeat(np.arange(n), count)
    step = random.uniform(0.8 * gap, 1.2 * gap, len(life))
    frame = pd.DataFrame({"pivot_id": life, "miles": step})
    frame["miles"] = frame.groupby("pivot_id")["miles"].cumsum()
    start = random.normal(alpha, sigma_a, n)
    if density == "weibull":
        age = life_miles * random.weibull(shape, n)
        rate = (LIMIT_MM - alpha) / (age / SCALE_MILES) ** exponent
    else:
        rate = median_rate * np.exp(spread * random.normal(size=n))
    frame["start_mm"], frame["rate"] = start[life], rate[life]
    frame["true_mm"] = frame.start_mm + frame.rate * (frame.miles / SCALE_MILES) ** exponent
    shown = frame.true_mm.to_numpy()
    if loaded:
        under = random.random(len(frame)) < loaded
        frame["load_state"] = np.where(under, "loaded", "unloaded")
        shown = np.where(under, 0.7 * shown, shown)
    if greased:
        after = random.random(len(frame)) < greased
        frame["greased_before"] = np.where(after, "yes", "no")
        shown = shown - 0.25 * after
    value = shown + random.normal(0, sigma_e, len(frame))
    if wild:
        far = random.choice([-1.0, 1.0], len(frame)) * random.uniform(0.8, 1.6, len(frame))
        value = np.where(random.random(len(frame)) < wild, value + far, value)
    if resolution:
        value = np.round(value / resolution) * resolution
        frame["resolution_mm"] = resolution
    frame["free_play_mm"] = np.maximum(value, 0.0)
    if end_at_limit:
        over = (frame.free_play_mm >= LIMIT_MM).astype(int)
        before = over.groupby(frame.pivot_id).cumsum() - over
        frame = frame[before == 0].reset_index(drop=True)
    return frame


def true_crossing_miles(
    probability: float,
    *,
    density: str = "normal",
    exponent: float = 1.4,
    alpha: float = 0.6,
    sigma_a: float = 0.06,
    median_rate: float = 2.0,
    spread: float = 0.45,
    shape: float = 3.0,
    life_miles: float = 130_000.0,
    draws: int = 2_000_000,
) -> float:
    """Age by which this share of bushings is truly over LIMIT_MM, by drawing (seed 99)."""
    random = np.random.default_rng(99)
    start = random.normal(alpha, sigma_a, draws)
    if density == "weibull":
        age = life_miles * random.weibull(shape, draws)
        rate = (LIMIT_MM - alpha) / (age / SCALE_MILES) ** exponent
    else:
        rate = median_rate * np.exp(spread * random.normal(size=draws))
    crossing = SCALE_MILES * (np.maximum(LIMIT_MM - start, 0.0) / rate) ** (1.0 / exponent)
    return float(np.quantile(crossing, probability))
