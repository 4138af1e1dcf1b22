"""Another bushing type as an option where an axle is open anyway.

Renewing in kind what an axle's job renews is compared with fitting one other type on the whole
axle, so that its sides stay alike, up to the truck's planned sale (`conversion_offers`). Another
type is named only beyond doubt: it must be cheaper on average and in at least 95 % of the drawn
lives, and where kits are listed there must be one for every node, with the right outside. No
decision is changed by it: what is parked, replaced, measured or left stays so, and a unit with a
parked pivot is not asked at all.

Not here: which kit fits (`kit_match`), units converted without a job (lifetime cost).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.conversion_lives import ConversionLives
from pivotlife.models.conversion_offers import (
    ConversionTerms,
    Counts,
    Offer,
    axle_offers,
    is_renewed,
)
from pivotlife.models.decision_costs import CostItems

CONVERSION_COLUMNS: Final = (
    *("fit_instead", "fit_instead_kit_id", "fit_instead_chance", "fit_instead_saving"),
)


def with_conversions(
    shortlist: pd.DataFrame,
    pivots: pd.DataFrame,
    lives: ConversionLives,
    costs: CostItems,
    terms: ConversionTerms,
    kits: Mapping[tuple[str, str], str] | None = None,
) -> pd.DataFrame:
    """Say on the renewed lines of an axle where another type pays beyond doubt.

    Parameters
    ----------
    shortlist : DataFrame
        One row per line; planned as it will be done.
    pivots : DataFrame, one row per pivot in service
        pivot_id, duty, fitted_miles (NaN = unknown), holding_odometer_miles (NaN = no sale
        planned: not asked).
    lives : ConversionLives
    costs : CostItems
    terms : ConversionTerms
    kits : mapping of (pivot, other type) to kit, optional
        The one kit that fits in size and outside; a pair that is absent has none. Left out: no
        kits are listed.

    Returns
    -------
    DataFrame
        The same rows in the same order with `CONVERSION_COLUMNS` filled (fit_instead_saving is the
        whole axle's, the same on each of its lines) and a sentence at the end of the reason.
    """
    out = shortlist.copy()
    for name in CONVERSION_COLUMNS[:2]:
        out[name] = ""
    for name in CONVERSION_COLUMNS[2:]:
        out[name] = np.nan
    if np.isnan(terms.hours_conversion) or np.isnan(terms.hours_lube_visit):
        return out
    known = pivots.drop_duplicates("pivot_id").set_index("pivot_id")
    facts = known.reindex(out["pivot_id"])[["duty", "fitted_miles", "holding_odometer_miles"]]
    rows = pd.concat([out, facts.set_axis(out.index)], axis=1)
    rows["miles_left"] = rows["holding_odometer_miles"] - rows["visit_odometer_miles"].astype(float)
    rows["age_miles"] = rows["visit_odometer_miles"].astype(float) - rows["fitted_miles"]
    counts = Counts(lives, float(rows["miles_left"].max()))
    for unit in sorted(_asked(rows)):
        truck = rows[rows["unit_id"].eq(unit) & rows["pivot_id"].ne("")]
        for _, axle in truck.groupby("axle", sort=True):
            best = _best(axle_offers(axle, truck, counts, costs, terms), kits)
            if best is not None:
                _write(out, best, axle, costs.currency, kits or {})
    return out


def _asked(rows: pd.DataFrame) -> set[str]:
    """Units with work to choose a type for, none of it parked, and a sale ahead."""
    parked = set(rows.loc[rows["decision"].eq("park"), "unit_id"])
    return set(rows.loc[is_renewed(rows) & (rows["miles_left"] > 0), "unit_id"]) - parked


def _best(offers: list[Offer], kits: Mapping[tuple[str, str], str] | None) -> Offer | None:
    sure = [offer for offer in offers if offer.is_sure and _has_kits(offer, kits)]
    return max(sure, key=lambda offer: float(offer.saving.mean()), default=None)


def _has_kits(offer: Offer, kits: Mapping[tuple[str, str], str] | None) -> bool:
    changed = offer.members.loc[offer.members["bushing_type"] != offer.kind, "pivot_id"]
    return kits is None or all(kits.get((pivot, offer.kind), "") for pivot in changed)


def _write(
    out: pd.DataFrame,
    offer: Offer,
    axle: pd.DataFrame,
    currency: str,
    kits: Mapping[tuple[str, str], str],
) -> None:
    """Put an offer on the lines that are renewed and would change type, in place."""
    changed = offer.members["bushing_type"] != offer.kind
    lines = offer.members.index[changed & is_renewed(offer.members)]
    if lines.empty:
        return
    chance = float((offer.saving > 0).mean())
    sentence = _sentence(offer, axle, currency, chance)
    out.loc[lines, "fit_instead"] = offer.kind
    out.loc[lines, "fit_instead_kit_id"] = [
        kits.get((pivot, offer.kind), "") for pivot in out.loc[lines, "pivot_id"]
    ]
    out.loc[lines, "fit_instead_chance"] = chance
    out.loc[lines, "fit_instead_saving"] = float(offer.saving.mean())
    out.loc[lines, "reason"] = [f"{reason} {sentence}" for reason in out.loc[lines, "reason"]]


def _sentence(offer: Offer, axle: pd.DataFrame, currency: str, chance: float) -> str:
    extra = offer.members[~is_renewed(offer.members)]
    names = ", ".join(f"{row['side']} {row['node']}" for row in extra.to_dict("records"))
    also = f" (with {names}, not due by itself)" if names else ""
    later, grease = float(offer.later.mean()), offer.grease
    parts = [f"{currency} {abs(offer.dearer):,.0f} {'more' if offer.dearer >= 0 else 'less'} now"]
    parts += [f"{currency} {abs(later):,.0f} {'less' if later >= 0 else 'more'} for later renewals"]
    if abs(grease) >= 0.5:
        told = "less" if grease > 0 else "more"
        parts += [f"{currency} {abs(grease):,.0f} {told} for grease stops"]
    miles = float(axle.loc[is_renewed(axle), "miles_left"].iloc[0])
    surely = "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    return (
        f"Fit {offer.kind} instead: on the whole axle{also} it saves {currency}"
        f" {float(offer.saving.mean()):,.0f} on average in the {round(miles, -3):,.0f} mi until the"
        f" planned sale ({', '.join(parts)}); chance that it is cheaper on the average truck"
        f" {surely}."
    )
