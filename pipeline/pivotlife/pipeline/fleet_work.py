"""From decisions to work: overrides, kits, room in the shop, and the fleet's lists.

Not here: deciding, and comparing with the last run (`changes`).
"""

from __future__ import annotations

import datetime as dt
import difflib
from dataclasses import dataclass

import pandas as pd

from pivotlife.models.bay_plan import plan_bays
from pivotlife.models.kit_match import SIZES, match_kits
from pivotlife.models.kit_staging import SUPPLY_COLUMNS, kits_to_stage, with_supply
from pivotlife.models.overrides import OVERRIDE_COLUMNS, apply_overrides
from pivotlife.models.planned_cost import planned_work
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
    today = float(day_number(pd.Series([as_of]))[0])
    return FleetWork(
        shortlist=shortlist,
        planned_cost=planned_work(shortlist[shortlist["postponed"] != "yes"], decisions.costs),
        kit_matches=kits.matches,
        kits_to_stage=kits.stage,
        hours_by_week=plan.hours_by_week,
        shortages=plan.shortages,
        inspection_gaps=inspection_gaps(records.histories.in_service, records.visits, settings),
        lube_compliance=lube_compliance(
            records.histories, records.visits, records.placed, settings, today
        ),
        repeat_repairs=repeat_repairs(
            records.histories, records.placed, settings.fleet.repeat_within_miles
        ),
        unit_sizes=sizes[sizes["unit_id"].isin(shortlist["unit_id"])].reset_index(drop=True),
    )


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
