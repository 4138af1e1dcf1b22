"""The invented shop through the years: what breaks, is measured, replaced and fitted anew.

All trucks of a block go through their stops together: at each stop first what broke on the road
since the last one, then the measuring, then the replacing. The years before a unit's records
begin run through the same shop, unrecorded. All numbers are invented.

Not here: the shop's books (`fleet_shop`), the campaign's calendar (`fleet_campaign`) and the
wording of the rows (`fleet_tables`, `fleet_repairs`).
"""

from __future__ import annotations

import numpy as np

from pivotlife.data import fleet_inspections as fi
from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import BoolArray, FloatArray, IntArray
from pivotlife.data.fleet_bushings import free_play_mm
from pivotlife.data.fleet_draws import Draws
from pivotlife.data.fleet_shop import (
    BROKEN,
    CAMPAIGN,
    NONE,
    PARTNER,
    PREVENTIVE,
    SEIZED,
    SPLIT,
    WEAR,
    History,
    Shop,
    ShopRules,
    close_books,
    fit,
    open_shop,
    write_readings,
)
from pivotlife.data.fleet_units import Trucks


def run_shop(
    trucks: Trucks, draws: Draws, rules: ShopRules, bias_mm: FloatArray, convert_at: IntArray
) -> History:
    """Run a block of trucks through its years.

    Parameters
    ----------
    trucks, draws : Trucks, Draws
    rules : ShopRules
    bias_mm : ndarray of float, shape (depots, inspectors)
    convert_at : ndarray of int, shape (units,)
        Stop at which the campaign converts the unit to rollers; -1 for never.

    Returns
    -------
    History
    """
    shop = open_shop(trucks, draws, rules, bias_mm, convert_at)
    visited = trucks.visited
    on_road = trucks.day[:, :-1] <= trucks.until_day[:, None]
    for stop in range(1, trucks.day.shape[1]):
        if not on_road[:, stop - 1].any():
            break
        _break_on_road(shop, stop, on_road[:, stop - 1])
        _serve(shop, stop, visited[:, stop])
    return close_books(shop)


def _replace(
    shop: Shop,
    reason: IntArray,
    stop: int,
    *,
    day: IntArray,
    miles: FloatArray,
    seen_mm: FloatArray,
    roadside: bool,
) -> None:
    """Take out the bushings that have a reason, write the repairs, fit the next ones."""
    here = reason != NONE
    if not here.any():
        return
    draws = shop.draws
    age = np.maximum(miles - shop.fitted, 0.0)
    play = free_play_mm(shop.bushings, age)
    over = (play >= sc.LIMIT_MM) & here
    worn_now = over & (draws.of("bore", stop) < sc.WORN_BORE_SHARE)
    told = worn_now & (draws.of("bore_told", stop) < sc.WORN_BORE_TOLD)
    shop.bore |= worn_now
    to_roller = shop.converted[:, None] & here
    kind = np.where(to_roller, sc.ROLLER, shop.bushings.kind)
    unit, pivot = np.nonzero(here)
    rows = {"unit": unit, "pivot": pivot, "stop": np.full(len(unit), stop)}
    table = {"life": shop.life, "day": day, "miles": miles, "age": age, "reason": reason}
    table |= {"kind": kind, "play": play, "seen_mm": seen_mm, "bore_told": told}
    table |= {"spent": age >= shop.bushings.wear_age}
    rows |= {name: array[here] for name, array in table.items()}
    rows |= {"roadside": np.full(len(unit), roadside), "regreased": np.zeros(len(unit), bool)}
    shop.pieces["repairs"].append(rows)
    fit(shop, here, stop, day=day, miles=miles, kind=kind, mirrored=roadside)


def _with_partner(shop: Shop, reason: IntArray, stop: int) -> IntArray:
    """Renew the other pivot of an opened shackle in 60 % of the jobs."""
    opened = (reason != NONE)[:, sc.PARTNER] & sc.IN_SHACKLE
    joins = opened & (reason == NONE) & (shop.draws.of("partner", stop) < sc.PARTNER_SHARE)
    return np.where(joins, PARTNER, reason)


def _break_on_road(shop: Shop, stop: int, on_road: BoolArray) -> None:
    """Replace at the roadside what broke since the last stop."""
    trucks = shop.trucks
    left, right = trucks.odometer[:, stop - 1], trucks.odometer[:, stop]
    reached = np.minimum(right, shop.until_miles)
    at = np.maximum(np.ceil(shop.fitted + shop.bushings.break_age), left[:, None] + 1)
    broke = on_road[:, None] & (at <= reached[:, None])
    if not broke.any():
        return
    first = np.where(broke, at, np.inf).min(axis=1)
    broke &= at == first[:, None]
    miles = np.repeat(np.where(np.isfinite(first), first, right)[:, None], 6, axis=1)
    share = (miles - left[:, None]) / (right - left)[:, None]
    gap = (trucks.day[:, stop] - trucks.day[:, stop - 1])[:, None]
    day = trucks.day[:, stop - 1][:, None] + np.ceil(share * gap).astype(np.int64)
    # Never on the day of the stop: a reading of that day would seem to be of the broken one.
    day = np.minimum(day, np.minimum(trucks.day[:, stop] - 1, trucks.until_day)[:, None])
    reason = _with_partner(shop, np.where(broke, BROKEN, NONE), stop)
    unseen = np.full(broke.shape, np.nan)
    _replace(shop, reason, stop, day=day, miles=miles, seen_mm=unseen, roadside=True)


def _serve(shop: Shop, stop: int, visited: BoolArray) -> None:
    """Measure and replace at a stop."""
    trucks, draws = shop.trucks, shop.draws
    miles = np.repeat(trucks.odometer[:, stop][:, None], 6, axis=1)
    day = np.repeat(trucks.day[:, stop][:, None], 6, axis=1)
    age = np.maximum(miles - shop.fitted, 0.0)
    play = free_play_mm(shop.bushings, age)
    sheet = fi.sheet_at(draws, stop)
    seen = _measure(shop, stop, "reading", play, sheet)
    metal = shop.bushings.kind != sc.RUBBER
    over = metal & (np.round(seen.written_mm, 3) >= sc.LIMIT_MM)
    finding, greasable = fi.find(shop.bushings, age, over, draws.of("word", stop))
    drawn = draws.of("recorded", stop) < sc.RECORDED_SHARE
    due = (visited & trucks.due[:, stop])[:, None]
    all_made = shop.rules.recording == "bad-always"
    measured = due & (drawn | all_made)
    bad = measured & (over | (finding > fi.OK))
    written = measured & (drawn | bad)
    columns = {"life": shop.life, "day": day, "miles": miles, "age": age, "play": play}
    columns |= {"written": seen.written, "written_mm": seen.written_mm, "finding": finding}
    columns |= {"takes_grease": greasable}
    write_readings(shop, written, stop, columns, after_repair=False)
    reason = _decide(
        shop, stop, visited, measured=measured, bad=bad, finding=finding, seen_mm=seen.written_mm
    )
    seen_mm = np.where(measured, seen.written_mm, np.nan)
    _put_off(shop, stop, bad & (reason == NONE), finding, columns)
    _replace(shop, reason, stop, day=day, miles=miles, seen_mm=seen_mm, roadside=False)
    _measure_again(shop, stop, due & (reason != NONE), columns, sheet)


def _measure(shop: Shop, stop: int, purpose: str, play: FloatArray, sheet: fi.Sheet) -> fi.Measured:
    """Read the play of every pivot with that stop's gauge errors."""
    return fi.measure(
        play,
        shop.bushings.kind,
        trucks=shop.trucks,
        sheet=sheet,
        gauge=fi.gauge_errors(shop.draws, stop, purpose),
        bias_mm=shop.bias_mm,
    )


def _decide(
    shop: Shop,
    stop: int,
    visited: BoolArray,
    *,
    measured: BoolArray,
    bad: BoolArray,
    finding: IntArray,
    seen_mm: FloatArray,
) -> IntArray:
    """Choose what is replaced at a stop, and why."""
    cause = np.select(
        [finding == fi.SEIZED, (finding == fi.SPLIT) | (finding == fi.EXTRUDED)],
        [SEIZED, SPLIT],
        WEAR,
    )
    at_once = bad & ((shop.draws.of("acted", stop) < sc.ACTED_SHARE) | (cause == SEIZED))
    reason = np.where(at_once, cause, NONE)
    if shop.rules.renew_at is not None:
        close = seen_mm >= shop.rules.renew_at * sc.LIMIT_MM
        early = measured & close & ~bad & (shop.bushings.kind != sc.RUBBER)
        reason = np.where(early, PREVENTIVE, reason)
    reason = np.where(visited[:, None] & (shop.pending != NONE), shop.pending, reason)
    put_off = bad & (reason == NONE)
    converting = visited & (shop.convert_at == stop)
    shop.converted |= converting
    reason = np.where(converting[:, None] & put_off, cause, reason)
    reason = np.where(converting[:, None] & (reason == NONE), CAMPAIGN, reason)
    shop.pending[:] = np.where(put_off & (reason == NONE), cause, shop.pending)
    return _with_partner(shop, reason, stop)


def _put_off(
    shop: Shop, stop: int, put_off: BoolArray, finding: IntArray, columns: dict[str, np.ndarray]
) -> None:
    """Half of the worn metal bushings that are put off are regreased meanwhile."""
    worn = finding <= fi.OK
    greased = put_off & worn & (shop.draws.of("teardown", stop) < 0.5)
    unit, pivot = np.nonzero(greased)
    if not len(unit):
        return
    rows = {"unit": unit, "pivot": pivot, "stop": np.full(len(unit), stop)}
    rows |= {name: columns[name][greased] for name in ("life", "day", "miles", "age", "play")}
    rows |= {"reason": np.full(len(unit), NONE), "kind": shop.bushings.kind[greased]}
    rows |= {"seen_mm": np.full(len(unit), np.nan)}
    rows |= {name: np.zeros(len(unit), bool) for name in ("spent", "bore_told", "roadside")}
    rows |= {"regreased": np.ones(len(unit), bool)}
    shop.pieces["repairs"].append(rows)


def _measure_again(
    shop: Shop, stop: int, here: BoolArray, columns: dict[str, np.ndarray], sheet: fi.Sheet
) -> None:
    """Measure some of the new bushings before the truck leaves."""
    here = here & (shop.draws.of("remeasured", stop) < sc.REMEASURED_SHARE)
    if not here.any():
        return
    age = np.zeros(here.shape)
    play = free_play_mm(shop.bushings, age)
    seen = _measure(shop, stop, "remeasured", play, sheet)
    again = columns | {"life": shop.life, "age": age, "play": play, "written": seen.written}
    again |= {"written_mm": seen.written_mm, "finding": np.full(here.shape, fi.OK)}
    again |= {"takes_grease": np.ones(here.shape, dtype=bool)}
    write_readings(shop, here, stop, again, after_repair=True)
