"""Unit-wide facts: where records begin, last seen and last visit, care."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest


def test_compliance_counts_services_between_entry_and_lower_never_to_the_removal(
    factory: ModuleType,
) -> None:
    # Due every 7,500 miles: four between fitting and 30,000; those after day 300 do not count.
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0)],
        repairs=[factory.repair(900, "partner")],
        lube=[factory.lube(day) for day in (75, 150, 225, 375, 450, 525, 600, 675)],
    )
    assert fleet.life()["lower_miles"] == 30_000.0
    assert fleet.life()["lube_compliance"] == pytest.approx(3 / 4)


@pytest.mark.parametrize("answer", ["unknown", "", "no"])
def test_an_unsure_service_counts_half(factory: ModuleType, answer: str) -> None:
    # "no" says that one of the pins refused, not which one.
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0)],
        lube=[factory.lube(day, all_took_grease=answer) for day in (75, 150, 225, 290)],
    )
    assert fleet.life()["lube_compliance"] == pytest.approx(0.5)


def test_more_services_than_due_is_full_compliance(factory: ModuleType) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(300, 1.0)], lube=[factory.lube(day) for day in range(20, 300, 20)]
    )
    assert fleet.life()["lube_compliance"] == 1.0


def test_a_short_life_takes_its_units_own_share(factory: ModuleType) -> None:
    fleet = factory.fleet(
        readings=[factory.reading(100, 1.0)],
        lube=[factory.lube(day) for day in (400, 800, 1200)],
        odometer=[factory.odometer(1500)],
    )
    # One service due in the life; three done of twenty due in 150,000 miles.
    assert fleet.life()["lube_compliance"] == pytest.approx(3 / 20)


def test_without_a_lube_table_compliance_is_unknown(factory: ModuleType) -> None:
    assert np.isnan(factory.fleet(readings=[factory.reading(300, 1.0)]).life()["lube_compliance"])


def test_a_past_visit_counts_as_a_visit_and_a_coming_one_does_not(factory: ModuleType) -> None:
    fleet = factory.fleet(
        today=1000,
        readings=[factory.reading(300, 1.0)],
        odometer=[factory.odometer(900)],
        visits=[factory.visit(700), factory.visit(1100)],
    )
    assert fleet.life()["last_visit_miles"] == pytest.approx(70_000.0)


def test_a_removed_bushing_was_last_seen_when_it_came_out(factory: ModuleType) -> None:
    life = factory.fleet(repairs=[factory.repair(600)], odometer=[factory.odometer(900)]).life()
    assert (life["last_seen_miles"], life["last_visit_miles"]) == (60_000.0, 60_000.0)


def test_records_without_a_stated_beginning_begin_in_service(factory: ModuleType) -> None:
    used = factory.unit(in_service_date=factory.date(1000), in_service_odometer=100_000)
    life = factory.fleet(units=[used], readings=[factory.reading(1200, 1.0)]).life()
    assert (life["records_begin_miles"], life["entry_miles"]) == (100_000.0, 120_000.0)
