"""What the past lists would have cost beside simple rules, on the bushings that were looked at.

Every rule is held against replacing each bushing exactly when it reached its limit. A rule pays

- for miles thrown away: renewed before that, every mile left costs what a mile of such a bushing
  costs in the long run;
- for finding late: not renewed by then, the difference of a late and a planned replacement, with
  the tyres worn until it was found.

Where a bushing was found worn, the limit is taken to be half way between the last look that found
it sound and the one that found it worn. Where it was never found worn, the miles thrown away count
only up to its last sound look: that favours rules that renew early, all of them alike. How many
of the renewed these are stands beside the cost. How long they would have run on is not guessed: a
year of looks does not tell, because those near their limit are found first.

Bushings that reached their limit before the first visit at which any rule could act are left out;
so are the partners of a job, which a list renews for the set-up they save.

The rules: the list; replace at the limit only; at fixed miles; everything on a truck at every
n-th service. The last two are tuned in hindsight, type by type, on the very bushings they are
judged by, which flatters them.

Not here: prices and what a mile is worth (the caller's).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.backtest_calibration import redrawn
from pivotlife.models.backtest_pairs import SOUND, WORN
from pivotlife.models.backtest_weights import is_flagged

FloatArray = npt.NDArray[np.float64]

SERVICES: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64)
SHARES: Final = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98)
RULE_COLUMNS: Final = (
    *("bushing_type", "rule", "setting", "bushings", "renewed_early", "limit_not_seen"),
    *("miles_thrown_away", "found_late", "extra_cost", "more_than_list", "more_lower"),
    "more_upper",
)
LIST, AT_LIMIT, FIXED, SERVICE = (
    "the list",
    "at the limit only",
    "at fixed miles",
    "all at every n-th service",
)


@dataclass(frozen=True)
class RulePrices:
    """What early and late cost, in one currency.

    Attributes
    ----------
    per_mile : mapping of (bushing type, duty) to float, currency per mile
        What a mile of a bushing's life costs in the long run.
    late : mapping of bushing type to float, currency
        A late replacement above a planned one, without the tyres.
    per_mile_over : float, currency per mile
        Tyres worn by a mile over the limit.
    service_miles : mapping of duty to float, miles
        From service to service.
    """

    per_mile: Mapping[tuple[str, str], float]
    late: Mapping[str, float]
    per_mile_over: float
    service_miles: Mapping[str, float]


def compare_rules(
    pairs: pd.DataFrame, prices: RulePrices, *, draws: int = 400, seed: int = 0
) -> pd.DataFrame:
    """Cost the list and the simple rules by type, and for all types together.

    Parameters
    ----------
    pairs : DataFrame
        From `backtest_pairs.pair_up`.
    prices : RulePrices
    draws, seed : int
        Of the unit bootstrap of the difference from the list.

    Returns
    -------
    DataFrame
        `RULE_COLUMNS`; amounts are totals above replacing exactly at the limit.
    """
    table, bushings = _bushings(pairs, prices)
    costed: dict[str, list[pd.DataFrame]] = {rule: [] for rule in (LIST, AT_LIMIT, FIXED, SERVICE)}
    rows = []
    for kind, mine in bushings.groupby("bushing_type", sort=True):
        own = table[table["bushing"].isin(mine.index)]
        chosen = _rules(own, mine, prices)
        for rule, (setting, cost) in chosen.items():
            costed[rule].append(cost)
            listed = chosen[LIST][1]
            rows.append({"bushing_type": kind, **_told(rule, setting, cost, listed, draws, seed)})
    if len(bushings):
        whole = {rule: pd.concat(parts) for rule, parts in costed.items()}
        rows += [
            {"bushing_type": "all", **_told(rule, float("nan"), cost, whole[LIST], draws, seed)}
            for rule, cost in whole.items()
        ]
    return pd.DataFrame(rows, columns=list(RULE_COLUMNS))


def _bushings(pairs: pd.DataFrame, prices: RulePrices) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Pairs of bushings that were looked at, and for each one what is known of its limit."""
    table = pairs[pairs["visit_miles"].notna() & pairs["is_due"]]
    table = table.sort_values(["bushing", "standing_date"], kind="stable")
    first = table.drop_duplicates("bushing").set_index("bushing")
    worn_at = table["look_miles"].where(table["outcome"] == WORN, table["worn_later_miles"])
    worn = worn_at.groupby(table["bushing"]).min()
    first = first.assign(worn_miles=worn.reindex(first.index))
    looked = table.loc[table["outcome"] == SOUND, ["bushing", "look_miles"]]
    until = looked["bushing"].map(first["worn_miles"]).fillna(np.inf)
    sound = looked[looked["look_miles"] < until].groupby("bushing")["look_miles"].max()
    before = first["miles_now"] - first["miles_since_reading"].fillna(0.0)
    rate = [
        prices.per_mile.get(key, np.nan)
        for key in zip(first["bushing_type"], first["duty"], strict=True)
    ]
    first = first.assign(
        sound_miles=np.fmax(sound.reindex(first.index), before),
        per_mile=rate,
        has_look=first["worn_miles"].notna() | sound.reindex(first.index).notna(),
    )
    low = np.minimum(first["sound_miles"], first["worn_miles"])
    first = first.assign(limit_miles=0.5 * (low + first["worn_miles"]))
    in_time = ~(first["limit_miles"] < first["visit_miles"])
    keep = first["has_look"] & ~first["held"] & first["per_mile"].notna() & in_time
    bushings = first[keep]
    return table[table["bushing"].isin(bushings.index)], bushings


def _rules(
    own: pd.DataFrame, mine: pd.DataFrame, prices: RulePrices
) -> dict[str, tuple[float, pd.DataFrame]]:
    """Cost every rule on the bushings of one type: its setting, and a row a bushing."""
    age = own["age_miles"] + own["visit_miles"] - own["miles_now"]
    service = own["duty"].map(dict(prices.service_miles))
    start = own["bushing"].map(mine["miles_now"])

    def cost(acts: pd.Series) -> pd.DataFrame:
        renewed = own[acts].groupby("bushing")["visit_miles"].min().reindex(mine.index)
        return _cost(mine, renewed, prices)

    def best(options: dict[float, pd.Series]) -> tuple[float, pd.DataFrame]:
        made = {setting: cost(acts) for setting, acts in options.items()}
        # What renews nothing is called never: of equal costs the longest setting.
        setting = min(made, key=lambda key: (float(made[key]["extra_cost"].sum()), -key))
        return setting, made[setting]

    ages = age.dropna()
    miles = {float(np.round(ages.quantile(share), -3)) for share in SHARES} if len(ages) else set()
    never = pd.Series(data=False, index=own.index)
    fixed = {m: age.ge(m) for m in sorted(miles)} | {float("inf"): never}
    services = {
        float(n): (own["visit_miles"] // (n * service)) > (start // (n * service)) for n in SERVICES
    } | {float("inf"): never}
    return {
        LIST: (float("nan"), cost(is_flagged(own))),
        AT_LIMIT: (float("nan"), cost(never)),
        FIXED: best(fixed),
        SERVICE: best(services),
    }


def _cost(mine: pd.DataFrame, renewed: pd.Series, prices: RulePrices) -> pd.DataFrame:
    limit, found = mine["limit_miles"], mine["worn_miles"]
    known = limit.notna()
    end = np.where(known, limit, mine["sound_miles"])
    acted = renewed.notna() & (~known | (renewed <= limit))
    thrown = np.where(acted, np.maximum(end - renewed.fillna(np.inf), 0.0), 0.0)
    late = known & ~acted
    over = np.where(late, np.fmin(renewed, found) - limit, 0.0)
    late_price = mine["bushing_type"].map(dict(prices.late)) + prices.per_mile_over * over
    extra = thrown * mine["per_mile"] + np.where(late, late_price, 0.0)
    return pd.DataFrame(
        {
            "unit_id": mine["unit_id"],
            "acted": acted,
            "open": acted & ~known,
            "thrown": thrown,
            "late": late,
            "extra_cost": extra,
        }
    )


def _told(
    rule: str, setting: float, cost: pd.DataFrame, listed: pd.DataFrame, draws: int, seed: int
) -> dict[str, Any]:
    more = cost["extra_cost"] - listed["extra_cost"]
    sums = more.groupby(cost["unit_id"]).sum().to_numpy(dtype=float)[:, None]
    low, high = np.quantile(redrawn(sums, draws, seed)[:, 0], [0.025, 0.975])
    same = rule == LIST
    return {
        "rule": rule,
        "setting": setting,
        "bushings": len(cost),
        "renewed_early": int(cost["acted"].sum()),
        "limit_not_seen": int(cost["open"].sum()),
        "miles_thrown_away": float(cost["thrown"].sum()),
        "found_late": int(cost["late"].sum()),
        "extra_cost": float(cost["extra_cost"].sum()),
        "more_than_list": float("nan") if same else float(more.sum()),
        "more_lower": float("nan") if same else float(low),
        "more_upper": float("nan") if same else float(high),
    }
