"""From decisions to work: overrides, kits, room in the shop, and the fleet's lists.

Not here: deciding, and comparing with the last run (`changes`).
"""

from __future__ import annotations

import datetime as dt
import difflib
from dataclasses import dataclass

import pandas as pd

from pivotlife.models.bay_plan import plan_bays
from pivotlife.models.conversion import with_conversions
from pivotlife.models.decision_costs import CostItems
from pivotlife.models.kit_match import SIZES, match_kits
from pivotlife.models.kit_staging import SUPPLY_COLUMNS, kits_to_stage, with_supply
from pivotlife.models.overrides import OVERRIDE_COLUMNS, apply_overrides
from pivotlife.models.planned_cost import planned_work
from pivotlife.pipeline.decision_inputs import conversion_terms
from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.fleet_tables import inspection_gaps, lube_compliance, repeat_repairs
from pivotlife.pipeline.measured_sizes import completed, confirmed, measured_sizes
from pivotlife.pipeline.odometer_points import day_number
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Decisions, FleetWork, Records

KIT_COLUMNS = [
    *("pivot_id", "unit_id", "bushing_type", "node", "kit_id", "verdict", "decides", "detail"),
    *("candidates", "drive_tool", *SUPPLY_COLUMNS),
]
UNIT_SIZE_COLUMNS = ["unit_id", *SIZES, "pin_diameter_mm"]


@dataclass(frozen=True)
class _Kits:
    matches: pd.DataFrame
    stage: pd.DataFrame


def fleet_work(
    records: Records, decisions: Decisions, settings: Settings, day: dt.date
) -> FleetWork:
    """Plan the work of the coming visits.

    Parameters
    ----------
    records : Records
    decisions : Decisions
    settings : Settings
    day : date
        Today.

    Returns
    -------
    FleetWork

    Raises
    ------
    SettingsError
        When an override names a pivot that nobody knows.
    """
    as_of = pd.Timestamp(day)
    tables = records.placed.tables
    given = _overrides(settings, records.histories.lives["pivot_id"], decisions.shortlist)
    listed = apply_overrides(decisions.shortlist, given, as_of, decisions.costs)
    plan = plan_bays(
        listed,
        tables["capacity"],
        records.visits,
        decisions.costs,
        settings.decision.budget_per_month,
        settings.decision.chance_now_alarm,
    )
    sizes = tables["units"].drop_duplicates("unit_id").reindex(columns=UNIT_SIZE_COLUMNS)
    measured = measured_sizes(tables["readings"])
    kits = _kits(plan.shortlist, sizes, measured, tables["kits"], as_of)
    named = kits.matches.set_index("pivot_id")["kit_id"]
    shortlist = plan.shortlist.assign(
        kit_id=plan.shortlist["pivot_id"].map(named).fillna("").astype(object)
    )
    lube = lube_compliance(
        records.histories, records.visits, records.placed, settings, _day_number(as_of)
    )
    shortlist = with_conversions(
        shortlist,
        records.histories.in_service,
        decisions.lives,
        decisions.costs,
        conversion_terms(settings, lube),
        _kits_of_other_types(shortlist, sizes, tables["kits"], decisions.costs),
    )
    return FleetWork(
        shortlist=shortlist,
        planned_cost=planned_work(shortlist[shortlist["postponed"] != "yes"], decisions.costs),
        kit_matches=kits.matches,
        kits_to_stage=kits.stage,
        hours_by_week=plan.hours_by_week,
        shortages=plan.shortages,
        inspection_gaps=inspection_gaps(records.histories.in_service, records.visits, settings),
        lube_compliance=lube,
        repeat_repairs=repeat_repairs(
            records.histories, records.placed, settings.fleet.repeat_within_miles
        ),
        unit_sizes=sizes[sizes["unit_id"].isin(shortlist["unit_id"])].reset_index(drop=True),
    )


def _day_number(day: pd.Timestamp) -> float:
    return float(day_number(pd.Series([day]))[0])


def _kits_of_other_types(
    shortlist: pd.DataFrame, sizes: pd.DataFrame, kits: pd.DataFrame, costs: CostItems
) -> dict[tuple[str, str], str] | None:
    """Find the kit of every other type for the pivots of opened axles; None without kits."""
    if kits.empty:
        return None
    place = shortlist["unit_id"].astype(str) + "." + shortlist["axle"].astype(str)
    opened = place.isin(place[shortlist["decision"].eq("replace")])
    lines = shortlist[opened & shortlist["pivot_id"].ne("") & shortlist["bushing_type"].ne("")]
    lines = lines.merge(sizes, on="unit_id", how="left")
    found: dict[tuple[str, str], str] = {}
    for kind in costs.parts:
        others = lines[lines["bushing_type"] != kind].assign(bushing_type=kind)
        matched = match_kits(others, kits)
        pairs = zip(matched["pivot_id"], matched["kit_id"], strict=True)
        found |= {(pivot, kind): kit for pivot, kit in pairs if kit}
    return found


def _overrides(settings: Settings, known: pd.Series, shortlist: pd.DataFrame) -> pd.DataFrame:
    """Turn the settings' overrides into a table; one that matches no pivot is an error."""
    names = {*known, *shortlist["pivot_id"]} - {""}
    lost = [override for override in settings.overrides if override.pivot_id not in names]
    if lost:
        told = "; ".join(
            f"overrides: pivot_id {one.pivot_id!r} (by {one.by}) matches no pivot"
            + "".join(
                f", the nearest is {near!r}"
                for near in difflib.get_close_matches(one.pivot_id, sorted(names), n=1)
            )
            for one in lost
        )
        raise SettingsError(f"{settings.file}: {told}; correct it or take it out")
    rows = [one.model_dump() for one in settings.overrides]
    return pd.DataFrame(rows, columns=list(OVERRIDE_COLUMNS))


def _kits(
    shortlist: pd.DataFrame,
    sizes: pd.DataFrame,
    measured: pd.DataFrame,
    kits: pd.DataFrame,
    as_of: pd.Timestamp,
) -> _Kits:
    """Match kits to every line that asks for work on a pivot; without a kits table to none."""
    flagged = (shortlist["decision"] != "leave") & (shortlist["pivot_id"] != "")
    # A park or replace order on a pivot of which nothing is known in service has no type.
    lines = shortlist[flagged & (shortlist["bushing_type"] != "")]
    lines = lines.merge(sizes, on="unit_id", how="left")
    if kits.empty:
        lines = lines.iloc[:0]
    matches = confirmed(match_kits(completed(lines, measured), kits), lines, measured)
    due = lines["decision"].isin(["park", "replace"]) & (lines["postponed"] != "yes")
    matches = matches.assign(depot=lines["depot"], visit_date=lines["visit_date"], is_due=due)
    matches = with_supply(matches, kits, as_of)
    return _Kits(matches[KIT_COLUMNS], kits_to_stage(matches))
