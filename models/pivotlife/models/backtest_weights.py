"""Who was looked at, and how much each verified forecast stands for.

Readings are not taken by lot: the pivots somebody looked at differ from the others. Each verified
pair therefore counts with the inverse of its chance of having been looked at, which a logistic
regression (scikit-learn) estimates from what was known on the day of the list: Horvitz and
Thompson, Journal of the American Statistical Association 47 (1952) 663-685 (from memory; no page
was seen). Within each bushing type and class of chance the weights are then scaled to
the number of pairs there are (post-stratification), so that the verified pairs carry the forecasts
of all. This evens out what the regression knows; that worn and sound pivots alike were looked
at for other reasons is an assumption.

Three kinds of look hang on the outcome itself:

- a failure on the road is recorded whenever it happens: it stands for itself alone;
- a bushing torn down without a plain reading beside it was often taken out *because* it was worn.
  Such a pair is counted as caught, missed or needless, but carries no weight in the calibration,
  unless the list is followed (half of what it sent out was taken out) and it sent this one out;
- a reading under load or after greasing hides play, so it tells of worn bushings only. It carries
  no weight, whatever it showed: counting those over the limit alone would show too much wear,
  taking the others for sound too little.

Not here: the outcomes (`backtest_pairs`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sklearn.linear_model import LogisticRegression
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from pivotlife.models.backtest_pairs import ANOTHER_BUSHING, FAILURE, READING, TEAR_DOWN, UNVERIFIED
from pivotlife.models.decision_groups import RULE as JOINS
from pivotlife.models.decision_together import RULE as OPENS_TOGETHER

FloatArray = npt.NDArray[np.float64]

#: A pair stands for at most this many of its like.
LARGEST_WEIGHT: Final = 20.0
#: Classes of the forecast chance, also the bins of the calibration plot.
EDGES: Final = (0.0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0)
#: The weights of a type and class are scaled to the pairs there are, within these factors.
FILLED_WITHIN: Final = (1.0 / 3.0, 3.0)
#: A list counts as followed when this share of what it sent out was taken out by the visit.
FOLLOWED_SHARE: Final = 0.5
#: Rules of pivots that are renewed for the set-up they share, none of them due by itself.
PARTNER_RULES: Final = frozenset({JOINS, OPENS_TOGETHER})
_MILES: Final = ("miles_since_reading", "miles_to_visit")
_NAMES: Final = ("bushing_type", "duty", "depot", "decision")


def with_weights(pairs: pd.DataFrame) -> pd.DataFrame:
    """Give every pair its chance of having been looked at, and its weight.

    Parameters
    ----------
    pairs : DataFrame
        From `backtest_pairs.pair_up`.

    Returns
    -------
    DataFrame
        With `in_calibration` (bool: a forecast that is due, no safety order stood, the bushing
        is the one the list meant), `is_verified` (bool: it has a weight), `chance_looked_at`
        (NaN outside the calibration) and `weight` (0 where not verified).
    """
    whole = pairs["chance_at_look"].notna() & pairs["is_due"] & ~pairs["held"]
    whole &= pairs["how"] != ANOTHER_BUSHING
    hidden = (pairs["how"] == READING) & ~pairs["is_plain"]
    looked = whole & (pairs["outcome"] != UNVERIFIED) & ~_because_worn(pairs) & ~hidden
    alone = whole & (pairs["how"] == FAILURE)
    by_choice = whole & ~alone
    chance = pd.Series(np.nan, index=pairs.index)
    chance[alone] = 1.0
    if by_choice.any():
        chance[by_choice] = chance_looked_at(pairs[by_choice], looked[by_choice].to_numpy())
    weight = (1.0 / chance).clip(upper=LARGEST_WEIGHT).where(looked, 0.0).fillna(0.0)
    weight = weight.mask(by_choice & looked, weight * _filled_up(pairs, by_choice, weight))
    return pairs.assign(
        in_calibration=whole, is_verified=looked, chance_looked_at=chance, weight=weight
    )


def is_flagged(pairs: pd.DataFrame) -> pd.Series:
    """Say which pivots the list sent out on their own account, not as partners of a job."""
    return pairs["decision"].isin(["replace", "park"]) & ~pairs["rule"].isin(PARTNER_RULES)


def chance_looked_at(pairs: pd.DataFrame, looked: npt.NDArray[np.bool_]) -> FloatArray:
    """Estimate each pair's chance of having been looked at.

    Parameters
    ----------
    pairs : DataFrame
        With what was known on the day of the list.
    looked : ndarray of bool, shape (n,)

    Returns
    -------
    ndarray of float, shape (n,)
        The plain share where all or none were looked at.
    """
    share = float(looked.mean())
    if share in (0.0, 1.0):
        return np.full(len(pairs), share)
    model = make_pipeline(StandardScaler(), LogisticRegression(max_iter=1_000))
    table = features(pairs)
    return np.asarray(model.fit(table, looked).predict_proba(table)[:, 1], dtype=float)


def features(pairs: pd.DataFrame) -> FloatArray:
    """Describe pairs by what was known on the day of the list, shape (n, n_features)."""
    chance = pairs["chance_over_at_visit"].to_numpy(dtype=float)
    bounded = np.clip(np.nan_to_num(chance, nan=0.5), 1e-4, 1.0 - 1e-4)
    log_odds = np.log(bounded / (1.0 - bounded))
    ahead = pairs.assign(miles_to_visit=pairs["visit_miles"] - pairs["miles_now"])
    columns = [log_odds, log_odds**2]
    for name in _MILES:
        miles = ahead[name].to_numpy(dtype=float)
        columns += [np.log1p(np.maximum(np.nan_to_num(miles), 0.0)), np.isnan(miles)]
    named = pd.get_dummies(pairs[list(_NAMES)].astype(str), dtype=float)
    return np.column_stack([*columns, named.to_numpy(dtype=float)]).astype(float)


def _filled_up(pairs: pd.DataFrame, by_choice: pd.Series, weight: pd.Series) -> pd.Series:
    """Factor by which the weights of each type and class of chance fall short of its pairs."""
    place = pd.cut(pairs["chance_at_look"], list(EDGES), labels=False, include_lowest=True)
    table = pd.DataFrame({"there": by_choice.astype(float), "weight": weight.where(by_choice, 0.0)})
    sums = table.groupby([pairs["bushing_type"], place.fillna(-1)]).transform("sum")
    return (sums["there"] / sums["weight"]).clip(*FILLED_WITHIN)


def _because_worn(pairs: pd.DataFrame) -> pd.Series:
    """Mark tear-downs not plainly read, but for those that a list which is followed asked for."""
    flagged = is_flagged(pairs)
    asked = flagged & pairs["is_due"] & ~pairs["held"]
    followed = asked.any() and bool(pairs.loc[asked, "is_removed"].mean() >= FOLLOWED_SHARE)
    unread = (pairs["how"] == TEAR_DOWN) & ~pairs["has_reading"]
    return unread & ~flagged if followed else unread
