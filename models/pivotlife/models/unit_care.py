"""How well a unit was greased, from how well it was seen to be greased.

The share of due lube services that was done while a bushing was watched is a count out of few: a
truck that gets eight of ten services can show six or ten out of ten by luck. Taken as it stands it
hides what grease does (the slope of a covariate measured with error is too flat), and what it hides
is put down to duty or bushing type. So each share is drawn towards the mean of its duty and bushing
type, the more so the fewer services were due:

    care = mean + (share - mean) v / (v + luck),    luck = (mean (1 - mean) - v) / due,

v the variance between units, by moments; luck is what counting ``due`` services adds to it
(regression calibration: Carroll, Ruppert, Stefanski & Crainiceanu, Measurement Error in Nonlinear
Models, 2006, chapter 4, from memory).

The lives of one bushing type on one unit ran side by side and share their services; they are taken
together. Types are kept apart because a conversion changes how a unit is looked after.

Not here: counting services.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray


def unit_care(lives: pd.DataFrame, lube_miles: Mapping[str, float]) -> FloatArray:
    """Estimate the share of due lube services that each life's unit gets.

    Parameters
    ----------
    lives : DataFrame, one row per life
        ``unit_id, bushing_type, duty, lube_compliance, fitted_odometer_miles, entry_miles,
        lower_miles``.
    lube_miles : mapping of duty to miles
        Miles between two lube services. A duty that is absent: shares are taken as they stand.

    Returns
    -------
    ndarray, shape (n_lives,), 0 to 1
        NaN only where no share is known in the whole table.
    """
    units = _by_unit(lives, lube_miles)
    if units.empty:
        return np.full(len(lives), np.nan)
    mean: FloatArray = (
        units.groupby(["duty", "bushing_type"])["share"].transform("mean").to_numpy(np.float64)
    )
    share, due = units["share"].to_numpy(np.float64), units["due"].to_numpy(np.float64)
    coin, per_service = mean * (1.0 - mean), 1.0 / due
    weight = np.where(np.isfinite(due), due, 1.0)
    # E (share - mean)^2 = v + (mean (1 - mean) - v) / due, summed over units and solved for v.
    excess = float(weight @ ((share - mean) ** 2 - coin * per_service))
    between = max(excess / max(float(weight @ (1.0 - per_service)), 1e-12), 0.0)
    luck = np.maximum(coin - between, 0.0) * per_service
    kept = between / np.maximum(between + luck, 1e-12)
    units["care"] = mean + kept * (share - mean)
    keys = pd.MultiIndex.from_frame(lives[["unit_id", "bushing_type"]])
    care = units.set_index(["unit_id", "bushing_type"])["care"].reindex(keys).to_numpy()
    by_duty = lives["duty"].map(units.groupby("duty")["share"].mean()).to_numpy(dtype=np.float64)
    care = np.where(np.isnan(care), by_duty, care)
    return np.asarray(np.where(np.isnan(care), units["share"].mean(), care), dtype=np.float64)


def _by_unit(lives: pd.DataFrame, lube_miles: Mapping[str, float]) -> pd.DataFrame:
    """Return the share done and the services due of each unit and bushing type."""
    start = lives["fitted_odometer_miles"] + lives["entry_miles"]
    end = lives["fitted_odometer_miles"] + lives["lower_miles"]
    miles = np.maximum(end - start, 1.0)
    share = pd.to_numeric(lives["lube_compliance"]).astype(float)
    known = lives.assign(start=start, end=end, miles=miles, done=share * miles)[
        np.isfinite(share) & np.isfinite(miles)
    ]
    units = (
        known.groupby(["unit_id", "bushing_type"], sort=True)
        .agg(
            done=("done", "sum"),
            miles=("miles", "sum"),
            start=("start", "min"),
            end=("end", "max"),
            duty=("duty", "first"),
        )
        .reset_index()
    )
    every = units["duty"].map(dict(lube_miles)).astype(float).fillna(0.0)
    span = units["end"] - units["start"]
    due = np.where(every > 0.0, span / every.where(every > 0.0, 1.0), np.inf)
    return units.assign(share=units["done"] / units["miles"], due=np.maximum(due, 1.0))
