"""What values call for: meanings, units, dates, signs; questions where a person must decide."""

from __future__ import annotations

import pandas as pd

from pivotlife.pipeline.dialect import Dialect
from pivotlife.pipeline.value_proposals import ValueProposals, propose_values


def _found(dialect: Dialect = Dialect(), **columns: list[str]) -> ValueProposals:  # noqa: B008  frozen
    frame = pd.DataFrame(columns)
    return propose_values(frame, "readings", {name: name for name in columns}, dialect)


def test_known_words_are_proposed_and_unknown_ones_listed() -> None:
    found = _found(finding=["OK", "Torn", "B2", "B2", ""], axle=["steer", "2", "x", "1", "1"])
    assert found.words == {"finding": {"Torn": "split"}, "axle": {"steer": "1"}}
    assert found.unknown == {"finding": {"B2": 2}, "axle": {"x": 1}}
    assert not _found(Dialect(meanings={"finding": {"B2": "ok"}}), finding=["b2", "ok"])


def test_units_by_header_or_as_a_question() -> None:
    frame = pd.DataFrame({"Play (mm)": ["3"], "Odo km": ["5000"]})
    headers = {"free_play": "Play (mm)", "odometer": "Odo km"}
    found = propose_values(frame, "readings", headers)
    assert found.units == {"free_play": "mm", "odometer": "km"}
    [question] = _found(free_play=["3"]).questions
    assert "in which unit is free_play" in question
    assert not _found(free_play=["3"], free_play_unit=["mm"]).questions
    assert _found(free_play=["3"], free_play_unit=["Zoll"]).unknown == {
        "free_play_unit": {"Zoll": 1}
    }


def test_dates_that_can_be_one_thing_only() -> None:
    assert _found(reading_date=["31.12.2024", "01.02.2024"]).date_format == ("%d.%m.%Y",)
    assert _found(reading_date=["2024-12-31", "2024-01-01 08:00"]).date_format == ()
    open_one = _found(reading_date=["01/02/2024", "03/04/2024"])
    assert open_one.date_format == ()
    assert "which is day and which is month in '01/02/2024'" in open_one.questions[0]


def test_signs_in_numbers() -> None:
    comma = _found(free_play=["3,5"], free_play_unit=["mm"], odometer=["123.456"])
    assert (comma.decimal, comma.thousands) == (",", "")
    both = _found(odometer=["123.456,5", "1.000,25"])
    assert (both.decimal, both.thousands) == (",", ".")
    english = _found(odometer=["1,234.5"])
    assert (english.decimal, english.thousands) == ("", ",")
    open_one = _found(odometer=["123,456"])
    assert (open_one.decimal, open_one.thousands) == ("", "")
    assert "is the comma in '123,456' a decimal sign" in open_one.questions[0]
