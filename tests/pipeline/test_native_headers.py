"""Foreign headers under native names; nothing of the file stays unread behind a mapping."""

from __future__ import annotations

import pandas as pd
import pytest

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.native_headers import (
    refuse_other_unit,
    seeming_separator,
    with_native_headers,
)

FRAME = pd.DataFrame(
    {
        "Insp No": ["1"],
        "Truck": ["MD-001"],
        "On": ["2020-01-01"],
        "odometer": ["5"],
        "Look": ["ok"],
        "row_number": [2],
    }
)
COLUMNS = {"reading_id": ("Insp No",), "unit_id": ("Unit", "Truck"), "reading_date": ("On",)}


def test_headers_are_renamed_and_remembered() -> None:
    native, renamed = with_native_headers(FRAME, "readings", COLUMNS, "f")
    assert set(native.columns) == {
        *("reading_id", "unit_id", "reading_date", "odometer", "Look", "row_number"),
    }
    assert native["unit_id"].tolist() == ["MD-001"]
    assert renamed == {"reading_id": "Insp No", "unit_id": "Truck", "reading_date": "On"}


def test_one_header_may_feed_two_columns() -> None:
    columns = {**COLUMNS, "entered_date": ("On",), "odometer": ("odometer",)}
    native, _ = with_native_headers(FRAME, "readings", columns, "f")
    assert native["entered_date"].tolist() == native["reading_date"].tolist() == ["2020-01-01"]
    assert native["odometer"].tolist() == ["5"]


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"unit_id": ("Trick",)}, r"unit_id from the header 'Trick', .* \(nearest: 'Truck'\)"),
        ({"unit_id": ("Truck", "On")}, "'Truck' or 'On', and the file has both; name one"),
        ({"odometer": ("Look",)}, "file also has a column 'odometer', which nobody would read"),
        ({"remark": ("odometer",)}, "which is itself a column of readings; say where odometer is"),
        ({}, r"f: lacks the column 'reading_id', 'unit_id', 'reading_date' \(nearest"),
    ],
)
def test_what_is_refused(columns: dict[str, tuple[str, ...]], says: str) -> None:
    with pytest.raises(SourceError, match=says) as refusal:
        with_native_headers(FRAME, "readings", columns, "f")
    assert "\n" not in str(refusal.value)


def test_a_finding_cannot_be_hidden_behind_a_remark() -> None:
    frame = FRAME.rename(columns={"Look": "finding"})
    with pytest.raises(SourceError, match="say where finding is to be read from"):
        with_native_headers(frame, "readings", {**COLUMNS, "remark": ("finding",)}, "f")


def test_a_declared_unit_may_not_contradict_the_header() -> None:
    frame = pd.DataFrame({"Play (in)": ["0.2"], "Odo [km]": ["5"]})
    columns = {"free_play": ("Play (in)",), "odometer": ("Odo [km]",)}
    refuse_other_unit(frame, "readings", columns, {"free_play": "inch", "odometer": "km"}, "f")
    for units in ({"free_play": "mm"}, {"free_play_unit": "thou"}):
        with pytest.raises(SourceError, match=r"its header 'Play \(in\)' says 'in'; one of"):
            refuse_other_unit(frame, "readings", columns, units, "f")


def test_seeming_separator() -> None:
    assert seeming_separator(["a;b;c"]) == ";"
    assert seeming_separator(["a\tb"]) == "\t"
    assert seeming_separator(["a"]) == ""
    assert seeming_separator(["a;b", "c"]) == ""
