"""Overlap weights: lives of two bushing types made alike in what was known at fitting.

A multinomial logistic regression says how likely each type was for a fitting with this duty, salt,
node, care, first or later, and condition of the bushing before (all but the node by duty). A life
of type a counts with

    chance of b / (chance of a + chance of b),

so that lives whose like is found among the other type count most and those without a counterpart
hardly at all; the two weighted groups then agree in the means of what was known (Li, Morgan &
Zaslavsky, J. Am. Stat. Assoc. 113 (2018) 390-400, from memory).

How well they agree is told by standardised differences, difference of means over the root mean of
the two unweighted variances, and how many lives are left to compare by the effective sample size
(sum w)^2 / sum w^2 (Kish 1965, from memory).

Types that were never an original fitting are compared among later fittings only.

Not here: the curves fitted with the weights (`fair_estimates`).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import pandas as pd
from sklearn.linear_model import LogisticRegression

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.fair_lives import FairLives, Pair

#: Weight of the penalty that keeps coefficients finite where no counterpart exists at all.
_MILD: Final = 100.0
_NAMES: Final = {
    "salt": "salted roads",
    "care": "lube compliance of the unit",
    "later": "later fitting",
    "condition_known": "condition before known",
    "condition": "condition before",
}
_CONDITION: Final = (_NAMES["condition_known"], _NAMES["condition"])
BALANCE_COLUMNS: Final = (
    *("numerator_type", "denominator_type", "duty", "covariate"),
    *("numerator_mean_before", "denominator_mean_before", "difference_before"),
    *("numerator_mean_after", "denominator_mean_after", "difference_after"),
    *("numerator_lives", "denominator_lives"),
    *("numerator_effective", "denominator_effective"),
)


class _Asked(NamedTuple):
    """What one regression is asked: among later lives only, and with the condition before."""

    later: bool
    condition: bool


class Overlap:
    """Overlap weights of every pair under any weights of the lives."""

    def __init__(self, lives: FairLives) -> None:
        self.lives = lives
        self.known = _with_products(known_at_fitting(lives), lives)
        self.asked = {
            pair: _Asked(pair.later, condition_tells(lives, pair)) for pair in lives.pairs
        }
        self.chosen = {asked: self._lives_asked(asked) for asked in set(self.asked.values())}

    def weights(self, weight: FloatArray) -> list[FloatArray]:
        """Return the overlap weights of all lives by pair, 0 for lives outside it.

        Parameters
        ----------
        weight : ndarray, shape (n_lives,)
            How often each life counts when the chances are fitted.
        """
        chances = {asked: self._chances(asked, weight) for asked in self.chosen}
        return [self._of_pair(pair, chances[self.asked[pair]]) for pair in self.lives.pairs]

    def _lives_asked(self, asked: _Asked) -> BoolArray:
        """Return the lives of all types that a regression can tell apart fairly."""
        lives = self.lives
        later = lives.features["later"].to_numpy() > 0.0
        originals = np.unique(lives.kind[~later])
        told = {
            kind
            for pair, same in self.asked.items()
            if same == asked
            for kind in (pair.numerator, pair.denominator)
        }
        kinds = sorted(told) if asked.condition else range(len(lives.kinds))
        own = np.isin(lives.kind, list(kinds))
        return own & (later if asked.later else np.isin(lives.kind, originals))

    def _of_pair(self, pair: Pair, chance: FloatArray) -> FloatArray:
        a, b = chance[:, pair.numerator], chance[:, pair.denominator]
        total = np.maximum(a + b, 1e-300)
        other = np.where(self.lives.kind == pair.numerator, b / total, a / total)
        return np.where(self.lives.eligible(pair), other, 0.0)

    def _chances(self, asked: _Asked, weight: FloatArray) -> FloatArray:
        """Return the chance of each type for each life, shape (n_lives, n_kinds)."""
        own = self.chosen[asked]
        result = np.zeros((len(own), len(self.lives.kinds)))
        places = np.flatnonzero(own)
        rows = places[weight[places] > 0.0]
        kind = self.lives.kind[rows]
        present = np.unique(kind)
        if present.size < 2:
            result[np.ix_(places, present)] = 1.0
            return result
        known = self.known[_facts(self.known, asked.condition)].to_numpy()
        centre, spread = known[rows].mean(axis=0), known[rows].std(axis=0)
        varies = spread > 1e-9
        scaled = (known[:, varies] - centre[varies]) / spread[varies]
        model = LogisticRegression(C=_MILD, solver="newton-cholesky", max_iter=100, tol=1e-5)
        model.fit(scaled[rows], kind, sample_weight=weight[rows])
        result[np.ix_(places, model.classes_)] = model.predict_proba(scaled[places])
        return result


def condition_tells(lives: FairLives, pair: Pair) -> bool:
    """Say whether the condition of the bushing before is ever known for both types.

    Rubber-bonded bushings have no play limit, so what they replace or leave behind has no
    condition: a fact that only one type can have tells types apart and balances nothing.
    """
    known = lives.features["condition_known"].to_numpy() > 0.0
    return all(
        bool(known[lives.eligible(pair) & (lives.kind == kind)].any())
        for kind in (pair.numerator, pair.denominator)
    )


def known_at_fitting(lives: FairLives) -> pd.DataFrame:
    """Return one numeric column for each fact known at fitting, n_lives rows."""
    features = lives.features
    columns: dict[str, FloatArray] = {}
    for what in ("duty", "node"):
        text = features[what].to_numpy(dtype=str)
        for word in sorted(set(text)):
            columns[f"{what} {word}"] = (text == word).astype(np.float64)
    for column, name in _NAMES.items():
        columns[name] = features[column].to_numpy(dtype=np.float64)
    return pd.DataFrame(columns, index=features.index)


def _with_products(known: pd.DataFrame, lives: FairLives) -> pd.DataFrame:
    """Add the facts within each duty, so that the types agree there too."""
    products = {
        f"{name} in {duty}": known[name] * known[f"duty {duty}"]
        for duty in lives.duties[1:-1]
        for name in (*(_NAMES[what] for what in ("salt", "care", "later")), *_CONDITION)
    }
    return known.assign(**products)


def _facts(known: pd.DataFrame, condition: bool) -> list[str]:
    """Return the facts that count, with or without the condition before."""
    return [
        str(name) for name in known.columns if condition or not str(name).startswith(_CONDITION)
    ]


def effective_size(weight: FloatArray) -> float:
    """Return how many equally weighted lives would tell as much (Kish)."""
    square = float(weight @ weight)
    return float(weight.sum()) ** 2 / square if square > 0.0 else 0.0


def balance_table(lives: FairLives, weights: list[FloatArray]) -> pd.DataFrame:
    """Return how unlike two types' lives are before and after weighting.

    Parameters
    ----------
    lives : FairLives
    weights : list of ndarray, shape (n_lives,)
        Overlap weights by pair.

    Returns
    -------
    DataFrame, columns `BALANCE_COLUMNS`
        One row a pair, duty and fact that varies; differences in standard deviations.
    """
    known = known_at_fitting(lives)
    rows: list[dict[str, object]] = []
    for pair, weight in zip(lives.pairs, weights, strict=True):
        for duty in lives.duties:
            chosen = lives.eligible(pair) & lives.in_duty(duty)
            sides = [chosen & (lives.kind == k) for k in (pair.numerator, pair.denominator)]
            if not all(side.any() for side in sides):
                continue
            named = {
                "numerator_type": lives.kinds[pair.numerator],
                "denominator_type": lives.kinds[pair.denominator],
                "duty": duty,
            }
            told = known[_facts(known, condition_tells(lives, pair))]
            rows += [{**named, **row} for row in _cell(told, sides, weight)]
    return pd.DataFrame(rows, columns=list(BALANCE_COLUMNS))


def _cell(
    known: pd.DataFrame, sides: list[BoolArray], weight: FloatArray
) -> list[dict[str, object]]:
    """Return the rows of one pair in one duty."""
    a, b = sides
    sizes = {
        "numerator_lives": int(a.sum()),
        "denominator_lives": int(b.sum()),
        "numerator_effective": effective_size(weight[a]),
        "denominator_effective": effective_size(weight[b]),
    }
    rows = []
    for name in known.columns:
        x = known[name].to_numpy()
        spread = np.sqrt(0.5 * (x[a].var() + x[b].var()))
        if spread <= 1e-9 and abs(x[a].mean() - x[b].mean()) <= 1e-9:
            continue
        row: dict[str, object] = {"covariate": name}
        for when, w in (("before", np.ones(len(x))), ("after", weight)):
            means = [_mean(x[side], w[side]) for side in sides]
            row[f"numerator_mean_{when}"], row[f"denominator_mean_{when}"] = means
            row[f"difference_{when}"] = (means[0] - means[1]) / max(spread, 1e-9)
        rows.append({**row, **sizes})
    return rows


def _mean(x: FloatArray, weight: FloatArray) -> float:
    total = float(weight.sum())
    return float(x @ weight) / total if total > 0.0 else np.nan
