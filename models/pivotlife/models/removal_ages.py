"""Ages at which bushings that were taken out because of their play would have failed.

A campaign that converts the worst trucks first takes out bushings shortly before they fail.
Counting them as "not failed yet" reads lives too long, counting them as failed too short. Their own
readings say more: the growth of play, fitted to all bushings of the type, tells at which ages its
play may have reached the limit. Twenty draws of that age, each under a law of growth drawn with its
own uncertainty, stand for the life with a twentieth of its weight each; a bootstrap draw takes one
set of them (multiple imputation).

Play grows faster in hard duty. So ages enter the growth model in units of the bushing's own pace
(its fitted scale by duty, salt and care), and come back in miles.

Only types whose play is read against a limit, and only removals whose mode would be wear. A pin
that takes no grease, or was found seized, is left as it was: its play says nothing.

Not here: growth itself (`growth`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import PivotlifeError
from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_imputation import crossing_draws
from pivotlife.models.mode_lives import is_yes

#: Draws of the age of each removed bushing.
IMPUTATIONS: Final = 20
#: Fewer removals of a type are not worth a growth model.
FEWEST: Final = 5
#: No truck runs further.
FURTHEST_MILES: Final = 5_000_000.0
_READ: Final = ("life_id", "age_miles", "free_play_mm", "limit_mm")
_KEPT: Final = ("load_state", "greased_before")


def removal_ages(
    lives: pd.DataFrame, readings: pd.DataFrame | None, pace: FloatArray, seed: int = 0
) -> pd.DataFrame:
    """Return the ages at which removed bushings would have reached their limit.

    Parameters
    ----------
    lives : DataFrame, one row per life
        ``life_id, bushing_type, in_fit, informative, upper_miles``.
    readings : DataFrame or None
        ``life_id, age_miles, free_play_mm, limit_mm``; optional ``load_state, greased_before,
        takes_grease, finding, is_suspect``. None: nothing is known, nothing is returned.
    pace : ndarray, shape (n_lives,)
        Log of each life's scale in miles, up to a constant.
    seed : int

    Returns
    -------
    DataFrame, index life_id, one column a draw, miles
        Removed lives whose readings tell; the others are absent.
    """
    nothing = pd.DataFrame()
    if readings is None or any(name not in readings.columns for name in _READ):
        return nothing
    usable = _usable(readings)
    removed = is_yes(lives["informative"]) & is_yes(lives["in_fit"])
    removed &= ~np.isfinite(lives["upper_miles"].to_numpy(dtype=np.float64))
    found = []
    for kind in sorted(lives["bushing_type"].unique()):
        of_kind = (lives["bushing_type"] == kind).to_numpy()
        log_pace = pd.Series(pace[of_kind], index=lives.loc[of_kind, "life_id"].to_numpy())
        wanted = lives.loc[of_kind & removed, "life_id"]
        found.append(_of_type(usable, log_pace - log_pace.mean(), wanted, seed))
    known = [ages for ages in found if len(ages)]
    return pd.concat(known) if known else nothing


def _usable(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the readings of bushings whose play tells how worn they are."""
    keep = readings["free_play_mm"].notna() & readings["age_miles"].notna()
    keep &= readings["limit_mm"].notna() & (readings["life_id"].astype(str) != "")
    if "is_suspect" in readings.columns:
        keep &= ~is_yes(readings["is_suspect"])
    stuck = pd.Series(False, index=readings.index)
    for column, word in (("takes_grease", "no"), ("finding", "seized")):
        if column in readings.columns:
            stuck |= readings[column].astype(str) == word
    return readings[keep & ~readings["life_id"].isin(readings.loc[stuck, "life_id"])]


def _of_type(
    readings: pd.DataFrame, pace: pd.Series[float], wanted: pd.Series[str], seed: int
) -> pd.DataFrame:
    """Return the ages of one type's removed bushings; empty where its growth cannot be fitted."""
    own = readings[readings["life_id"].isin(pace.index)]
    asked = own[own["life_id"].isin(wanted)]
    if asked["life_id"].nunique() < FEWEST:
        return pd.DataFrame()
    factor = np.exp(own["life_id"].map(pace).to_numpy(dtype=np.float64))
    table = own[["free_play_mm", "limit_mm", *(c for c in _KEPT if c in own.columns)]].assign(
        pivot_id=own["life_id"], miles=own["age_miles"] / factor
    )
    table = table.sort_values(["pivot_id", "miles"], kind="stable")
    growth = FreePlayGrowth(seed=seed)
    chosen = table[table["pivot_id"].isin(wanted)]
    limit = chosen.groupby("pivot_id")["limit_mm"].last()
    try:
        growth.fit(table)
        frame = crossing_draws(growth, chosen, limit, draws=IMPUTATIONS, seed=seed)
    except PivotlifeError:
        return pd.DataFrame()
    back = np.exp(pace.reindex(frame.index).to_numpy(dtype=np.float64))
    return frame.mul(back, axis=0).clip(upper=FURTHEST_MILES)
