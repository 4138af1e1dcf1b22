"""The fair comparison of bushing types, as tables.

- ``ratios``: how many times as high the B10 (and the B50, where at least ten bushings of either
  type were still watched at that age) of one type is as that of another; pooled, adjusted and
  weighted side by side, for all duties and each;
- ``balance``: how unlike the types' lives were at fitting, before and after weighting;
- ``lube_effect``: what missed lube services cost, by type, from the adjusted model;
- ``outlast``: the chance that a bushing of one type outlasts one of the other.

Intervals come from units drawn again (`fair_draws`); p-values are corrected by Holm's procedure
(Scand. J. Stat. 6 (1979) 65-70, from memory) over the pairs of one method, duty and age.

Not here: the sentences (`fair_verdict`), the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.fair_draws import METHODS, Study, limits, study
from pivotlife.models.fair_lives import ALL_DUTIES, FairLives, Pair, gather, ordered_types
from pivotlife.models.fair_verdict import UNADJUSTED, Evidence, exponent, missing_type, verdict
from pivotlife.models.lube_effect import LUBE_COLUMNS, lube_effect
from pivotlife.models.mode_lives import is_yes
from pivotlife.models.overlap import (
    BALANCE_COLUMNS,
    balance_table,
    condition_tells,
    effective_size,
)

RATIO_COLUMNS: Final = (
    *("numerator_type", "denominator_type", "duty", "estimand", "method"),
    *("ratio", "ratio_lower", "ratio_upper", "p_value", "p_value_holm"),
    *("numerator_failures", "denominator_failures", "units", "effective_sample_size", "verdict"),
)
OUTLAST_COLUMNS: Final = (
    *("numerator_type", "denominator_type", "duty", "until_miles"),
    *("chance_numerator", "chance_numerator_lower", "chance_numerator_upper"),
    *("chance_denominator", "chance_denominator_lower", "chance_denominator_upper"),
    "chance_undecided",
)
ESTIMANDS: Final = ("b10", "b50")
#: A B50 is compared where this many bushings of either type were still watched at it.
WATCHED: Final = 10
_KEY: Final = ["method", "duty", "estimand"]
_OTHER: Final = {"adjusted": "weighted", "weighted": "adjusted"}


@dataclass(frozen=True)
class FairComparison:
    """The four tables; see the module."""

    ratios: pd.DataFrame
    balance: pd.DataFrame
    lube_effect: pd.DataFrame
    outlast: pd.DataFrame


def compare_fairly(
    lives: pd.DataFrame,
    readings: pd.DataFrame | None = None,
    lube_miles: Mapping[str, float] | None = None,
    *,
    draws: int = 200,
    seed: int = 0,
) -> FairComparison:
    """Compare bushing types on the same fleet.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of lives.
    readings : DataFrame, optional
        Readings by life: ``life_id, age_miles, free_play_mm, limit_mm``. They tell how near its
        limit a bushing was that a campaign removed; without them it counts as not failed.
    lube_miles : mapping of duty to miles, optional
        Miles between two lube services.
    draws, seed : int
        Of the unit bootstrap.

    Returns
    -------
    FairComparison
        Where the records determine no comparison, ``ratios`` holds a row for each pair that says
        so and the other tables are empty.
    """
    intervals = dict(lube_miles or {})
    nothing = FairComparison(
        _impossible(lives, "these failures determine no comparison"),
        pd.DataFrame(columns=list(BALANCE_COLUMNS)),
        pd.DataFrame(columns=list(LUBE_COLUMNS)),
        pd.DataFrame(columns=list(OUTLAST_COLUMNS)),
    )
    try:
        found = study(gather(lives, readings, intervals, seed), draws, seed)
    except NoMaximumError as error:
        return replace(nothing, ratios=_impossible(lives, str(error)))
    balance = balance_table(found.lives, found.overlap)
    ratios = _ratios(found, balance)
    left_out = nothing.ratios[
        ~(
            nothing.ratios["numerator_type"].isin(found.lives.kinds)
            & nothing.ratios["denominator_type"].isin(found.lives.kinds)
        )
    ]
    return FairComparison(
        pd.concat([ratios, left_out], ignore_index=True) if len(left_out) else ratios,
        balance,
        lube_effect(found, intervals),
        _outlast(found),
    )


def holm(p_values: FloatArray) -> FloatArray:
    """Return p-values corrected for having looked at all of them, NaN left out."""
    result = np.full(p_values.size, np.nan)
    known = np.flatnonzero(np.isfinite(p_values))
    order = known[np.argsort(p_values[known], kind="stable")]
    scaled = p_values[order] * np.arange(order.size, 0, -1)
    result[order] = np.minimum(np.maximum.accumulate(scaled), 1.0) if order.size else scaled
    return result


def _ratios(found: Study, balance: pd.DataFrame) -> pd.DataFrame:
    """Return every ratio with its verdict."""
    rows = [row for method in METHODS for row in _rows_of(found, method)]
    frame = pd.DataFrame(rows)
    frame["p_value_holm"] = np.nan
    for _, group in frame.groupby(_KEY, sort=False):
        frame.loc[group.index, "p_value_holm"] = holm(group["p_value"].to_numpy(dtype=np.float64))
    by_key = frame.set_index(["numerator_type", "denominator_type", *_KEY])["ratio"].to_dict()
    frame["verdict"] = [
        UNADJUSTED if row["method"] == "pooled" else verdict(_evidence(row, by_key, balance, found))
        for row in frame.to_dict("records")
    ]
    return frame[list(RATIO_COLUMNS)]


def _rows_of(found: Study, method: str) -> Iterator[dict[str, object]]:
    """Yield the rows of one method without verdict."""
    lives, stretch = found.lives, found.stretch(method)
    log_ratio = found.estimates.log_ratio(method)
    drawn = np.array([draw.log_ratio(method) for draw in found.draws])
    ages = np.exp(np.minimum(found.estimates.log_ages[method], 700.0))
    for i, pair in enumerate(lives.pairs):
        for j, duty in enumerate(lives.duties):
            sides = _sides(lives, pair, duty, method)
            counts = _counts(found, sides, method, i)
            watched = min(_watched(lives, side) for side in sides)
            for k, estimand in enumerate(ESTIMANDS):
                if estimand == "b50" and not float(ages[i, j, k].max()) <= watched:
                    continue
                value = float(log_ratio[i, j, k])
                low, high, p = limits(value, drawn[:, i, j, k], stretch)
                yield {
                    "numerator_type": lives.kinds[pair.numerator],
                    "denominator_type": lives.kinds[pair.denominator],
                    "duty": duty,
                    "estimand": estimand,
                    "method": method,
                    "ratio": exponent(value),
                    "ratio_lower": exponent(low),
                    "ratio_upper": exponent(high),
                    "p_value": p if np.isfinite(value) else np.nan,
                    **counts,
                }


def _sides(lives: FairLives, pair: Pair, duty: str, method: str) -> tuple[BoolArray, BoolArray]:
    """Return the lives of the numerator and of the denominator."""
    chosen = lives.in_duty(duty)
    if method != "pooled":
        chosen = chosen & lives.eligible(pair)
    return chosen & (lives.kind == pair.numerator), chosen & (lives.kind == pair.denominator)


def _counts(
    found: Study, sides: tuple[BoolArray, BoolArray], method: str, pair: int
) -> dict[str, object]:
    lives = found.lives
    weight = found.overlap[pair] if method == "weighted" else np.ones(len(lives.kind))
    return {
        "numerator_failures": int((lives.failed & sides[0]).sum()),
        "denominator_failures": int((lives.failed & sides[1]).sum()),
        "units": int(np.unique(lives.unit[sides[0] | sides[1]]).size),
        "effective_sample_size": min(effective_size(weight[side]) for side in sides),
    }


def _watched(lives: FairLives, side: BoolArray) -> float:
    """Return the age up to which at least ten of some lives were watched, miles."""
    whole = lives.whole
    ends = np.where(np.isfinite(whole.upper), whole.upper, whole.lower)[side]
    return float(np.sort(ends)[-WATCHED]) if ends.size >= WATCHED else 0.0


def _evidence(
    row: Mapping[Any, Any],
    ratios: Mapping[Any, Any],
    balance: pd.DataFrame,
    found: Study,
) -> Evidence:
    """Return what the verdict on one row rests on."""
    lives = found.lives
    names = (str(row["numerator_type"]), str(row["denominator_type"]))
    pair = next(p for p in lives.pairs if (lives.kinds[p[0]], lives.kinds[p[1]]) == names)
    other = _OTHER[str(row["method"])]
    own = balance[
        (balance["numerator_type"] == names[0])
        & (balance["denominator_type"] == names[1])
        & (balance["duty"] == row["duty"])
    ]
    unlike, difference, effective = "", np.nan, 0.0
    if len(own):
        worst = own.loc[own["difference_after"].abs().idxmax()]
        unlike, difference = str(worst["covariate"]), float(worst["difference_after"])
        effective = min(float(worst["numerator_effective"]), float(worst["denominator_effective"]))
    return Evidence(
        *names,
        duty=str(row["duty"]),
        age=str(row["estimand"]).upper(),
        ratio=float(row["ratio"]),
        lower=float(row["ratio_lower"]),
        upper=float(row["ratio_upper"]),
        p_holm=float(row["p_value_holm"]),
        failures=(int(row["numerator_failures"]), int(row["denominator_failures"])),
        effective=effective,
        unlike=unlike,
        difference=difference,
        other=other,
        other_ratio=float(ratios.get((*names, other, row["duty"], row["estimand"]), np.nan)),
        condition_known=condition_tells(lives, pair),
    )


def _outlast(found: Study) -> pd.DataFrame:
    """Return the chance that one type outlasts the other, up to where both were watched."""
    lives = found.lives
    until = np.array(
        [[min(lives.last_miles(k, d) for k in p[:2]) for d in lives.duties] for p in lives.pairs]
    )
    drawn = np.array([draw.outlast for draw in found.draws])
    rows = []
    for i, pair in enumerate(lives.pairs):
        for j, duty in enumerate(lives.duties):
            chance = found.estimates.outlast[i, j]
            if not np.isfinite(chance).all():
                continue
            row: dict[str, object] = {
                "numerator_type": lives.kinds[pair.numerator],
                "denominator_type": lives.kinds[pair.denominator],
                "duty": duty,
                "until_miles": until[i, j],
                "chance_undecided": chance[2],
            }
            for side, name in enumerate(("numerator", "denominator")):
                low, high = np.quantile(drawn[:, i, j, side], [0.025, 0.975])
                row[f"chance_{name}"] = chance[side]
                row[f"chance_{name}_lower"], row[f"chance_{name}_upper"] = low, high
            rows.append(row)
    return pd.DataFrame(rows, columns=list(OUTLAST_COLUMNS))


def _impossible(lives: pd.DataFrame, reason: str) -> pd.DataFrame:
    """Return a row for each pair of types on record that no model compares."""
    in_fit = lives[is_yes(lives["in_fit"])]
    failed = in_fit[np.isfinite(in_fit["upper_miles"].astype(float))]
    kinds = ordered_types([str(kind) for kind in lives["bushing_type"].unique()])
    failures = {kind: int((failed["bushing_type"] == kind).sum()) for kind in kinds}
    rows = []
    for high in range(len(kinds)):
        for low in range(high):
            names = (kinds[high], kinds[low])
            counts = (failures[names[0]], failures[names[1]])
            rows.append(
                {
                    "numerator_type": names[0],
                    "denominator_type": names[1],
                    "duty": ALL_DUTIES,
                    "estimand": "b10",
                    "method": "adjusted",
                    "numerator_failures": counts[0],
                    "denominator_failures": counts[1],
                    "units": in_fit.loc[in_fit["bushing_type"].isin(names), "unit_id"].nunique(),
                    "verdict": missing_type(*names, counts, reason),
                }
            )
    return pd.DataFrame(rows, columns=list(RATIO_COLUMNS)).astype(
        {name: float for name in RATIO_COLUMNS if "ratio" in name or "p_value" in name}
    )
