"""The lives that a fair comparison of bushing types rests on, and the fleet it speaks for.

Types with fewer than five failures are not compared. Bushings that were removed because of their
play are given the ages at which they would have reached their limit, as their readings tell
(`removal_ages`): each stands in twenty rows of a twentieth of its weight.

The fleet spoken for is every pivot on record, with the duty, salt, node and care that it had when
its records begin, before any choice of type could change them. Where a type was never an original
fitting, it and what it is compared with are taken as later fittings, in bores of the average
condition.

Not here: estimates (`fair_estimates`), the bootstrap (`fair_draws`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from pivotlife.models.accelerated_likelihood import AcceleratedLikelihood
from pivotlife.models.accelerated_maximum import climb
from pivotlife.models.adjusted import starting_point
from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.fair_design import FairDesign, choose_design, life_features
from pivotlife.models.lives import CheckedLives, checked_rows
from pivotlife.models.mode_lives import is_yes
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.removal_ages import IMPUTATIONS, removal_ages

#: The type named later is the numerator of a ratio; types not named follow in the alphabet.
TYPE_ORDER: Final = ("rubber-bonded", "threaded", "roller")
ALL_DUTIES: Final = "all"


class Pair(NamedTuple):
    """Two types, as places in `FairLives.kinds`; ``later``: compared among later lives only."""

    numerator: int
    denominator: int
    later: bool


@dataclass(frozen=True, eq=False)
class FairLives:
    """Lives, rows and fleet of a comparison.

    Attributes
    ----------
    kinds : tuple of str
        Types compared.
    pairs : tuple of Pair
    duties : tuple of str
        "all", then each duty.
    table, features : DataFrame, n_lives rows
        The lives in the fit and what is known of them.
    kind, unit : ndarray of int, shape (n_lives,)
    n_units : int
    design : FairDesign
    whole : CheckedLives, n_lives
        The lives as recorded, removals taken as not failed.
    rows : CheckedLives, n_rows
        The same with the ages that readings give to removed lives.
    life, part : ndarray of int, shape (n_rows,)
        The life of a row, and which of its `IMPUTATIONS` it stands for (-1: it is the whole life).
    fleet : DataFrame, one row per pivot
        What is known of the pivots spoken for.
    """

    kinds: tuple[str, ...]
    pairs: tuple[Pair, ...]
    duties: tuple[str, ...]
    table: pd.DataFrame
    features: pd.DataFrame
    kind: IntArray
    unit: IntArray
    n_units: int
    design: FairDesign
    whole: CheckedLives
    rows: CheckedLives
    life: IntArray
    part: IntArray
    fleet: pd.DataFrame

    @property
    def failed(self) -> BoolArray:
        """Which lives failed on record, shape (n_lives,)."""
        return self.whole.is_failure

    @property
    def n_aged(self) -> int:
        """How many removed lives were given ages by their readings."""
        return int(np.unique(self.life[self.part >= 0]).size)

    def in_duty(self, duty: str) -> BoolArray:
        """Which lives ran in a duty, shape (n_lives,)."""
        own = (self.features["duty"] == duty).to_numpy(dtype=bool)
        return np.asarray(own | (duty == ALL_DUTIES))

    def eligible(self, pair: Pair) -> BoolArray:
        """Which lives a pair is compared on, shape (n_lives,)."""
        own = (self.kind == pair.numerator) | (self.kind == pair.denominator)
        return np.asarray(own & ((self.features["later"].to_numpy() > 0.0) | (not pair.later)))

    def last_miles(self, kind: int, duty: str) -> float:
        """Oldest age at which a bushing of a type was still watched in a duty, miles."""
        own = (self.kind == kind) & self.in_duty(duty)
        upper = self.table.loc[own, "upper_miles"].to_numpy(dtype=np.float64)
        lower = self.table.loc[own, "lower_miles"].to_numpy(dtype=np.float64)
        return float(np.where(np.isfinite(upper), upper, lower).max(initial=0.0))


def gather(
    lives: pd.DataFrame,
    readings: pd.DataFrame | None,
    lube_miles: Mapping[str, float],
    seed: int = 0,
) -> FairLives:
    """Choose the lives of a comparison and the columns of its model.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of lives.
    readings : DataFrame or None
        Readings by life, as `removal_ages` takes them.
    lube_miles : mapping of duty to miles between lube services
    seed : int

    Returns
    -------
    FairLives

    Raises
    ------
    NoMaximumError
        Fewer than two types have failures enough, or these determine no model.
    """
    kinds = compared_types(lives)
    if len(kinds) < 2:
        raise NoMaximumError(
            f"a comparison takes two bushing types with {FEW_FAILURES} failures or more each;"
            f" {len(kinds)} {'has' if len(kinds) == 1 else 'have'} them"
        )
    known = lives[lives["bushing_type"].isin(kinds) & lives["entry_miles"].notna()]
    known_features = life_features(known, lube_miles)
    known_kind = places(known["bushing_type"], kinds)
    in_fit = np.flatnonzero(is_yes(known["in_fit"]))
    checked, kept = checked_rows(known.iloc[in_fit])
    chosen = in_fit[kept]
    table, features = known.iloc[chosen], known_features.iloc[chosen]
    kind = known_kind[chosen]
    design = choose_design(kinds, features, kind, checked.is_failure)
    pace = design.matrix(known_features, known_kind) @ _scales(design, checked, features, kind)
    ages = removal_ages(known, readings, pace, seed)
    rows, life, part = _with_ages(checked, table["life_id"], ages)
    original = {int(k) for k in kind[features["later"].to_numpy() == 0.0]}
    pairs = tuple(
        Pair(high, low, later=not {high, low} <= original)
        for high in range(len(kinds))
        for low in range(high)
    )
    return FairLives(
        kinds=kinds,
        pairs=pairs,
        duties=(ALL_DUTIES, *sorted(set(features["duty"]))),
        table=table,
        features=features,
        kind=kind,
        unit=checked.unit,
        n_units=checked.n_units,
        design=design,
        whole=checked,
        rows=rows,
        life=life,
        part=part,
        fleet=_fleet(lives, lube_miles),
    )


def compared_types(lives: pd.DataFrame) -> tuple[str, ...]:
    """Return the types with failures enough to be compared, the established ones first."""
    in_fit = lives[is_yes(lives["in_fit"])]
    failures = in_fit[np.isfinite(in_fit["upper_miles"])].groupby("bushing_type").size()
    return ordered_types([str(k) for k in failures.index[failures >= FEW_FAILURES]])


def ordered_types(kinds: list[str]) -> tuple[str, ...]:
    """Return types in the order in which ratios name them."""
    named = [kind for kind in TYPE_ORDER if kind in kinds]
    return (*named, *sorted(set(kinds) - set(named)))


def likelihood_of(lives: FairLives) -> AcceleratedLikelihood:
    """Return the likelihood of the rows, a shape for each type first."""
    return _likelihood(
        lives.design, lives.rows, lives.features.iloc[lives.life], lives.kind[lives.life]
    )


def places(column: pd.Series[str], kinds: tuple[str, ...]) -> IntArray:
    """Return the place of each text in a tuple; -1 where it is not in it."""
    return np.asarray(pd.Index(kinds).get_indexer(pd.Index(column)), dtype=np.int64)


def _likelihood(
    design: FairDesign, checked: CheckedLives, features: pd.DataFrame, kind: IntArray
) -> AcceleratedLikelihood:
    shapes = (kind[:, None] == np.arange(len(design.kinds))).astype(np.float64)
    return AcceleratedLikelihood.of(checked, shapes, design.matrix(features, kind))


def _scales(
    design: FairDesign, checked: CheckedLives, features: pd.DataFrame, kind: IntArray
) -> FloatArray:
    """Return the coefficients of the log scale with removals taken as not failed."""
    likelihood = _likelihood(design, checked, features, kind)
    start = starting_point(checked, likelihood)
    k = likelihood.n_shapes
    start[k : k + k] = start[k]  # one intercept for each type
    top = climb(likelihood, checked.weight, start)
    if not top.settled:
        raise NoMaximumError(
            f"the {checked.n_failures} failures among {checked.n_lives} lives do not determine the"
            " adjusted comparison"
        )
    return top.theta[k:]


def _with_ages(
    checked: CheckedLives, life_id: pd.Series[str], ages: pd.DataFrame
) -> tuple[CheckedLives, IntArray, IntArray]:
    """Replace each life that has ages by one row for each of them."""
    aged = life_id.isin(ages.index).to_numpy()
    whole, split = np.flatnonzero(~aged), np.flatnonzero(aged)
    if not split.size:
        return checked, np.arange(checked.n_lives), np.full(checked.n_lives, -1)
    n = IMPUTATIONS
    life = np.concatenate([whole, np.repeat(split, n)])
    part = np.concatenate([np.full(whole.size, -1), np.tile(np.arange(n), split.size)])
    rows = checked.take(life.astype(np.intp))
    is_part = part >= 0
    miles = ages.reindex(life_id.to_numpy()[split]).to_numpy(dtype=np.float64).ravel()
    miles = np.maximum(miles, rows.entry[is_part] + 1.0)
    lower, upper, weight = rows.lower.copy(), rows.upper.copy(), rows.weight.copy()
    lower[is_part] = upper[is_part] = miles
    weight[is_part] /= n
    split_rows = CheckedLives(
        rows.entry, lower, upper, weight, rows.unit, rows.n_units, rows.left_out
    )
    return split_rows, life, part


def _fleet(lives: pd.DataFrame, lube_miles: Mapping[str, float]) -> pd.DataFrame:
    """Return what is known of every pivot as it stood when its records begin."""
    features = life_features(lives, lube_miles)
    first = ~lives["pivot_id"].duplicated().to_numpy()
    return features[first].reset_index(drop=True)
