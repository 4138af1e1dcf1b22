"""Which growth law speaks for a bushing type in a duty, and where none does.

One law for each type judged by play: threaded and roller bushings, and rubber where the user has
set a limit for it (readings without a limit take no part). A duty gets a law of its own once 40
of its lives showed play at two ages or more and they determine its spread and its exponent to a
third or so; the others share the growth of all duties at the pace of their own (`growth_pace`), or,
where no pace is known, as it is: its spread of growth rates then holds the differences between
duties as well.

A law is held against the survival curve without a law of the same lives. Where the law sees the
bushings over their limit clearly later than they fail (rubber that splits, rollers that go rough),
play does not announce their end, and the survival curve speaks instead. Where the law sees it
earlier it stands, with a remark: bushings renewed in good time make that curve read too long.

Not here: what a law says of a pivot (`growth_chances`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_law import PARAMETERS
from pivotlife.models.growth_pace import at_pace, duty_paces
from pivotlife.models.life_curves import ALL_DUTIES
from pivotlife.models.mode_lives import lives_for_mode
from pivotlife.models.nonparametric import SurvivalCurve, npmle
from pivotlife.models.pivot_readings import usable_readings

#: Lives that showed play at two ages or more from which a duty has a law of its own.
LIVES_PER_DUTY: Final = 40
#: Standard error of the log spread of growth rates, or of the log exponent, above which a duty's
#: own law is too vague.
VAGUE_SPREAD: Final = 0.3
#: Shares over the limit at which law and survival curve are compared.
COMPARED_AT: Final = (0.1, 0.2, 0.3, 0.4, 0.5)
#: How far outside the curve's band the law's survival must lie to count as different.
TOLERANCE: Final = 0.1
#: Lives at risk below which the survival curve is not asked.
LIVES_AT_RISK: Final = 20
_BAND_DRAWS: Final = 50


@dataclass(frozen=True, eq=False)
class TypeLaw:
    """The growth law that speaks for a bushing type in a duty.

    Attributes
    ----------
    growth : FreePlayGrowth
        Fitted.
    name : str
        "threaded, regional" as a reader would say it.
    warning : str
        What is weak about it, or "".
    """

    growth: FreePlayGrowth
    name: str
    warning: str


@dataclass(frozen=True, eq=False)
class GrowthLaws:
    """Laws by (bushing type, duty), and why other cells have none.

    Attributes
    ----------
    laws : mapping of (bushing type, duty) to TypeLaw
        The duty "all" is the law of all duties.
    refused : mapping of (bushing type, duty) to str
        Cells whose readings gave no law, or one that the survival curve contradicts.
    """

    laws: Mapping[tuple[str, str], TypeLaw]
    refused: Mapping[tuple[str, str], str]

    def law(self, bushing_type: str, duty: str) -> tuple[TypeLaw | None, str]:
        """Return the law for a type in a duty and what to know about the choice.

        A duty of its own comes first; a duty whose law was refused is not lent the pooled one.
        """
        own = (bushing_type, duty)
        if own in self.laws:
            return self.laws[own], self.laws[own].warning
        if own in self.refused:
            return None, self.refused[own]
        pooled = (bushing_type, ALL_DUTIES)
        if pooled not in self.laws:
            return None, self.refused.get(pooled, "")
        note = f"too few bushings read often enough in {duty}: growth of all duties"
        return self.laws[pooled], "; ".join(filter(None, [note, self.laws[pooled].warning]))


def fit_laws(readings: pd.DataFrame, lives: pd.DataFrame, *, seed: int = 0) -> GrowthLaws:
    """Fit the growth laws of all types and duties.

    Parameters
    ----------
    readings : DataFrame
        Readings of all lives, ended ones included: life_id, bushing_type, duty, age_miles,
        free_play_mm, limit_mm; optional columns as in `usable_readings`, and resolution_mm.
    lives : DataFrame
        The table of all lives, for the survival curves.
    seed : int

    Returns
    -------
    GrowthLaws
    """
    usable = usable_readings(readings)
    usable = usable.assign(pivot_id=usable["life_id"], miles=usable["age_miles"])
    laws: dict[tuple[str, str], TypeLaw] = {}
    refused: dict[tuple[str, str], str] = {}
    paces = duty_paces(lives)
    for kind, of_type in usable.groupby("bushing_type", sort=True):
        for duty, rows in _cells(of_type):
            key = (str(kind), duty)
            growth, reason = _grown(rows, key, seed)
            if growth is None:
                if duty == ALL_DUTIES:
                    refused[key] = reason
                continue
            law, reason = _held_against_curve(rows, _cell_lives(lives, key), key, growth)
            if law is None:
                refused[key] = reason
            else:
                laws[key] = law
        laws |= _paced(of_type, lives, str(kind), laws, paces, seed)
    return GrowthLaws(laws, refused)


def law_against_curve(
    law: FreePlayGrowth, limit_mm: float, lives: pd.DataFrame
) -> tuple[float, float]:
    """Tell how far a law's survival lies above and below the band of the survival curve.

    Parameters
    ----------
    law : FreePlayGrowth
        Fitted.
    limit_mm : float, mm
    lives : DataFrame
        As `npmle` takes them.

    Returns
    -------
    float, float
        Largest excess above the upper and below the lower end of the 95 % band, at the ages by
        which 10 to 50 % are over the limit; 0 where within, or where too few were at risk.
    """
    if lives.empty or not np.isfinite(lives["upper_miles"]).any():
        return 0.0, 0.0
    try:
        return _apart(law, limit_mm, npmle(lives, draws=_BAND_DRAWS))
    except NoMaximumError:
        # The curve, or a sample of its band, did not settle: there is nothing to compare with.
        return 0.0, 0.0


def _apart(law: FreePlayGrowth, limit_mm: float, curve: SurvivalCurve) -> tuple[float, float]:
    ages = np.array([law.law_.crossing_miles(limit_mm, share) for share in COMPARED_AT])
    asked = (ages > curve.from_miles) & (curve.at_risk(ages) >= LIVES_AT_RISK)
    if not asked.any():
        return 0.0, 0.0
    ages = ages[asked]
    begin = 1.0 - law.law_.chance_over(limit_mm, np.array([curve.from_miles]))
    survival = (1.0 - law.law_.chance_over(limit_mm, ages)) / begin
    above = float(np.max(survival - curve.upper(ages)))
    below = float(np.max(curve.lower(ages) - survival))
    return max(above, 0.0), max(below, 0.0)


def _cells(of_type: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Return all readings of a type as "all", and those of each duty with lives enough."""
    # A zero shows no growth: a duty full of zeros has no law of its own.
    measured = of_type[of_type["free_play_mm"].gt(0.0)]
    ages = measured.groupby(["duty", "life_id"])["age_miles"].nunique()
    twice = ages[ages >= 2].groupby(level="duty").size()
    own = [str(duty) for duty, lives in twice.items() if lives >= LIVES_PER_DUTY]
    return [(ALL_DUTIES, of_type), *((duty, of_type[of_type["duty"] == duty]) for duty in own)]


def _cell_lives(lives: pd.DataFrame, key: tuple[str, str]) -> pd.DataFrame:
    mine = lives["bushing_type"] == key[0]
    if key[1] != ALL_DUTIES:
        mine &= lives["duty"] == key[1]
    return lives_for_mode(lives.loc[mine], "any")


def _paced(
    rows: pd.DataFrame,
    lives: pd.DataFrame,
    kind: str,
    laws: Mapping[tuple[str, str], TypeLaw],
    paces: Mapping[str, float],
    seed: int,
) -> dict[tuple[str, str], TypeLaw]:
    """Give the duties without a law of their own that of all duties at their pace."""
    own = {duty for of_kind, duty in laws if of_kind == kind}
    lacking = sorted(set(paces) - own)
    known = rows[rows["duty"].isin(paces)]
    if ALL_DUTIES not in own or not lacking or known.empty:
        return {}
    growth, _ = _grown(
        known.assign(miles=known["miles"] / known["duty"].map(paces)), (kind, ALL_DUTIES), seed
    )
    if growth is None:
        return {}
    found = {}
    for duty in lacking:
        key = (kind, duty)
        law, _ = _held_against_curve(
            known, _cell_lives(lives, key), key, at_pace(growth, paces[duty])
        )
        if law is not None:
            note = f"too few bushings read often enough in {duty}: growth of all duties at its pace"
            name = f"{kind}, all duties at the pace of {duty}"
            warning = "; ".join(filter(None, [note, law.warning]))
            found[key] = TypeLaw(law.growth, name, warning)
    return found


def _name(key: tuple[str, str]) -> str:
    return key[0] if key[1] == ALL_DUTIES else f"{key[0]}, {key[1]}"


def _grown(
    rows: pd.DataFrame, key: tuple[str, str], seed: int
) -> tuple[FreePlayGrowth | None, str]:
    """Fit one cell; the estimator, or why there is none. A duty's vague law counts as none."""
    try:
        growth = FreePlayGrowth(seed=seed).fit(rows)
    except NoMaximumError as error:
        return None, f"no growth law for {_name(key)}: {error}"
    fit = growth.estimate_.best
    spread = np.sqrt(np.diag(fit.covariance))
    shaping = [PARAMETERS.index(name) for name in ("log_log_rate_spread", "log_exponent")]
    # Readings without any gauge error to be told: the law runs through a few of them.
    exact = spread[PARAMETERS.index("log_sigma_e")] == 0.0
    if key[1] != ALL_DUTIES and (exact or (spread[shaping] > VAGUE_SPREAD).any()):
        return None, f"the growth of {_name(key)} is too uncertain"
    return growth, ""


def _held_against_curve(
    rows: pd.DataFrame, lives: pd.DataFrame, key: tuple[str, str], growth: FreePlayGrowth
) -> tuple[TypeLaw | None, str]:
    """Hold one law against its survival curve; the law, or the reason for refusing it."""
    name = _name(key)
    above, below = law_against_curve(growth, float(rows["limit_mm"].median()), lives)
    if above > TOLERANCE:
        return None, (
            f"growth of play and survival of {name} disagree: more fail than play announces, so"
            " the life curve speaks"
        )
    remark = ""
    if below > TOLERANCE:
        remark = f"{name}: play says less life than the survival curve; the careful one is kept"
    return TypeLaw(growth, name, remark), ""
