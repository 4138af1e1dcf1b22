"""Which columns make a comparison of bushing types fair, and what each life says in them.

Log scale of a life =
    type + duty + node + type x salt + type x care + first or later life + condition at fitting,
with a shape of its own for every type. Condition at fitting is the last play of the bushing that
was replaced, as a share of its limit: a bore that has been hammered holds the next bushing less
long. Where none is known the column is 0 and an indicator says so.

Covariates are centred: care on the fleet's mean, condition on 1 (just at the limit). A column
stands in the model only where at least five failures speak on either side of it and it says
something that the others do not; the names of those left out are kept.

Not here: the model itself (`adjusted`), the bootstrap (`fair_draws`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import BoolArray, FloatArray, IntArray
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.unit_care import unit_care

#: Condition beyond twice the limit says no more than twice the limit.
WORST_CONDITION: Final = 2.0
FEATURES: Final = ("duty", "node", "salt", "care", "later", "condition_known", "condition")


@dataclass(frozen=True)
class FairDesign:
    """The columns of the log scale.

    Attributes
    ----------
    kinds : tuple of str
        Bushing types compared; a life's kind is its place here.
    columns : tuple of str
        Names, such as ``threaded``, ``duty[regional]``, ``threaded x salt``.
    left_out : tuple of str
        Columns that too few failures speak for.
    """

    kinds: tuple[str, ...]
    columns: tuple[str, ...]
    left_out: tuple[str, ...]

    def matrix(self, features: pd.DataFrame, kind: IntArray) -> FloatArray:
        """Return the columns, shape (n, n_columns), for lives or pivots of given types."""
        made = all_columns(self.kinds, features, kind)
        empty = np.zeros(len(features))
        return np.column_stack([made.get(name, empty) for name in self.columns])

    def place(self, column: str) -> int | None:
        """Return where a column stands; None where it was left out."""
        return self.columns.index(column) if column in self.columns else None


def life_features(lives: pd.DataFrame, lube_miles: Mapping[str, float]) -> pd.DataFrame:
    """Return what is known of each life that may bear on how long it lasts.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of lives.
    lube_miles : mapping of duty to miles between lube services

    Returns
    -------
    DataFrame, columns `FEATURES`, index of ``lives``
        duty, node: text. salt: 1 on salted roads, the fleet's share where unknown. care: share of
        due lube services (0 everywhere when no service is on record) less the fleet's mean. later:
        1 unless the bushing came with the truck. condition_known, condition: of the bushing before
        it, less 1; 0 where unknown.
    """
    salt = lives["road_salt"].astype(str).map({"yes": 1.0, "no": 0.0})
    salt = salt.fillna(salt.mean() if salt.notna().any() else 0.0)
    care = unit_care(lives, lube_miles)
    mean = float(np.nanmean(care)) if np.isfinite(care).any() else 0.0
    condition = pd.to_numeric(lives["condition_at_fitting"]).to_numpy(dtype=np.float64)
    known = np.isfinite(condition)
    return pd.DataFrame(
        {
            "duty": lives["duty"].astype(str),
            "node": lives["node"].astype(str),
            "salt": salt.to_numpy(dtype=np.float64),
            "care": np.where(np.isfinite(care), care - mean, 0.0),
            "later": (lives["life_order"].astype(str) != "first").to_numpy(dtype=np.float64),
            "condition_known": known.astype(np.float64),
            "condition": np.where(known, np.clip(condition, 0.0, WORST_CONDITION) - 1.0, 0.0),
        },
        index=lives.index,
    )


def choose_design(
    kinds: tuple[str, ...], features: pd.DataFrame, kind: IntArray, failed: BoolArray
) -> FairDesign:
    """Choose the columns that the failures can speak for.

    Parameters
    ----------
    kinds : tuple of str
    features : DataFrame
        Of the lives in the fit, from `life_features`.
    kind : ndarray of int, shape (n_lives,)
    failed : ndarray of bool, shape (n_lives,)
    """
    kept: list[str] = []
    left_out: list[str] = []
    columns: list[FloatArray] = []
    references = {f"{what}[{features[what].astype(str).min()}]" for what in ("duty", "node")}
    for name, values in all_columns(kinds, features, kind).items():
        if name in references:
            continue
        own = kind == _kind_of(name, kinds)
        spoken = failed & own if " x " in name else failed
        stands = name in kinds or (_both_sides(values[spoken]) and _is_new(columns, values))
        if stands:
            kept.append(name)
            columns.append(values)
        else:
            left_out.append(name)
    return FairDesign(kinds, tuple(kept), tuple(left_out))


def all_columns(
    kinds: tuple[str, ...], features: pd.DataFrame, kind: IntArray
) -> dict[str, FloatArray]:
    """Return every column that could stand in the model, by name."""
    made = {name: (kind == place).astype(np.float64) for place, name in enumerate(kinds)}
    for what in ("duty", "node"):
        text = features[what].to_numpy(dtype=str)
        for word in sorted(set(text)):
            made[f"{what}[{word}]"] = (text == word).astype(np.float64)
    for what in ("salt", "care"):
        values = features[what].to_numpy(dtype=np.float64)
        for place, name in enumerate(kinds):
            made[f"{name} x {what}"] = np.where(kind == place, values, 0.0)
    for what in ("later", "condition_known", "condition"):
        made[what] = features[what].to_numpy(dtype=np.float64)
    return made


def _kind_of(column: str, kinds: tuple[str, ...]) -> int:
    """Return the type that a column speaks of; -1 for all."""
    name = column.split(" x ", maxsplit=1)[0]
    return kinds.index(name) if name in kinds else -1


def _both_sides(values: FloatArray) -> bool:
    """Say whether five failures stand on either side of the middle between the ends."""
    if values.size == 0:
        return False
    middle = 0.5 * (values.min() + values.max())
    below = int(np.count_nonzero(values < middle))
    above = int(np.count_nonzero(values > middle))
    return min(below, above) >= FEW_FAILURES


def _is_new(columns: list[FloatArray], values: FloatArray) -> bool:
    """Say whether a column is more than a combination of those before it."""
    if not np.any(values):
        return False
    before = np.column_stack(columns)
    rest = values - before @ np.linalg.lstsq(before, values, rcond=None)[0]
    return bool(np.linalg.norm(rest) > 1e-6 * np.linalg.norm(values))
