"""What the reliability engineer checks beside the comparison, each as one table of the run.

Failure modes, fits, early failures, other readings of the same records, failures that play did not
announce, replacements per pivot, gauges.

Not here: any of the estimates (`models`), the pages.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.early_failures import early_failures
from pivotlife.models.fit_check import fit_checks
from pivotlife.models.gauge_table import gauge_table
from pivotlife.models.growth_sheets import settled_table
from pivotlife.models.missed_by_play import missed_by_play
from pivotlife.models.mode_incidence import incidence_table
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.replacements_per_pivot import replacements_table
from pivotlife.models.sensitivity import sensitivity_table
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.unit_records import STOPS
from pivotlife.pipeline.work import Records

#: The tables by the stem of their file.
CHECK_TABLES = (
    *("incidence", "fit_check", "early_failures", "sensitivity", "missed_by_play"),
    *("recurrences", "gauge", "settled_readings"),
)


def engineer_checks(
    records: Records, settings: Settings, growing: pd.DataFrame
) -> dict[str, pd.DataFrame]:
    """Make every table of `CHECK_TABLES`.

    Parameters
    ----------
    records : Records
    settings : Settings
        Draws, seed, planned distances between measurements.
    growing : DataFrame
        Readings as growth takes them (`growth_readings`).

    Returns
    -------
    dict of DataFrame
    """
    lives, readings = records.histories.lives, records.histories.readings
    tables, seed = records.placed.tables, settings.random.seed
    measure = {
        str(duty): interval.longest_gap_between_readings
        for duty, interval in settings.intervals.items()
    }
    units = tables["units"].drop_duplicates("unit_id")
    depot_of = {
        str(unit): str(depot) for unit, depot in zip(units.unit_id, units.depot, strict=True)
    }
    return {
        "incidence": incidence_table(lives),
        "fit_check": fit_checks(
            lives_for_mode(lives, "any"),
            looks=readings.loc[readings["is_good"] | readings["is_bad"], ["life_id", "age_miles"]],
            draws=settings.survival.fit_check_draws,
            seed=seed,
        ),
        "early_failures": early_failures(lives, depot_of=depot_of),
        "sensitivity": sensitivity_table(
            lives, shop_stops(tables), draws=settings.survival.bootstrap_draws, seed=seed
        ),
        "missed_by_play": missed_by_play(lives, readings, measure),
        "recurrences": replacements_table(lives),
        "gauge": gauge_table(
            tables["gauge_study"], readings, limit_mm=usual_limit(readings), seed=seed
        ),
        "settled_readings": settled_table(growing),
    }


def shop_stops(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """List ``unit_id`` and ``true_miles`` of every stop in the shop, planned visits included.

    A planned visit that lies ahead lies ahead of every failure found so far, too.
    """
    frames = [tables[name][["unit_id", "true_miles"]] for name in (*STOPS, "visits")]
    return pd.concat(frames, ignore_index=True)


def usual_limit(readings: pd.DataFrame) -> float | None:
    """Return the limit that most readings were held against, in mm; None without any."""
    limits = readings["limit_mm"].to_numpy(dtype=np.float64)
    known, count = np.unique(limits[np.isfinite(limits)], return_counts=True)
    return float(known[count.argmax()]) if known.size else None
