"""Invented tables for the page tests: a handful of rows.

Every number is invented. A test overrides only what it is about.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

import checks_factory
import cost_page_tables
import fair_page_tables
import intake_page_tables
import plan_factory
from pivotlife.dashboards.inputs import COLUMNS, PageInputs

AS_OF = dt.date(2026, 11, 25)
TYPES = ("rubber-bonded", "threaded", "roller")
DUTIES = ("line-haul", "regional", "vocational")
DEPOTS = ("Northpit", "Saltmere", "Lowfen", "Hightor")
NODES = ("fixed-eye", "shackle-lower", "shackle-upper")
SCALES = {"rubber-bonded": 480_000.0, "threaded": 520_000.0, "roller": 850_000.0}
SHAPES = {"rubber-bonded": 3.0, "threaded": 2.2, "roller": 2.5}
HARDNESS = {"all": 0.8, "line-haul": 1.0, "regional": 0.72, "vocational": 0.3}
NAN = float("nan")


def empty(name: str) -> pd.DataFrame:
    """Give a table without a row."""
    return pd.DataFrame(columns=list(COLUMNS[name]))


def shortlist_row(**over: Any) -> dict[str, Any]:
    row = {
        "rank": 1,
        "unit_id": "MD-014",
        "depot": "Northpit",
        "visit_date": pd.Timestamp("2026-12-03"),
        "visit_odometer_miles": 312_400.0,
        "pivot_id": "MD-014.1.left.fixed-eye",
        "axle": 1.0,
        "side": "left",
        "node": "fixed-eye",
        "bushing_type": "threaded",
        "decision": "replace",
        "mandatory": "yes",
        "rule": "over-limit",
        "reason": "Play 3.40 mm (0.134 in) was over the 3.2 mm limit on 2026-08-11. Replace it.",
        "last_reading_date": pd.Timestamp("2026-08-11"),
        "last_free_play_mm": 3.4,
        "limit_mm": 3.2,
        "limit_source": "Quebec C-24.2 r. 32, s. 116",
        "chance_over_now": 0.93,
        "chance_over_by_next_visit": 0.97,
        "chance_lower": 0.9,
        "chance_upper": 0.99,
        "wait_cost": 412.0,
        "kept_value": 38.0,
        "labour_hours": 2.0,
        **dict.fromkeys(("joined_because", "fit_instead", "fit_instead_kit_id"), ""),
        "postponed": "no",
        "postponed_cost": NAN,
        "source_rows": "readings:R-0412, repairs:W-0088",
    }
    return {**row, **over}


def comparison_row(**over: Any) -> dict[str, Any]:
    row: dict[str, Any] = {
        "bushing_type": "threaded",
        "duty": "all",
        "node": "all",
        "life_order": "all",
        "mode": "any",
        "lives": 320,
        "units": 88,
        "failures": 120,
        "interval_method": "unit bootstrap",
        "informative_removals": "censored",
        "warning": "",
    }
    row |= _estimate("shape", 2.2, 0.15) | _estimate("scale", 416_000.0, 0.1)
    row |= _estimate("b10", 150_123.0, 0.14) | _estimate("b50", 352_000.0, 0.1)
    return {**row, **over}


def _estimate(name: str, value: float, spread: float) -> dict[str, float]:
    return {
        name: value,
        f"{name}_lower": value * (1 - spread),
        f"{name}_upper": value * (1 + spread),
    }


def curve_rows(kind: str, duty: str, points: int = 40) -> pd.DataFrame:
    """Give the fitted and the recorded curve of one type in one duty."""
    scale, shape = SCALES[kind] * HARDNESS[duty], SHAPES[kind]
    miles = np.linspace(0.0, 1.3 * scale, points)
    survival = np.exp(-((miles / scale) ** shape))
    seen = miles <= 0.9 * scale
    frame = pd.DataFrame(
        {
            "bushing_type": kind,
            "duty": duty,
            "curve": "weibull",
            "miles": miles,
            "survival": survival,
            "lower": np.clip(survival - 0.07 * miles / miles.max(), 0, 1),
            "upper": np.clip(survival + 0.05 * miles / miles.max(), 0, 1),
            "at_risk": np.where(seen, np.round(300 * (1 - miles / (0.95 * scale))), 0.0),
            "beyond_data": ~seen,
        }
    )
    wobble = 0.015 * np.sin(np.arange(int(seen.sum())))
    recorded = np.minimum.accumulate(np.clip(survival[seen] + wobble, 0, 1))
    steps = frame[seen].assign(curve="records", survival=recorded)
    return pd.concat([frame, steps], ignore_index=True)


def point_rows(kind: str, duty: str) -> pd.DataFrame:
    steps = curve_rows(kind, duty)
    steps = steps[steps["curve"] == "records"]
    failed = 1.0 - steps["survival"]
    return pd.DataFrame(
        {
            "bushing_type": kind,
            "duty": duty,
            "miles": steps["miles"],
            "failed_share": failed,
            "lower": np.clip(failed * 0.7, 0, 1),
            "upper": np.clip(failed * 1.3, 0, 1),
            "at_risk": steps["at_risk"],
        }
    )


def small_tables() -> dict[str, pd.DataFrame]:
    """Give every table with a few rows."""
    shortlist = _shortlist()
    return {
        **checks_factory.check_tables(),
        **cost_page_tables.cost_tables(),
        "comparison": _comparison(),
        "lives": pd.DataFrame(
            [{"life_id": "L1", "bushing_type": "threaded", "in_fit": True, "evidence": "broke"}]
        ),
        "ledger": pd.DataFrame(
            {
                "table": ["readings"] * 3,
                "fate": ["reading", "reading", "quarantined"],
                "reason": ["", "", "free play without a unit"],
            }
        ),
        "quarantine": _quarantine(),
        "growth": pd.DataFrame(
            [
                {
                    "pivot_id": "MD-014.1.left.shackle-lower",
                    "readings_used": 4,
                    "play_at_visit_mm": 2.4,
                    "play_at_visit_lower_mm": 2.1,
                    "play_at_visit_upper_mm": 2.9,
                    "miles_until_due": 41_200.0,
                    "warning": "",
                }
            ]
        ),
        "shortlist": shortlist,
        "curves": pd.concat([curve_rows(k, d) for k in TYPES for d in ("all", *DUTIES)]),
        "plot_points": pd.concat([point_rows(k, d) for k in TYPES for d in ("all", *DUTIES)]),
        "prices": _prices(),
        "cost_items": _cost_items(),
        "planned_cost": planned_cost(shortlist),
        **intake_page_tables.intake_tables(),
        **plan_factory.fleet_tables(),
        **fair_page_tables.fair_tables(),
        "life_counts": pd.DataFrame(
            [
                {"bushing_type": kind, "evidence": evidence, "lives": 40 + 7 * place}
                for kind in TYPES
                for place, evidence in enumerate(
                    ("in-service", "bad-reading", "preventive", "prevalent", "unknown-age")
                )
            ]
        ),
    }


def _shortlist() -> pd.DataFrame:
    unknown = [c for c in shortlist_row() if c.startswith("chance") or c.endswith("_mm")]
    return pd.DataFrame(
        [
            shortlist_row(),
            shortlist_row(
                rank=2,
                pivot_id="MD-014.1.left.shackle-lower",
                node="shackle-lower",
                mandatory="no",
                rule="wait-or-replace",
                reason="Waiting one visit is expected to cost more than the miles it keeps.",
                last_free_play_mm=2.1,
                joined_because="the shackle is open: saves USD 90, loses USD 40",
            ),
            shortlist_row(
                rank=3,
                unit_id="MD-077",
                depot="Lowfen",
                pivot_id="",
                axle=NAN,
                side="",
                node="",
                bushing_type="",
                decision="park",
                rule="axle-shifted",
                reason="Found axle-shifted on 2026-11-20. Park the unit.",
                last_reading_date=pd.NaT,
                **dict.fromkeys([*unknown, "wait_cost", "kept_value"], NAN),
            ),
            shortlist_row(
                rank=4,
                unit_id="MD-090",
                depot="Saltmere",
                pivot_id="MD-090.1.right.fixed-eye",
                side="right",
                decision="measure",
                mandatory="no",
                rule="no-reading",
                reason="No usable reading in the last 50,000 miles.",
                last_reading_date=pd.NaT,
                last_free_play_mm=NAN,
            ),
            shortlist_row(
                rank=5,
                unit_id="MD-090",
                depot="Saltmere",
                pivot_id="MD-090.1.left.fixed-eye",
                decision="leave",
                mandatory="no",
                rule="leave",
                reason="Nothing is due by the coming visit.",
            ),
        ]
    )


def _quarantine() -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "table": "readings",
                "row_number": 57,
                "row_id": "R-0077",
                "reasons": "reading_date cannot be read",
                "row": '{"unit_id": "MD-077", "finding": "axle-shifted"}',
                "acted_on": "parks MD-077",
                "file": "readings.csv",
            },
            {
                "table": "readings",
                "row_number": 58,
                "row_id": "R-0078",
                "reasons": "unknown unit",
                "row": "{}",
                "acted_on": "",
                "file": "readings.csv",
            },
        ]
    )


def _comparison() -> pd.DataFrame:
    rows = []
    for treatment in ("censored", "counted"):
        factor = 1.0 if treatment == "censored" else 0.86
        for kind in TYPES:
            rows += [_fitted(kind, "all", treatment, factor)]
            rows += [_fitted(kind, duty, treatment, factor) for duty in DUTIES]
            rows += [_fitted(kind, "all", treatment, factor, node=node) for node in NODES]
            rows += [
                _fitted(kind, "all", treatment, factor, mode=mode) for mode in ("wear", "broken")
            ]
            rows += [
                _fitted(kind, "all", treatment, factor, life_order=o) for o in ("first", "later")
            ]
    frame = pd.DataFrame(rows)
    few = (frame["bushing_type"] == "roller") & (frame["duty"] == "line-haul")
    estimates = [c for c in frame.columns if c.split("_")[0] in {"shape", "scale", "b10", "b50"}]
    frame[estimates] = frame[estimates].mask(few)
    frame.loc[few, "b10_lower"] = 310_000.0
    frame.loc[few, "b10_upper"] = np.inf
    frame.loc[few, "failures"] = 3
    frame.loc[few, "warning"] = "3 failures: too few to compare"
    return frame


def _fitted(kind: str, duty: str, treatment: str, factor: float, **cut: Any) -> dict[str, Any]:
    scale = SCALES[kind] * HARDNESS[duty] * factor
    return comparison_row(
        bushing_type=kind,
        duty=duty,
        informative_removals=treatment,
        **_estimate("shape", SHAPES[kind], 0.15),
        **_estimate("scale", scale, 0.1),
        **_estimate("b10", scale * 0.36, 0.14),
        **_estimate("b50", scale * 0.85, 0.1),
        **cut,
    )


def _prices() -> pd.DataFrame:
    invented = "invented default, replace with your own"
    rows = [
        ("shop_rate", 95.0, "USD per hour", "shop books", "2026-09-01", False),
        ("parts.roller", 220.0, "USD per pivot", invented, "2026-11-01", True),
        ("tyre_loss_per_mile_over", 1.5e-6, "share per mile over", invented, "2026-11-01", True),
        ("downtime_per_day", 550.0, "USD per day", invented, "2026-11-01", True),
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS["prices"]))


def _cost_items() -> pd.DataFrame:
    amounts = {
        "parts": (1.0, 1.0, 1.0),
        "labour": (190.0, 240.0, 330.0),
        "alignment": (250.0, 250.0, 250.0),
        "downtime": (137.5, 412.5, 1_100.0),
        "tyres": (0.0, 35.0, 35.0),
        "roadside and tow": (0.0, 40.0, 2_000.0),
    }
    parts = {"rubber-bonded": 45.0, "threaded": 55.0, "roller": 220.0}
    rows = [
        (kind, case, item, value * (parts[kind] if item == "parts" else 1.0))
        for kind in TYPES
        for item, values in amounts.items()
        for case, value in zip(("planned", "late", "roadside"), values, strict=True)
        if value
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS["cost_items"]))


def planned_cost(shortlist: pd.DataFrame) -> pd.DataFrame:
    work = shortlist[shortlist["decision"].isin(["park", "replace"])]
    rows = []
    for (unit, depot, date), lines in work.groupby(["unit_id", "depot", "visit_date"]):
        hours = 1.0 + len(lines)
        parts, labour = 55.0 * len(lines), 95.0 * hours
        rows.append(
            (
                unit,
                depot,
                date,
                len(lines),
                hours,
                parts,
                labour,
                250.0,
                parts + labour + 250.0,
                0.25 * len(lines),
                137.5 * len(lines),
            )
        )
    return pd.DataFrame(rows, columns=list(COLUMNS["planned_cost"]))


def make_inputs(
    tables: Mapping[str, pd.DataFrame] | None = None,
    run: Mapping[str, Any] | None = None,
    fleet_name: str = "Meridell Demo Fleet",
) -> PageInputs:
    """Give small inputs, with some tables or run facts replaced."""
    facts = {
        "as_of": AS_OF.isoformat(),
        "seed": 7,
        "counts": {"units": 4, "lives": 480, "readings": {"kept": 2, "withheld": 1}},
        "notes": ["No table 'capacity' was given: room in the shop is not planned."],
        "shortages": [],
        "currency": "USD",
        "settings_file": "settings.toml",
        "versions": {"pivotlife": "0.1.0"},
        "stages": [],
    }
    return PageInputs(
        as_of=AS_OF,
        tables={**small_tables(), **(tables or {})},
        run={**facts, **(run or {})},
        fleet_name=fleet_name,
    )
