"""What fitting another type on a whole axle costs and saves, one offer for each other type.

    more now   = kits + conversion hours + hours of pivots that were not due
    less later = ends of bushings until the sale, each at its type's cost (`conversion_lives`)
               + grease stops beyond the planned services, while any pivot of the unit takes grease.

Alignment and planned downtime come once with the axle either way. Downtime of a grease stop and the
set-ups that later renewals may share are not counted: lifetime cost (`unit_conversion`), which
drives the truck from visit to visit, therefore saves less on the same unit.

Not here: which offer is named (`conversion`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.conversion_lives import (
    ConversionLives,
    LifeDraws,
    RenewalCounts,
    renewal_counts,
)
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.decision_jobs import labour_hours

#: Share of drawn lives in which the other type must be cheaper.
BEYOND_DOUBT: Final = 0.95
#: Types that take no grease.
UNGREASED: Final = frozenset({"rubber-bonded"})


@dataclass(frozen=True, eq=False)
class ConversionTerms:
    """What a conversion costs besides kits; a figure that is NaN switches it off.

    Attributes
    ----------
    hours_conversion : float, hours
        More work on a pivot that gets another type for the first time.
    hours_lube_visit : float, hours
        Labour of a stop for grease alone.
    lube_miles, service_miles : mapping of duty to miles
        Between grease services, and between services that happen anyway.
    lube_compliance : mapping of unit to share
        Grease services done of those due; 1 where nobody knows.
    """

    hours_conversion: float
    hours_lube_visit: float
    lube_miles: Mapping[str, float] = field(default_factory=dict)
    service_miles: Mapping[str, float] = field(default_factory=dict)
    lube_compliance: Mapping[str, float] = field(default_factory=dict)

    def grease_per_mile(self, unit: str, duty: str) -> float:
        """Hours of extra grease stops per mile of a unit that takes grease; NaN unknown."""
        done = self.lube_compliance.get(unit, 1.0)
        lube, service = (
            gaps.get(duty, float("nan")) for gaps in (self.lube_miles, self.service_miles)
        )
        # Services are missed at the shop's own stops as often as between them.
        share = 1.0 if np.isnan(done) else done
        return share * max(1.0 / lube - 1.0 / service, 0.0) * self.hours_lube_visit


@dataclass(frozen=True, eq=False)
class Offer:
    """One other type on an axle.

    Attributes
    ----------
    kind : str
    members : DataFrame
        Lines of the axle that are renewed in kind, or would get the other type.
    dearer : float, currency
        Kits and labour of this visit beyond renewing in kind.
    later : ndarray, shape (n_draws,), currency
        Saved on later ends of bushings.
    grease : float, currency
        Saved on grease stops.
    """

    kind: str
    members: pd.DataFrame
    dearer: float
    later: FloatArray
    grease: float

    @property
    def saving(self) -> FloatArray:
        """What the other type saves in all, by draw."""
        return np.asarray(self.later + self.grease - self.dearer)

    @property
    def is_sure(self) -> bool:
        """True when it is cheaper on average and in all but a few of the draws."""
        saved = self.saving
        return bool(saved.mean() > 0 and (saved > 0).mean() >= BEYOND_DOUBT)


def is_renewed(rows: pd.DataFrame) -> pd.Series:
    """Tell which lines get a new bushing at this visit."""
    return rows["decision"].eq("replace") & rows["pivot_id"].ne("") & rows["postponed"].ne("yes")


def axle_offers(
    axle: pd.DataFrame,
    truck: pd.DataFrame,
    counts: Counts,
    costs: CostItems,
    terms: ConversionTerms,
) -> list[Offer]:
    """Return an offer for every other type of which all figures are known.

    Parameters
    ----------
    axle : DataFrame
        Lines of one axle: unit_id, pivot_id, side, node, bushing_type, decision, mandatory,
        postponed, duty, miles_left (to the sale), age_miles (at the visit; NaN = unknown).
    truck : DataFrame
        Lines of its unit.
    counts : Counts
    costs : CostItems
    terms : ConversionTerms

    Returns
    -------
    list of Offer
        Empty where nothing is renewed, work of the axle is put off, or a mandatory measurement
        waits for what it finds.
    """
    due = axle[is_renewed(axle)]
    rest = axle.drop(due.index)
    if due.empty or axle["duty"].isna().any() or rest["mandatory"].any():
        return []
    if rest["postponed"].eq("yes").any():
        return []
    offers = [
        _offer(kind, due, rest[rest["bushing_type"] != kind], truck, counts, costs, terms)
        for kind in sorted(costs.parts)
        if (due["bushing_type"] != kind).any()
    ]
    return [offer for offer in offers if offer is not None]


def _offer(
    kind: str,
    due: pd.DataFrame,
    also: pd.DataFrame,
    truck: pd.DataFrame,
    counts: Counts,
    costs: CostItems,
    terms: ConversionTerms,
) -> Offer | None:
    """Compare one type on `due` and `also` with renewing `due` in kind; None where unknown."""
    members = pd.concat([due, also])
    later = counts.ends_saved(kind, due, also)
    first = due.iloc[0]
    unit, duty, miles = str(first["unit_id"]), str(first["duty"]), float(first["miles_left"])
    grease = terms.grease_per_mile(unit, duty) * costs.shop_rate * miles
    if later is None or np.isnan(grease):
        return None
    before = ~truck["bushing_type"].isin(UNGREASED)
    after = before.mask(truck.index.isin(members.index), kind not in UNGREASED)
    saved = grease * (float(before.any()) - float(after.any()))
    own = due["bushing_type"].map(dict(costs.parts))
    kits = costs.parts[kind] * len(members) - float(own.sum())
    hours = counts.hours(members, costs) - counts.hours(due, costs)
    hours += terms.hours_conversion * float((members["bushing_type"] != kind).sum())
    return Offer(kind, members, kits + hours * costs.shop_rate, later, saved)


@dataclass(eq=False)
class Counts:
    """Renewals under each pair of lives up to the furthest sale, and labour: counted once."""

    lives: ConversionLives
    furthest: float
    found: dict[int, RenewalCounts] = field(default_factory=dict)
    labour: dict[tuple[tuple[str, str], ...], float] = field(default_factory=dict)
    new: dict[tuple[int, float], FloatArray] = field(default_factory=dict)

    def ends_saved(self, kind: str, due: pd.DataFrame, also: pd.DataFrame) -> FloatArray | None:
        """Cost of ends until the sale in kind less that under the other type, by draw."""
        saved: FloatArray = np.zeros(1)
        for rows, is_due in ((due, True), (also, False)):
            for row in rows.to_dict("records"):
                fitted, duty = str(row["bushing_type"]), str(row["duty"])
                own = self._of(self.lives.own.get((fitted, duty)))
                other = own
                if kind != fitted:
                    other = self._of(self.lives.other.get((fitted, kind, duty)))
                miles, age = float(row["miles_left"]), float(row["age_miles"])
                if own is None or other is None or np.isnan(miles) or not (is_due or age >= 0):
                    return None
                kept = self._new(own, miles) if is_due else own.from_age(age, miles)
                then = self._new(other, miles) * other.lives.end_cost
                saved = saved + kept * own.lives.end_cost - then
        return saved

    def hours(self, rows: pd.DataFrame, costs: CostItems) -> float:
        """Labour of renewing these lines of one axle in one job, hours."""
        places = tuple(sorted(zip(rows["side"], rows["node"], strict=True)))
        if places not in self.labour:
            self.labour[places] = float(labour_hours(rows.assign(decision="replace"), costs).sum())
        return self.labour[places]

    def _new(self, counts: RenewalCounts, miles: float) -> FloatArray:
        key = (id(counts), miles)
        if key not in self.new:
            self.new[key] = counts.new(miles)
        return self.new[key]

    def _of(self, lives: LifeDraws | None) -> RenewalCounts | None:
        if lives is None:
            return None
        if id(lives) not in self.found:
            self.found[id(lives)] = renewal_counts(lives, self.furthest)
        return self.found[id(lives)]
