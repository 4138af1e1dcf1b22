"""Units kept or converted: miles left decide, and what is done can be counted by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from cost_lives import MONEY, NEVER, SURE, WORK, life
from pivotlife.models.conversion_verdict import DOES_NOT_PAY, MAY_LOSE, PAYS, VERDICTS
from pivotlife.models.truck_miles import PLACES
from pivotlife.models.unit_conversion import (
    CONVERSION_COLUMNS,
    FLEET_COLUMNS,
    FleetCost,
    fleet_cost,
)

PLAIN = replace(MONEY, discount_rate=0.0, price_escalation=0.0)


def pivots(unit: str, kind: str = "threaded", **over: Any) -> list[dict[str, Any]]:
    state = {"age_miles": 50_000.0, "good_miles": 50_000.0, "is_over": False} | over
    return [
        {"unit_id": unit, "axle": 1, "side": side, "node": node, "bushing_type": kind, **state}
        for side, node in PLACES
    ]


def unit(name: str, left: float) -> dict[str, Any]:
    told = {"unit_id": name, "depot": "Northpit", "duty": "regional", "miles_left": left}
    return {**told, "annual_miles": 65_000.0, "first_visit_miles": 10_000.0}


def made(
    rows: list[dict[str, Any]], units: list[dict[str, Any]], *lives: Any, money: Any = PLAIN
) -> FleetCost:
    kinds = lives or (
        life("threaded", SURE, 100_000.0, spread=0.0),
        life("roller", SURE, 1e7, spread=0.0),
    )
    return fleet_cost(
        pd.DataFrame(rows),
        pd.DataFrame(units),
        {"regional": WORK},
        {"regional": kinds},
        {"regional": {life.bushing_type: NEVER for life in kinds}},
        money,
        repetitions_at_most=20,
    )


def one(made: FleetCost, name: str, to: str = "roller") -> pd.Series:
    rows = made.conversions[made.conversions["unit_id"] == name]
    return rows[rows["to_type"] == to].iloc[0]


def test_sure_lives_are_priced_by_hand() -> None:
    """Kept: visits at 10,000, 25,000 ... ; six over at 50,000 (age 100,000) are found at 55,000."""
    row = one(made(pivots("A"), [unit("A", 100_000.0)]), "A")
    hours = 2 * 2.0 + 2 * 0.5 + 2 * 1.0
    lube = 100_000.0 / 15_000.0 * 0.8 * 0.5 * 100.0
    late = 6 * 0.1 * 2_000.0 + 6 * 5_000.0 * 2e-6 * 1_000.0
    assert row["keep_cash"] == pytest.approx(
        6 * 60.0 + hours * 100.0 + 240.0 + lube + late, rel=1e-4
    )
    first = 6 * 200.0 + hours * 100.0 + 240.0 + 6 * 0.75 * 100.0
    early_lube = 10_000.0 / 15_000.0 * 0.8 * 0.5 * 100.0
    assert row["first_cost"] == pytest.approx(first + early_lube)
    assert row["convert_cash"] == pytest.approx(first + lube)
    assert row["convert_downtime"] == pytest.approx(0.2 * 500.0)
    spared = row["keep_cash"] + row["keep_downtime"] - row["convert_cash"] - row["convert_downtime"]
    assert row["saving"] == pytest.approx(spared)


def test_few_miles_left_tell_against_converting() -> None:
    rows = pivots("short") + pivots("long")
    fleet = made(rows, [unit("short", 20_000.0), unit("long", 900_000.0)])
    assert one(fleet, "short")["verdict"] == "does not pay"
    assert one(fleet, "long")["verdict"] == "pays"
    assert one(fleet, "long")["years_left"] == pytest.approx(900 / 65)


def test_the_verdict_never_contradicts_the_range_beside_it() -> None:
    lives = (life("threaded", 2.2, 200_000.0), life("roller", 2.5, 300_000.0))
    rows = [row for place in range(6) for row in pivots(f"U{place}")]
    told = made(
        rows, [unit(f"U{place}", 60_000.0 * (place + 1)) for place in range(6)], *lives
    ).conversions
    assert set(told["verdict"]) <= set(VERDICTS)
    spans = (told["saving_p10"] < 0) & (told["saving_p90"] > 0)
    assert not told.loc[spans, "verdict"].isin([PAYS, DOES_NOT_PAY]).any()
    assert (told.loc[told["verdict"] == PAYS, "chance_pays"] >= 0.89).all()
    assert MAY_LOSE in set(told["verdict"])


def test_what_is_over_is_renewed_either_way_and_costs_no_trucks_twice() -> None:
    fleet = made(pivots("A", is_over=True), [unit("A", 12_000.0)])
    row = one(fleet, "A")
    kits = 6 * (200.0 - 60.0) + 6 * 0.75 * 100.0
    assert row["convert_cash"] - row["keep_cash"] == pytest.approx(kits)
    assert row["keep_downtime"] == pytest.approx(row["convert_downtime"])


def test_a_unit_without_a_sale_and_one_due_for_sale_are_named() -> None:
    fleet = made(
        pivots("A") + pivots("B") + pivots("C"),
        [unit("A", math.nan), unit("B", -500.0), unit("C", 90_000.0)],
    )
    told = fleet.conversions.set_index("unit_id")
    assert told.loc["A", "verdict"] == "unknown"
    assert "set finance.holding_miles" in told.loc["A", "note"]
    assert told.loc["B", "verdict"] == "does not pay"
    assert told.loc["B", "note"] == "due for sale: nothing pays back any more"
    assert list(fleet.conversions.columns) == list(CONVERSION_COLUMNS)
    assert fleet.by_year["units"].iloc[0] == 1


def test_units_carry_different_types_side_by_side() -> None:
    mixed = pivots("A")[:4] + pivots("A", "roller")[4:]
    fleet = made(mixed, [unit("A", 200_000.0)])
    assert set(fleet.conversions["to_type"]) == {"threaded", "roller"}
    assert one(fleet, "A")["present_type"] == "threaded"
    # Four of the six are converted; a type that nobody knows leaves its place out.
    to_threaded = one(fleet, "A", "threaded")["first_cost"]
    to_roller = one(fleet, "A")["first_cost"]
    assert to_roller - to_threaded == pytest.approx(6 * 140.0 + (4 - 2) * 0.75 * 100.0)
    strange = pivots("A")[:5] + pivots("A", "bronze")[5:]
    assert one(made(strange, [unit("A", 200_000.0)]), "A")["pivots"] == 5


def test_the_years_of_the_fleet_add_up_to_the_units_kept() -> None:
    lives = (life("threaded", 2.2, 200_000.0), life("roller", 2.5, 300_000.0))
    fleet = made(pivots("A") + pivots("B"), [unit("A", 150_000.0), unit("B", 290_000.0)], *lives)
    kept = fleet.conversions.drop_duplicates("unit_id")
    assert fleet.by_year["cash"].sum() == pytest.approx(kept["keep_cash"].sum())
    assert fleet.by_year["downtime"].sum() == pytest.approx(kept["keep_downtime"].sum())
    assert list(fleet.by_year.columns) == list(FLEET_COLUMNS)
    assert np.all(fleet.by_year["cash_p10"] <= fleet.by_year["cash_p90"])


def test_equal_input_gives_equal_output() -> None:
    lives = (life("threaded", 2.2, 200_000.0), life("roller", 2.5, 300_000.0))
    args = (pivots("A"), [unit("A", 150_000.0)], *lives)
    pd.testing.assert_frame_equal(made(*args).conversions, made(*args).conversions)
