"""From records to lives: entry, order of a day, removals and fates have cases of their own.

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
