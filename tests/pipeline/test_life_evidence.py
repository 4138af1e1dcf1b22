"""What ends a life, and between which ages: every rule of evidence has a case of its own.

The cases are typed in by hand from the rules; the truck drives 100 miles a day, so the ages can
be checked in the head.
"""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

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
