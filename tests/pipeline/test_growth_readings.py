"""What the growth of play is fitted to: rounding of each value, and pins that hide their play."""

from __future__ import annotations

from types import ModuleType

import pytest

from pivotlife.pipeline.growth_readings import growth_readings


def test_each_reading_knows_its_type_duty_and_rounding(factory: ModuleType) -> None:
    rows = [
        factory.reading(100 + 50 * i, text) | {"free_play_unit": "in"}
        for i, text in enumerate(["0.012", "0.021", "0.0", "0.033"])
    ]
    found = growth_readings(factory.fleet(readings=rows).histories)
    assert found["bushing_type"].eq("threaded").all()
    assert found["duty"].eq("line-haul").all()
    assert found["resolution_mm"].tolist() == pytest.approx([0.0254, 0.0254, 2.54, 0.0254])


def test_a_fraction_is_as_fine_as_its_denominator(factory: ModuleType) -> None:
    rows = [
        factory.reading(100 + 50 * i, text) | {"free_play_unit": "in"}
        for i, text in enumerate(["1/32", "3/64", "0.051"])
    ]
    found = growth_readings(factory.fleet(readings=rows).histories)
    assert found["resolution_mm"].tolist() == pytest.approx([25.4 / 32, 25.4 / 64, 0.0254])


def test_a_pin_that_refuses_grease_is_tight_until_it_takes_some(factory: ModuleType) -> None:
    def tight(*answers: str) -> list[bool]:
        rows = [
            factory.reading(100 + 50 * i, 0.1, takes_grease=answer)
            for i, answer in enumerate(answers)
        ]
        found = growth_readings(factory.fleet(readings=rows).histories)
        marks: list[bool] = found["is_tight"].tolist()
        return marks

    assert tight("yes", "no") == [True, True]
    assert tight("no", "") == [True, True]
    assert tight("no", "yes") == [False, False]
    assert tight("", "yes") == [False, False]


def test_a_seized_pin_is_tight(factory: ModuleType) -> None:
    rows = [factory.reading(100, 0.1), factory.reading(300, 0.0, finding="seized")]
    found = growth_readings(factory.fleet(readings=rows).histories)
    assert found["is_tight"].all()
