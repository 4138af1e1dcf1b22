"""How a source writes: signs in numbers, patterns of dates, meanings of words, fixed units."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from pivotlife.data.contracts.readings import READINGS
from pivotlife.data.contracts.tables import column_facts
from pivotlife.pipeline.cells import cells_of
from pivotlife.pipeline.dialect import PLAIN, Dialect, is_allowed, value_key

FACTS = column_facts(READINGS)


@pytest.mark.parametrize(
    ("decimal", "thousands", "text", "point", "code"),
    [
        (".", "", "3,5", "3,5", ""),  # refused later, never guessed at
        (",", "", "3,5", "3.5", ""),
        (",", "", "3.5", "3.5", "point"),
        (",", ".", "123.456,75", "123456.75", ""),
        (",", ".", "1.234.567", "1234567", ""),
        (",", ".", "3.5", "3.5", "point"),  # not three digits: no thousands sign
        (",", ".", "0.125", "0.125", "point"),  # nobody writes a leading zero before thousands
        (".", ",", "1,234.5", "1234.5", ""),
        (".", ",", "1,5", "1,5", ""),
        (",", " ", "12\u00a0345,5", "12345.5", ""),
        (".", "'", "12'345.5", "12345.5", ""),
        (",", "", "n.a.", "n.a.", ""),
    ],
)
def test_signs_in_numbers(decimal: str, thousands: str, text: str, point: str, code: str) -> None:
    assert Dialect(decimal=decimal, thousands=thousands).point_number(text) == (point, code)


def test_days_by_declared_patterns() -> None:
    german = Dialect(date_formats=("%d.%m.%Y", "%d.%m.%Y %H:%M"))
    assert german.read_day("31.12.2024") == (dt.date(2024, 12, 31), "")
    assert german.read_day("31.12.2024 13:45") == (dt.date(2024, 12, 31), "")
    assert german.read_day("2024-12-31") == (dt.date(2024, 12, 31), "")
    assert german.read_day("12/31/2024") == (None, "not_a_date")
    assert PLAIN.read_day("2024-2-3") == (None, "not_a_date")
    assert PLAIN.read_day("\u0662\u0660\u0662\u0664-01-01") == (None, "not_a_date")


def test_a_day_that_two_patterns_read_differently_is_refused() -> None:
    both = Dialect(date_formats=("%d/%m/%Y", "%m/%d/%Y"))
    assert both.read_day("03/04/2024") == (None, "ambiguous_date")
    assert both.read_day("04/04/2024") == (dt.date(2024, 4, 4), "")
    assert both.read_day("13/04/2024") == (dt.date(2024, 4, 13), "")


def test_year_day_month_switches_the_usual_reading_off() -> None:
    odd = Dialect(date_formats=("%Y-%d-%m",))
    assert odd.read_day("2024-03-04") == (dt.date(2024, 4, 3), "")
    assert odd.typed.text(dt.date(2024, 4, 3)) == "2024-03-04"


def test_values_compare_without_case_and_spaces() -> None:
    dialect = Dialect(meanings={"finding": {"Pin  Loose": "loose-fit", "*": "rough"}})
    cells = cells_of(pd.Series(["PIN LOOSE", "ok", " Axle_Shifted", "zzz", ""]))
    meant = dialect.meant("finding", cells, FACTS["finding"]).written().tolist()
    # A word that is allowed as it stands is never touched by the rule for the rest.
    assert meant == ["loose-fit", "ok", "Axle_Shifted", "rough", ""]
    assert dialect.meant("side", cells, FACTS["side"]) is cells


def test_fixed_units_fill_blanks_only() -> None:
    units = cells_of(pd.Series(["in", "", "thou"]))
    for declared in ({"free_play": "mm"}, {"free_play_unit": "mm"}):
        filled = Dialect(units=declared).unit_cells("free_play", FACTS["free_play"], units)
        assert filled.written().tolist() == ["in", "mm", "thou"]


def test_keys() -> None:
    assert value_key(" Pin\u00a0Loose ") == "pinloose"
    assert is_allowed("Rust in purge", FACTS["finding"])
    assert is_allowed("TRUE", FACTS["greased_before"])
    assert not is_allowed("x", FACTS["remark"])
