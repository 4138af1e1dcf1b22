"""Invented lives that two known modes compete for, found only at inspections."""

from __future__ import annotations

import numpy as np
import pandas as pd

SHAPES = {"wear": 1.2, "split": 3.0}
SCALES = {"wear": 400_000.0, "split": 300_000.0}


def two_modes(n: int, seed: int, gap: float) -> pd.DataFrame:
    """Return n lives inspected every ``gap`` miles, and the mode found first ("" for none)."""
    random = np.random.default_rng(seed)
    ages = np.column_stack([SCALES[m] * random.weibull(SHAPES[m], n) for m in SHAPES])
    age, mode = ages.min(axis=1), np.array(list(SHAPES))[ages.argmin(axis=1)]
    first = random.uniform(0.0, gap, n)
    visits = np.floor((random.uniform(150_000.0, 700_000.0, n) - first) / gap)
    before = np.floor((age - first) / gap)  # -1: failed before the first visit
    failed = before < visits
    known_good = np.minimum(before, visits)
    lower = np.where(known_good < 0, 0.0, first + gap * known_good)
    upper = np.where(failed, first + gap * (before + 1.0), np.inf)
    return pd.DataFrame(
        {"lower_miles": lower, "upper_miles": upper, "mode": np.where(failed, mode, "")}
    )


def censored_elsewhere(lives: pd.DataFrame, mode: str, how: str) -> pd.DataFrame:
    """Return the shortcut: failures of other modes censored when last good, mid-gap or found."""
    other = ((lives["mode"] != "") & (lives["mode"] != mode)).to_numpy()
    low, high = lives["lower_miles"].to_numpy(), lives["upper_miles"].to_numpy()
    end = {"last good": low, "mid-gap": 0.5 * (low + high), "found": high}[how]
    return pd.DataFrame(
        {
            "lower_miles": np.where(other, end, low),
            "upper_miles": np.where(other, np.inf, high),
        }
    )
