"""What a missed lube service costs, by bushing type, from the adjusted model.

Two ways of saying one coefficient: the factor on life for ten points more of lube compliance, and
for one more service missed of those due in a typical life (half the bushings last so long). Types
that take no grease have a row too: what shows there is not grease but how a unit is looked after.

Not here: counting services (`unit_care` reads the shares).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.fair_draws import Study, limits
from pivotlife.models.fair_verdict import exponent

LUBE_COLUMNS: Final = (
    *("bushing_type", "failures", "units"),
    *("time_ratio_per_10_points", "time_ratio_per_10_points_lower"),
    *("time_ratio_per_10_points_upper", "time_ratio_per_missed_service"),
    *("time_ratio_per_missed_service_lower", "time_ratio_per_missed_service_upper"),
    *("services_due", "p_value", "note"),
)
UNGREASED: Final = ("rubber-bonded",)
_B50: Final = 1


def lube_effect(found: Study, lube_miles: Mapping[str, float]) -> pd.DataFrame:
    """Return the effect of lube compliance on life.

    Parameters
    ----------
    found : Study
    lube_miles : mapping of duty to miles between two lube services

    Returns
    -------
    DataFrame, columns `LUBE_COLUMNS`
        One row a type. Empty numbers where too few failures speak; ``note`` says so.
    """
    lives = found.lives
    rows: list[dict[str, object]] = []
    for kind, name in enumerate(lives.kinds):
        failed = lives.failed & (lives.kind == kind)
        row: dict[str, object] = {
            "bushing_type": name,
            "failures": int(failed.sum()),
            "units": int(np.unique(lives.unit[lives.kind == kind]).size),
        }
        column = lives.design.place(f"{name} x care")
        if column is None:
            row["note"] = "too few failures, or no lube services on record"
        else:
            row |= _effect(found, kind, len(lives.kinds) + column, lube_miles)
        rows.append(row)
    return pd.DataFrame(rows, columns=list(LUBE_COLUMNS))


def _effect(
    found: Study, kind: int, place: int, lube_miles: Mapping[str, float]
) -> dict[str, object]:
    """Return both ways of saying the coefficient at one place of the model."""
    value = float(found.summit.theta[place])
    drawn = np.array([draw.theta[place] for draw in found.draws])
    low, high, p = limits(value, drawn, found.stretch("adjusted"))
    due = _services_due(found, kind, lube_miles)
    row: dict[str, object] = {"services_due": due, "p_value": p}
    ten = "time_ratio_per_10_points"
    for end, points in (("", value), ("_lower", low), ("_upper", high)):
        row[f"{ten}{end}"] = exponent(0.1 * points)
    missed = "time_ratio_per_missed_service"
    for end, points in (("", value), ("_lower", high), ("_upper", low)):
        row[f"{missed}{end}"] = exponent(-points / due) if np.isfinite(due) else np.nan
    note = "takes no grease: shows how care in general goes with life"
    row["note"] = note if found.lives.kinds[kind] in UNGREASED else ""
    return row


def _services_due(found: Study, kind: int, lube_miles: Mapping[str, float]) -> float:
    """Return the services due in the age that half the bushings of a type reach."""
    lives = found.lives
    ages = found.estimates.log_ages["adjusted"]
    median = next(
        float(ages[i, 0, _B50, side])
        for i, pair in enumerate(lives.pairs)
        for side in range(2)
        if pair[side] == kind
    )
    every = lives.fleet["duty"].map(dict(lube_miles)).astype(float)
    interval = float(every.mean()) if every.notna().any() else np.nan
    return max(exponent(median) / interval, 1.0)
