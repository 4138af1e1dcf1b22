"""What stands in a column speaks for a native column, or against it."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.column_evidence import as_number, fit, patterns_of, sample, understood

FACTS = column_facts(READINGS)


def _fit(name: str, *values: str, unit_ids: frozenset[str] = frozenset()) -> float:
    return fit(sample(pd.Series(values)), name, FACTS[name], unit_ids, name == "reading_id")


def test_each_kind_of_column() -> None:
    assert _fit("reading_date", "01/31/2024", "02/28/2024") == 1.0
    assert _fit("reading_date", "north", "south") == 0.0
    assert _fit("side", "N/S", "O/S") == 1.0
    assert _fit("odometer", "123,456", "99 000") == 1.0
    assert _fit("odometer", "3", "4") < 0.5
    assert _fit("free_play", "0,125", "1/8") == 1.0
    assert _fit("free_play", "123456", "99000") == 0.0
    assert _fit("free_play_unit", "inches", "thou") == 1.0
    assert _fit("unit_id", "T1", "T2", unit_ids=frozenset({"t1"})) == 0.5
    assert _fit("reading_id", "a", "b", "c") > 0.5 > _fit("reading_id", "a", "a", "b")
    assert _fit("remark", "", "") == 0.5


@pytest.mark.parametrize(
    ("text", "number"),
    [("1,234.5", 1234.5), ("1.234,5", 1234.5), ("12 345", 12345), ("3,5", 3.5), ("x", math.nan)],
)
def test_numbers_with_either_sign(text: str, number: float) -> None:
    assert as_number(text) == pytest.approx(number, nan_ok=True)


def test_days_in_usual_patterns() -> None:
    assert patterns_of("31.12.2024") == {"%d.%m.%Y"}
    assert patterns_of("03/04/2024") == {"%d/%m/%Y", "%m/%d/%Y"}
    assert patterns_of("5-Jan-2024") == {"%d-%b-%Y"}
    assert patterns_of("20240105") == {"%Y%m%d"}
    assert patterns_of("2024-01-05T07:08:09") == {"%Y-%m-%dT%H:%M:%S"}
    assert patterns_of("123456") == frozenset()


def test_words_of_the_trade() -> None:
    assert understood("Street side", "side", FACTS["side"]) == "left"
    assert understood("Fractured", "finding", FACTS["finding"]) == "cracked"
    assert understood("B2", "finding", FACTS["finding"]) == ""
