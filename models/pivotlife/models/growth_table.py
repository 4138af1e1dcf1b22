"""What is expected of every pivot in service: its play, and its chances of being over its limit.

For each pivot the strongest evidence there is:

1. readings of its own and a growth law of its type (`growth_chances`);
2. else the life curve of its type, given good at its last good finding (`curve_chances`): types
   judged by findings, cells without a law, pivots nobody has read;
3. else, where too little failed for a curve, the growth law of the type alone, or the curve that
   the absence of failures allows.

Not here: decisions.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.curve_chances import by_curve_over_ages
from pivotlife.models.growth_cells import GrowthLaws, TypeLaw
from pivotlife.models.growth_chances import by_growth
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.pivot_readings import UNKNOWN_AGE, good_findings_of, readings_of, with_ages

GROWTH_COLUMNS: Final = (
    "pivot_id",
    "life_id",
    "bushing_type",
    "readings_used",
    "last_reading_date",
    "age_miles",
    "visit_date",
    "next_visit_date",
    "play_at_visit_mm",
    "play_at_visit_lower_mm",
    "play_at_visit_upper_mm",
    "play_at_next_visit_mm",
    "chance_over_now",
    "chance_over_at_visit",
    "chance_over_by_next_visit",
    "chance_lower",
    "chance_upper",
    "miles_until_due",
    "method",
    "warning",
)
#: Types judged by findings unless the user sets a limit for their play.
JUDGED_BY_FINDINGS: Final = frozenset({"rubber-bonded"})
_RESULTS: Final = GROWTH_COLUMNS[8:18]
_DOUBTED: Final = "the last reading is far above what the others say"
_TRIED: Final = "fitted at an unknown odometer: ages weighed by how well its readings fit them"
_TRIED_GOOD: Final = (
    "fitted at an unknown odometer: ages weighed by how likely it was still good when so found"
)


def growth_table(
    in_service: pd.DataFrame,
    readings: pd.DataFrame,
    visits: pd.DataFrame,
    laws: GrowthLaws,
    curves: CurveBook,
    ahead: int = 2,
) -> pd.DataFrame:
    """Tell for every pivot in service what its play and its chances are.

    Parameters
    ----------
    in_service : DataFrame
        pivot_id, unit_id, duty, bushing_type, life_id, fitted_miles (NaN = unknown),
        age_at_most_miles, age_at_least_miles, last_good_miles (age), last_reading_date, limit_mm.
    readings : DataFrame
        life_id, true_miles, free_play_mm; optional columns as in `readings_of`, and is_good.
    visits : DataFrame
        unit_id, miles_now, visit_date, visit_miles, next_visit_date, next_visit_miles.
    laws : GrowthLaws
    curves : CurveBook
    ahead : int
        Visits to look at beyond the next two.

    Returns
    -------
    DataFrame
        The columns of `GROWTH_COLUMNS`, last_reading_doubted (bool) and chance_ahead_1 and on
        (chance of being over by the visits beyond), one row per pivot in the
        order of `in_service`. Chances are NaN, with a warning, where miles, age or curve are
        missing. The band is the 10 % to 90 % range of the chance by the visit after next. Miles
        until due count from now to where the chance of being over reaches 0.2.
    """
    pivots = with_ages(in_service, visits)
    used, good = readings_of(pivots, readings), good_findings_of(pivots, readings)
    parts = []
    for (kind, duty), group in pivots.groupby(["bushing_type", "duty"], sort=True):
        mine = used.loc[used["row"].isin(group.index)]
        parts.append(_cell(group, mine, good, str(kind), str(duty), laws, curves, ahead))
    results = pd.concat(parts) if parts else pd.DataFrame(index=pivots.index[:0])
    beyond = [f"chance_ahead_{step}" for step in range(1, ahead + 1)]
    columns = [*GROWTH_COLUMNS, "last_reading_doubted", *beyond]
    table = pivots.join(results).reindex(columns=columns)
    table["last_reading_doubted"] = table["last_reading_doubted"].eq(True)
    return table.astype({"readings_used": int, **dict.fromkeys([*_RESULTS, *beyond], float)})


def seen_ahead(table: pd.DataFrame, ahead: int) -> pd.DataFrame:
    """Leave out the chances of visits further than `ahead` beyond the next two."""
    told = [name for name in table.columns if name.startswith("chance_ahead_")]
    return table.drop(columns=[name for name in told if int(name.rsplit("_", 1)[1]) > ahead])


def _cell(
    group: pd.DataFrame,
    used: pd.DataFrame,
    good: pd.DataFrame,
    kind: str,
    duty: str,
    laws: GrowthLaws,
    curves: CurveBook,
    ahead: int,
) -> pd.DataFrame:
    """Results of the pivots of one type in one duty."""
    law, law_note = laws.law(kind, duty)
    curve = curves.curve(kind, duty)
    speaks = group["limit_mm"].notna() & (law is not None)
    read = speaks & group.index.isin(used["row"])
    # Nothing was read: the law speaks only where no curve was fitted.
    prior = speaks & ~read & (curve is None or curve.is_bound)
    parts = []
    if law is not None and (read | prior).any():
        parts.append(_from_law(group.loc[read | prior], used, law, law_note, ahead))
    rest = group.loc[~(read | prior)]
    if curve is not None and len(rest):
        found = by_curve_over_ages(rest, good, curve, ahead)
        age_warning = rest["age_warning"].mask(
            (rest["age_warning"] == UNKNOWN_AGE)
            & rest["open_miles"].gt(0.0)
            & rest.index.isin(good["row"]),
            _TRIED_GOOD,
        )
        note = "; ".join(filter(None, ["" if law is not None else law_note, curve.warning]))
        parts.append(found.assign(warning=_joined(age_warning, note)))
    elif len(rest):
        warning = _joined(rest["age_warning"], law_note or "no life curve for this type")
        nothing = {"readings_used": 0, "method": "none", "warning": warning}
        parts.append(pd.DataFrame(nothing, index=rest.index))
    return pd.concat(parts)


def _from_law(
    part: pd.DataFrame, used: pd.DataFrame, law: TypeLaw, note: str, ahead: int
) -> pd.DataFrame:
    found = by_growth(part, used.loc[used["row"].isin(part.index)], law, ahead)
    tried = part["age_warning"].mask(
        (part["age_warning"] == UNKNOWN_AGE) & (found["readings_used"] > 0), _TRIED
    )
    doubt = np.where(found["last_reading_doubted"], _DOUBTED, "")
    whole = [
        "; ".join(filter(None, [age, text, note])) for age, text in zip(tried, doubt, strict=True)
    ]
    return found.assign(warning=whole)


def _joined(age_warning: pd.Series, note: str) -> list[str]:
    return ["; ".join(filter(None, [age, note])) for age in age_warning]
