"""What reaches the safety step: good and withheld rows, their limits, and what ends a danger."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.safety import standing_orders


def evidence(factory: ModuleType, *readings: object, **tables: object) -> pd.DataFrame:
    fleet = factory.fleet(**({"readings": list(readings)} | tables))
    rows: pd.DataFrame = fleet.safety.evidence
    return rows


def orders(fleet: Any) -> set[tuple[str, str]]:
    """Pivot and decision of what stands."""
    safety, in_service = fleet.safety, fleet.histories.in_service
    told = standing_orders(safety.evidence, safety.clearances, in_service)
    return set(zip(told["pivot_id"], told["decision"], strict=True))


def test_a_good_row_carries_play_finding_and_the_limit_in_service(factory: ModuleType) -> None:
    row = evidence(factory, factory.reading(300, 4.0, finding="rough", takes_grease="no")).iloc[0]
    assert (row["play_mm"], row["limit_mm"], row["finding"]) == (4.0, 3.2, "rough")
    assert (row["refuses_grease"], row["withheld"], row["teardown"]) == (True, False, False)
    assert row["date"] == factory.stamp(300)
    assert row["source_row"] == "readings:RD-0"


def test_a_withheld_row_still_counts_and_says_why_it_was_withheld(factory: ModuleType) -> None:
    row = evidence(factory, factory.reading(300, 4.0, odometer="twelve")).iloc[0]
    assert (row["withheld"], row["play_mm"]) == (True, 4.0)
    assert row["what"].startswith("withheld: odometer")


def test_a_row_without_readable_date_takes_its_day_of_entry_or_none(factory: ModuleType) -> None:
    dated = evidence(
        factory, factory.reading(1, 4.0, reading_date="soon", entered_date=factory.date(20))
    )
    assert dated["date"].iloc[0] == factory.stamp(20)
    undated = evidence(factory, factory.reading(1, 4.0, reading_date="soon"))
    assert pd.isna(undated["date"].iloc[0])


def test_an_unknown_position_is_held_against_the_smallest_limit_of_the_unit(
    factory: ModuleType,
) -> None:
    pivots = [
        factory.one_pivot(),
        factory.one_pivot(node="shackle-lower", bushing_type="roller"),
        factory.one_pivot(node="shackle-upper", bushing_type="rubber-bonded"),
    ]
    options = factory.settings(limits={"roller": {"play": 1.5}})
    row = evidence(
        factory, factory.nowhere(factory.reading(300, 1.8)), pivots=pivots, options=options
    ).iloc[0]
    assert (row["pivot_id"], row["limit_mm"]) == ("", 1.5)


def test_rubber_has_no_limit_with_or_without_position(factory: ModuleType) -> None:
    rubber = [factory.one_pivot(bushing_type="rubber-bonded")]
    rows = evidence(
        factory,
        factory.reading(300, 5.0),
        factory.nowhere(factory.reading(300, 5.0)),
        pivots=rubber,
    )
    assert rows["limit_mm"].isna().all()


def test_a_pivot_that_no_table_knows_is_held_against_the_metal_limit(factory: ModuleType) -> None:
    small_pin = [factory.unit(pin_diameter=22, length_unit="mm")]
    row = evidence(factory, factory.reading(300, 2.5, side="right"), units=small_pin).iloc[0]
    assert row["limit_mm"] == 2.0


@pytest.mark.parametrize(
    ("number", "doubtful"), [("4", True), ("0.13", True), ("0.02", False), ("0.001", False)]
)
def test_a_play_without_readable_unit_is_doubtful_when_any_unit_makes_it_too_large(
    factory: ModuleType, number: str, doubtful: bool
) -> None:
    # 0.13 in = 3.302 mm is over 3.2 mm; 0.02 cm and 0.02 in are not.
    row = evidence(factory, factory.reading(300, number, free_play_unit="blob")).iloc[0]
    assert row["withheld"]
    assert row["play_unit_unreadable"] == doubtful


def test_a_play_larger_than_an_inch_is_a_wrong_unit_to_be_measured_again(
    factory: ModuleType,
) -> None:
    row = evidence(factory, factory.reading(300, 60, free_play_unit="in")).iloc[0]
    assert (row["withheld"], row["play_unit_unreadable"]) == (True, True)
    assert np.isnan(row["play_mm"])


def test_an_unreadable_finding_is_handed_on_as_written(factory: ModuleType) -> None:
    row = evidence(factory, factory.reading(300, 1.0, finding="krackd")).iloc[0]
    assert (row["unreadable_finding"], row["finding"]) == (True, "krackd")


def test_units_that_left_are_left_out_and_unknown_ones_counted(factory: ModuleType) -> None:
    gone = factory.fleet(
        units=[factory.unit(left_fleet_date=factory.date(400))], readings=[factory.reading(300, 4)]
    )
    assert gone.safety.evidence.empty
    stranger = factory.fleet(readings=[factory.reading(300, 4, unit_id="U9")])
    assert stranger.safety.evidence.empty
    assert stranger.safety.without_unit == 1


def test_a_unit_whose_own_row_is_withheld_is_still_acted_on(factory: ModuleType) -> None:
    rows = evidence(
        factory,
        factory.reading(300, 4.0),
        units=[factory.unit(duty="flying"), factory.unit(unit_id="U2")],
    )
    assert rows["play_mm"].tolist() == [4.0]
    assert rows["limit_mm"].tolist() == [3.2]


def test_what_the_first_truck_of_a_number_showed_is_not_held_against_the_second(
    factory: ModuleType,
) -> None:
    units = [
        factory.unit(in_service_date=factory.date(800), in_service_odometer=0),
        factory.unit(left_fleet_date=factory.date(400), left_fleet_odometer=40_000),
    ]
    old, new = factory.reading(300, 4.0), factory.reading(900, 3.5, odometer=10_000)
    rows = evidence(factory, old, new, units=units)
    assert rows["play_mm"].tolist() == [3.5]


def test_rows_dated_or_entered_after_today_are_unknown(factory: ModuleType) -> None:
    rows = evidence(
        factory,
        factory.reading(300, 4.0),
        factory.reading(1900, 4.1),
        factory.reading(600, 4.2, entered_date=factory.date(1700)),
        today=1600,
    )
    assert rows["play_mm"].tolist() == [4.0]


def test_a_renewal_of_the_named_pivot_ends_its_danger(factory: ModuleType) -> None:
    bad = factory.reading(600, 4.0)
    assert orders(factory.fleet(readings=[bad])) == {(factory.PIVOT, "replace")}
    assert orders(factory.fleet(readings=[bad], repairs=[factory.repair(600)])) == set()


def test_a_later_good_reading_ends_nothing(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(600, 4.0), factory.reading(900, 1.0)])
    assert orders(fleet) == {(factory.PIVOT, "replace")}


def test_a_far_smaller_reading_afterwards_casts_doubt_and_lifts_nothing(
    factory: ModuleType,
) -> None:
    found = evidence(factory, factory.reading(300, 17.78), factory.reading(600, 0.6))
    assert found["contradicted"].tolist() == [True, False]
    fleet = factory.fleet(readings=[factory.reading(300, 17.78), factory.reading(600, 0.6)])
    assert orders(fleet) == {(factory.PIVOT, "replace")}
    found = evidence(factory, factory.reading(300, 3.4), factory.reading(600, 2.9))
    assert not found["contradicted"].any()


def test_a_renewal_somewhere_on_the_unit_does_not_end_the_danger_of_one_pivot(
    factory: ModuleType,
) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        readings=[factory.reading(600, 4.0)],
        repairs=[factory.nowhere(factory.repair(600))],
    )
    # The histories infer that it was this pivot; the safety step does not rest on that.
    assert fleet.histories.renewals["pivot_id"].tolist() == [factory.PIVOT]
    assert orders(fleet) == {(factory.PIVOT, "replace")}


def test_a_kit_for_all_pivots_ends_the_danger_of_each(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        readings=[factory.reading(600, 4.0)],
        repairs=[factory.nowhere(factory.repair(600, pivots_in_kit=6))],
    )
    assert orders(fleet) == set()


def test_a_tear_down_is_about_the_bushing_that_went_out(factory: ModuleType) -> None:
    torn = factory.repair(600, teardown_finding="broken")
    assert orders(factory.fleet(repairs=[torn])) == set()
    # Also when the row itself was withheld, here for its odometer.
    assert orders(factory.fleet(repairs=[torn | {"odometer": "?"}])) == set()
    seen_only = torn | {"action": "adjusted"}
    assert orders(factory.fleet(repairs=[seen_only])) == {(factory.PIVOT, "park")}


def test_a_shifted_axle_is_cleared_by_a_later_repair_but_not_by_greasing(
    factory: ModuleType,
) -> None:
    shifted = factory.reading(600, finding="axle-shifted")
    greased = factory.repair(700, "", action="regreased")
    assert orders(factory.fleet(readings=[shifted], repairs=[greased])) == {("", "park")}
    adjusted = factory.repair(700, "", action="adjusted")
    assert orders(factory.fleet(readings=[shifted], repairs=[adjusted])) == set()


def test_a_suspect_zero_does_not_clear_a_danger_of_unknown_position(factory: ModuleType) -> None:
    lost = factory.nowhere(factory.reading(600, 4.0))
    pivots = [factory.one_pivot(), factory.one_pivot(side="right")]
    right = factory.reading(900, 1.0, side="right")
    good = factory.fleet(pivots=pivots, readings=[lost, factory.reading(900, 1.0), right])
    assert orders(good) == set()
    zero = factory.fleet(pivots=pivots, readings=[lost, factory.reading(900, 0.0), right])
    assert orders(zero) == {("", "measure")}


def test_a_danger_that_only_one_pivot_can_mean_is_that_pivots(factory: ModuleType) -> None:
    lost = factory.nowhere(factory.reading(600, 4.0))
    made = factory.fleet(readings=[lost, factory.reading(900, 1.0)])
    assert orders(made) == {(factory.PIVOT, "replace")}
