"""From records to lives: every rule of evidence, entry and censoring has a case of its own.

The cases are typed in by hand from the rules; the truck drives 100 miles a day, so the ages can
be checked in the head.
"""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from pivotlife.pipeline.histories import LIFE_COLUMNS

INF = float("inf")


def bounds(life: pd.Series) -> tuple[float, float, float]:
    return life["entry_miles"], life["lower_miles"], life["upper_miles"]


# What ends a life, and between which ages.


def test_bad_reading_is_a_failure_between_the_last_good_and_the_first_bad(
    factory: ModuleType,
) -> None:
    life = factory.fleet(
        readings=[
            factory.reading(300, 1.0),
            factory.reading(600, 2.0),
            factory.reading(900, 3.4),
            factory.reading(1000, 3.9),
        ],
        repairs=[factory.repair(1100)],
    ).life()
    assert bounds(life) == (0.0, 60_000.0, 90_000.0)
    assert (life["evidence"], life["mode"], life["in_fit"]) == ("bad-reading", "wear", True)
    assert life["removed_odometer_miles"] == 110_000.0


def test_a_reading_at_the_limit_counts_as_over(factory: ModuleType) -> None:
    life = factory.fleet(readings=[factory.reading(300, 3.2)]).life()
    assert life["evidence"] == "bad-reading"


def test_an_eighth_of_an_inch_is_within_the_default_limit(factory: ModuleType) -> None:
    # 1/8 in = 3.175 mm against 3.2 mm (Quebec regulation C-24.2 r. 32 s. 116).
    life = factory.fleet(readings=[factory.reading(300, 0.125, free_play_unit="in")]).life()
    assert (life["evidence"], life["last_good_miles"]) == ("in-service", 30_000.0)


def test_failure_without_any_good_reading_begins_at_the_fitting(factory: ModuleType) -> None:
    life = factory.fleet(readings=[factory.reading(900, 4.0)]).life()
    assert bounds(life) == (0.0, 0.0, 90_000.0)


@pytest.mark.parametrize(
    ("finding", "mode"),
    [
        ("split", "split"),
        ("extruded", "split"),
        ("rough", "rough"),
        ("rust-in-purge", "rough"),
        ("cracked", "broken"),
        ("broken", "broken"),
        ("part-missing", "broken"),
        ("seized", "seized"),
        ("loose-fit", "loose-fit"),
    ],
)
def test_each_failure_finding_ends_the_life_in_its_mode(
    factory: ModuleType, finding: str, mode: str
) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(600, 1.1, finding=finding)]
    ).life()
    assert (life["evidence"], life["mode"]) == ("finding", mode)
    assert bounds(life) == (0.0, 30_000.0, 60_000.0)


def test_a_shifted_axle_is_no_failure_of_a_bushing(factory: ModuleType) -> None:
    life = factory.fleet(readings=[factory.reading(300, 1.0, finding="axle-shifted")]).life()
    assert (life["evidence"], life["mode"]) == ("in-service", "")


def test_a_tear_down_over_the_limit_is_a_failure_whatever_the_reason(factory: ModuleType) -> None:
    torn = {"teardown_free_play": 3.6, "free_play_unit": "mm"}
    life = factory.fleet(
        readings=[factory.reading(300, 1.0)], repairs=[factory.repair(600, "partner", **torn)]
    ).life()
    assert (life["evidence"], life["mode"]) == ("bad-reading", "wear")
    assert bounds(life) == (0.0, 30_000.0, 60_000.0)


def test_a_tear_down_finding_names_the_mode(factory: ModuleType) -> None:
    life = factory.fleet(repairs=[factory.repair(600, "campaign", teardown_finding="rough")]).life()
    assert (life["evidence"], life["mode"]) == ("finding", "rough")


@pytest.mark.parametrize("reason", ["broken", "seized", "split", "rough", "loose-fit"])
def test_a_removal_for_a_failure_other_than_wear_counts_whatever_the_play_reads(
    factory: ModuleType, reason: str
) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(600, 0.5)],
        repairs=[factory.repair(600, reason)],
    ).life()
    assert (life["evidence"], life["mode"]) == ("finding", reason)
    # The good play of that day does not move the lower bound past the failure.
    assert life["lower_miles"] <= life["upper_miles"] == 60_000.0


def test_a_wear_removal_without_a_reading_is_a_failure(factory: ModuleType) -> None:
    life = factory.fleet(readings=[factory.reading(300, 1.0)], repairs=[factory.repair(600)]).life()
    assert (life["evidence"], life["mode"]) == ("finding", "wear")
    assert bounds(life) == (0.0, 30_000.0, 60_000.0)


def test_a_wear_removal_with_a_good_reading_of_that_stop_was_preventive(
    factory: ModuleType,
) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(599, 2.5)],
        repairs=[factory.repair(600)],
    ).life()
    assert (life["evidence"], life["informative"]) == ("preventive", True)
    assert life["removed_reason"] == "preventive"
    assert bounds(life) == (0.0, 59_900.0, INF)


def test_a_good_reading_of_an_earlier_stop_does_not_make_a_wear_removal_preventive(
    factory: ModuleType,
) -> None:
    life = factory.fleet(readings=[factory.reading(500, 2.5)], repairs=[factory.repair(600)]).life()
    assert life["evidence"] == "finding"


def test_a_failed_tear_down_outweighs_the_good_reading_of_that_stop(factory: ModuleType) -> None:
    life = factory.fleet(
        readings=[factory.reading(600, 2.5)],
        repairs=[factory.repair(600, teardown_finding="cracked")],
    ).life()
    assert (life["evidence"], life["mode"]) == ("finding", "broken")


@pytest.mark.parametrize(
    ("reason", "evidence", "informative"),
    [
        ("preventive", "preventive", True),
        ("campaign", "campaign", True),
        ("partner", "partner", False),
        ("accident", "other-removal", False),
        ("sale", "other-removal", False),
        ("warranty", "other-removal", False),
        ("unknown", "other-removal", False),
        ("", "other-removal", False),
    ],
)
def test_a_removal_that_is_no_failure_is_censored_at_the_last_good_evidence(
    factory: ModuleType, reason: str, evidence: str, informative: bool
) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 1.0)], repairs=[factory.repair(600, reason)]
    ).life()
    assert bounds(life) == (0.0, 30_000.0, INF)
    assert (life["evidence"], life["informative"]) == (evidence, informative)
    assert life["removed_reason"] == (reason or "unknown")
    assert life["in_fit"]


def test_in_service_is_censored_at_the_last_good_evidence_not_at_todays_odometer(
    factory: ModuleType,
) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 1.0)],
        lube=[factory.lube(1400)],
        odometer=[factory.odometer(1500)],
    ).life()
    assert bounds(life) == (0.0, 30_000.0, INF)
    assert (life["evidence"], life["mode"]) == ("in-service", "")
    assert (life["last_seen_miles"], life["last_visit_miles"]) == (150_000.0, 140_000.0)
    assert np.isnan(life["removed_odometer_miles"])


def test_broken_on_the_road_is_exact(factory: ModuleType) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 1.0)],
        repairs=[factory.repair(700, "broken", place="roadside")],
    ).life()
    assert bounds(life) == (0.0, 70_000.0, 70_000.0)
    assert (life["evidence"], life["mode"], life["in_fit"]) == ("broke", "broken", True)


def test_broken_between_planned_stops_is_exact_and_at_a_planned_stop_is_not(
    factory: ModuleType,
) -> None:
    broken = [factory.repair(700, "broken", place="shop")]
    good = [factory.reading(300, 1.0)]
    assert factory.fleet(readings=good, repairs=broken).life()["evidence"] == "broke"
    at_service = factory.fleet(readings=good, repairs=broken, lube=[factory.lube(700)]).life()
    assert bounds(at_service) == (0.0, 30_000.0, 70_000.0)
    assert at_service["evidence"] == "finding"


def test_broken_on_the_road_after_a_bad_reading_failed_at_that_reading(
    factory: ModuleType,
) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 4.0)],
        repairs=[factory.repair(700, "broken", place="roadside")],
    ).life()
    assert (life["evidence"], life["upper_miles"]) == ("bad-reading", 30_000.0)


# Good evidence.


def test_ok_is_good_evidence_on_rubber_and_not_on_metal(factory: ModuleType) -> None:
    looked = [factory.reading(300, finding="ok")]
    pivots = [factory.one_pivot(bushing_type="rubber-bonded")]
    rubber = factory.fleet(pivots=pivots, readings=looked)
    assert rubber.life()["last_good_miles"] == 30_000.0
    assert np.isnan(factory.fleet(readings=looked).life()["last_good_miles"])


def test_play_means_nothing_on_rubber_without_a_limit_of_the_users(factory: ModuleType) -> None:
    rubber = [factory.one_pivot(bushing_type="rubber-bonded")]
    plain = factory.fleet(pivots=rubber, readings=[factory.reading(300, 9.0)])
    assert plain.life()["evidence"] == "none-after-entry"
    limited = factory.fleet(
        pivots=rubber,
        readings=[factory.reading(300, 9.0)],
        options=factory.settings(limits={"rubber-bonded": {"play": 5.0}}),
    )
    assert limited.life()["evidence"] == "bad-reading"


def test_later_good_readings_undo_nothing_and_are_listed(factory: ModuleType) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(600, 4.0), factory.reading(900, 2.0)]
    )
    assert bounds(fleet.life()) == (0.0, 30_000.0, 60_000.0)
    assert fleet.life()["last_good_miles"] == 30_000.0
    assert fleet.fate("readings", 2) == ("reading", "good after bad evidence: it undoes nothing")
    assert fleet.histories.readings["contradicts"].tolist() == [False, False, True]


def test_of_several_directions_the_worst_decides(factory: ModuleType) -> None:
    life = factory.fleet(
        readings=[
            factory.reading(300, 1.0, direction="vertical"),
            factory.reading(600, 1.0, direction="vertical"),
            factory.reading(600, 3.5, direction="lateral"),
        ]
    ).life()
    assert bounds(life) == (0.0, 30_000.0, 60_000.0)


def test_of_repeats_the_largest_decides(factory: ModuleType) -> None:
    life = factory.fleet(
        readings=[factory.reading(300, 3.1, repeat="1"), factory.reading(300, 3.3, repeat="2")]
    ).life()
    assert life["evidence"] == "bad-reading"


def test_a_small_play_on_a_pin_that_refuses_grease_is_no_good_evidence(
    factory: ModuleType,
) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(600, 0.1, takes_grease="no")]
    )
    assert fleet.life()["last_good_miles"] == 30_000.0


def test_an_old_zero_on_metal_is_marked_and_still_counts(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(600, 0.0), factory.reading(300, 0.0)])
    assert fleet.fate("readings", 0) == ("reading", "a zero that may mean not measured")
    assert fleet.fate("readings", 1) == ("reading", "")
    assert fleet.life()["last_good_miles"] == 60_000.0


def test_a_sheet_of_zeros_is_marked_at_any_age(factory: ModuleType) -> None:
    sheet = [factory.reading(100, 0.0, side=side, node=node) for side, node in factory.SIX[:4]]
    fleet = factory.fleet(pivots=factory.six_pivots(), readings=sheet)
    assert fleet.histories.readings["is_suspect"].all()


def test_a_play_of_many_limits_that_is_good_afterwards_is_no_failure(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(300, 22.0), factory.reading(600, 1.0)])
    assert (fleet.life()["evidence"], fleet.life()["last_good_miles"]) == ("in-service", 60_000.0)
    assert "mistaken unit" in fleet.fate("readings", 0)[1]
    assert fleet.safety.evidence["play_mm"].max() == 22.0
    alone = factory.fleet(readings=[factory.reading(300, 22.0)])
    assert alone.life()["evidence"] == "bad-reading"


# Entry.


def old_truck(factory: ModuleType, **over: object) -> Any:
    return factory.unit(
        records_begin_date=factory.date(1000), records_begin_odometer=100_000, **over
    )


def test_fitted_after_records_begin_enters_at_zero(factory: ModuleType) -> None:
    life = factory.fleet(
        units=[old_truck(factory)],
        readings=[factory.reading(1400, 1.0)],
        repairs=[factory.repair(1100, "preventive")],
    ).life(2)
    assert bounds(life) == (0.0, 30_000.0, INF)
    assert (life["fitted_odometer_miles"], life["life_order"]) == (110_000.0, "later")


def test_fitted_before_records_begin_enters_at_its_first_good_evidence(
    factory: ModuleType,
) -> None:
    life = factory.fleet(
        units=[old_truck(factory)],
        readings=[
            factory.reading(1200, 1.0),
            factory.reading(1500, 2.0),
            factory.reading(1800, 4.0),
        ],
    ).life()
    assert bounds(life) == (120_000.0, 150_000.0, 180_000.0)
    assert (life["records_begin_miles"], life["life_order"]) == (100_000.0, "first")


def test_first_evidence_bad_on_a_bushing_from_before_is_prevalent(factory: ModuleType) -> None:
    life = factory.fleet(units=[old_truck(factory)], readings=[factory.reading(1200, 4.0)]).life()
    assert (life["evidence"], life["in_fit"]) == ("prevalent", False)
    assert life["first_evidence_miles"] == 120_000.0


def test_good_evidence_after_a_first_bad_one_does_not_open_the_entry(factory: ModuleType) -> None:
    life = factory.fleet(
        units=[old_truck(factory)],
        readings=[factory.reading(1200, 4.0), factory.reading(1500, 1.0)],
    ).life()
    assert life["evidence"] == "prevalent"


def test_no_good_evidence_after_the_entry_says_nothing(factory: ModuleType) -> None:
    unseen = factory.fleet().life()
    assert (unseen["evidence"], unseen["in_fit"]) == ("none-after-entry", False)
    once = factory.fleet(units=[old_truck(factory)], readings=[factory.reading(1200, 1.0)]).life()
    assert (once["evidence"], once["entry_miles"]) == ("none-after-entry", 120_000.0)


def test_fitted_at_an_unknown_odometer_is_out_of_the_fit_and_kept(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=[factory.one_pivot(fitted_odometer="")], readings=[factory.reading(300, 1.0)]
    )
    life = fleet.life()
    assert (life["evidence"], life["in_fit"], life["life_order"]) == ("unknown-age", False, "")
    assert np.isnan(life["lower_miles"])
    row = fleet.histories.in_service.iloc[0]
    assert (row["age_known"], row["age_at_most_miles"]) == (False, 30_000.0)


def test_delivery_miles_do_not_make_a_new_truck_an_old_one(factory: ModuleType) -> None:
    life = factory.fleet(
        units=[factory.unit(in_service_odometer=400, in_service_date=factory.date(4))],
        readings=[factory.reading(300, 1.0)],
    ).life()
    assert bounds(life) == (0.0, 30_000.0, INF)


# Actions and the order of a day.


def test_a_reading_belongs_to_the_outgoing_bushing_unless_it_says_after(
    factory: ModuleType,
) -> None:
    fleet = factory.fleet(
        readings=[
            factory.reading(300, 1.0),
            factory.reading(600, 3.9),
            factory.reading(600, 0.2, after_repair="yes"),
        ],
        repairs=[factory.repair(600)],
    )
    assert fleet.histories.readings["life_id"].str[-2:].tolist() == ["#1", "#1", "#2"]
    assert fleet.life(1)["upper_miles"] == 60_000.0
    assert fleet.life(2)["last_good_miles"] == 0.0


@pytest.mark.parametrize("action", ["adjusted", "regreased"])
def test_adjusting_and_regreasing_end_nothing(factory: ModuleType, action: str) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(900, 1.5)],
        repairs=[factory.repair(600, "", action=action)],
    )
    assert len(fleet.histories.lives) == 1
    assert fleet.life()["lower_miles"] == 90_000.0
    assert fleet.fate("repairs")[0] == "context"


def test_fitted_without_removed_ends_the_old_life_and_says_so(factory: ModuleType) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0)], repairs=[factory.repair(600, "", action="fitted")]
    )
    assert (fleet.life(1)["evidence"], fleet.life(1)["lower_miles"]) == ("other-removal", 30_000.0)
    assert fleet.life(2)["fitted_odometer_miles"] == 60_000.0
    assert "without a removal" in fleet.fate("repairs")[1]


def test_removed_and_fitted_on_one_day_make_one_change_in_either_order(
    factory: ModuleType,
) -> None:
    out, back = factory.repair(600, action="removed"), factory.repair(600, "", action="fitted")
    for rows in ([out, back], [back, out]):
        fleet = factory.fleet(repairs=rows)
        assert len(fleet.histories.lives) == 2
        assert fleet.life(1)["removed_reason"] == "wear"
        assert {fleet.fate("repairs", n)[0] for n in (0, 1)} == {"life"}


def test_a_reading_of_an_empty_pivot_is_an_odometer_only(factory: ModuleType) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(700, 1.0)],
        repairs=[factory.repair(600, action="removed"), factory.repair(800, "", action="fitted")],
    )
    assert fleet.fate("readings")[0] == "odometer-only"
    assert fleet.life(2)["fitted_odometer_miles"] == 80_000.0


def test_the_new_bushing_takes_the_type_that_was_fitted(factory: ModuleType) -> None:
    fleet = factory.fleet(
        repairs=[
            factory.repair(600, "campaign", bushing_type="roller"),
            factory.repair(900, "partner"),
        ]
    )
    assert [fleet.life(n)["bushing_type"] for n in (1, 2, 3)] == ["threaded", "roller", "roller"]


def test_the_condition_at_fitting_is_the_last_play_of_the_bushing_before(
    factory: ModuleType,
) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0), factory.reading(600, 2.4)],
        repairs=[factory.repair(600, "partner")],
    )
    assert fleet.life(2)["condition_at_fitting"] == pytest.approx(2.4 / 3.2)
    assert np.isnan(fleet.life(1)["condition_at_fitting"])


def test_a_sold_unit_ends_where_it_was_last_seen_and_is_not_in_service(
    factory: ModuleType,
) -> None:
    fleet = factory.fleet(
        units=[factory.unit(left_fleet_date=factory.date(700), left_fleet_reason="sold")],
        readings=[factory.reading(300, 1.0), factory.reading(900, 4.0)],
        odometer=[factory.odometer(650)],
    )
    life = fleet.life()
    assert bounds(life) == (0.0, 30_000.0, INF)
    assert (life["evidence"], life["last_seen_miles"]) == ("other-removal", 65_000.0)
    assert fleet.histories.in_service.empty
    assert fleet.fate("readings", 1) == ("not-needed", "dated after its unit left the fleet")


def test_rows_name_their_life_and_lives_name_their_rows(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(300, 1.0)], repairs=[factory.repair(600)])
    assert fleet.life(1)["source_rows"] == "pivots:row 2;repairs:RP-0;readings:RD-0"
    assert fleet.life(2)["source_rows"] == "repairs:RP-0"


# Rows from the future.


def test_rows_dated_or_entered_after_today_are_not_used(factory: ModuleType) -> None:
    fleet = factory.fleet(
        today=700,
        readings=[
            factory.reading(300, 1.0),
            factory.reading(600, 4.0, entered_date=factory.date(710)),
            factory.reading(800, 4.0),
        ],
        repairs=[factory.repair(900)],
    )
    assert bounds(fleet.life()) == (0.0, 30_000.0, INF)
    later = ("not-needed", "after the as-of date")
    assert [fleet.fate("readings", n) for n in (1, 2)] == [later, later]
    assert fleet.fate("repairs") == later


def test_a_departure_after_today_has_not_happened_yet(factory: ModuleType) -> None:
    fleet = factory.fleet(today=700, units=[factory.unit(left_fleet_date=factory.date(800))])
    assert len(fleet.histories.in_service) == 1


# Shape of the result.


def test_lives_have_the_published_columns(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(300, 1.0)], repairs=[factory.repair(600)])
    assert list(fleet.histories.lives.columns) == LIFE_COLUMNS
    assert fleet.histories.lives["axle"].tolist() == [1, 1]


def test_a_fleet_without_events_or_units_is_no_error(factory: ModuleType) -> None:
    assert len(factory.fleet().histories.lives) == 1
    nothing = factory.fleet(units=[], pivots=[])
    assert nothing.histories.lives.empty
    assert nothing.histories.in_service.empty
    assert nothing.visits.empty


def test_an_untold_pivot_gets_a_life_of_unknown_age(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(300, 1.0, side="right")])
    life = fleet.life(1, "U1.1.right.fixed-eye")
    assert (life["evidence"], life["bushing_type"]) == ("unknown-age", "")


events = st.lists(
    st.tuples(
        st.sampled_from(["reading", "replaced", "removed", "fitted", "regreased", "lube"]),
        st.integers(1, 30),
        st.sampled_from(["left", "right", ""]),
        st.sampled_from([0.0, 0.4, 2.0, 3.5, 20.0]),
        st.sampled_from(["", "wear", "broken", "partner", "preventive"]),
    ),
    max_size=25,
)


@hypothesis_settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(events)
def test_rows_in_are_rows_out_and_no_life_contradicts_itself(
    factory: ModuleType, events: list[tuple[str, int, str, float, str]]
) -> None:
    readings, repairs, lubes = [], [], []
    for kind, tenth, side, play, reason in events:
        day = 60 * tenth
        if kind == "reading":
            readings.append(factory.reading(day, play, side=side))
        elif kind == "lube":
            lubes.append(factory.lube(day))
        else:
            repairs.append(factory.repair(day, reason, side=side, action=kind))
    fleet = factory.fleet(
        today=1500,
        pivots=factory.six_pivots(),
        readings=readings,
        repairs=repairs,
        lube=lubes,
    )
    fates = fleet.histories.fates
    rows_in = sum(len(table) for table in fleet.judged.tables.values())
    assert len(fates) == rows_in
    assert not fates.duplicated(["table", "row_number"]).any()
    assert set(fates["fate"]) <= {"life", "reading", "odometer-only", "context", "not-needed"}
    lives = fleet.histories.lives
    fit = lives[lives["in_fit"]]
    assert (fit["entry_miles"] <= fit["lower_miles"]).all()
    assert (fit["lower_miles"] <= fit["upper_miles"]).all()
    assert (fit["upper_miles"] > fit["entry_miles"]).all()
    assert ((fit["upper_miles"] < np.inf) | (fit["lower_miles"] > fit["entry_miles"])).all()
    assert lives["life_id"].is_unique
    assert not fleet.histories.in_service["pivot_id"].duplicated().any()
