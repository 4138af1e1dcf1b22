"""Every row judged: each fault by its code and words, all at once, nothing lost."""

from __future__ import annotations

import json
import re

import pandas as pd
import pytest

from judge_rows import PIVOT, READING, UNIT, raw_of, reading_of, reason_of
from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import judged_columns
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.raw_table import RawTable


def test_a_good_row_in_every_judged_column() -> None:
    row = reading_of(odometer_unit="km", odometer="160934.4").tables["readings"].iloc[0]
    assert row["odometer_miles"] == pytest.approx(100_000.0, rel=1e-15)
    assert row["free_play_mm"] == pytest.approx(1.27, rel=1e-15)
    assert row["free_play_as_written"] == "0.05"
    assert row["free_play_unit"] == "in"
    assert row["reading_date"] == pd.Timestamp("2020-05-01")
    assert pd.isna(row["entered_date"])
    assert row["remark"] == ""
    assert row["axle"] == 1.0
    assert row["pivot_id"] == "MD-001.1.left.fixed-eye"
    assert (row["table"], row["row_number"], row["row_id"]) == ("readings", 2, "R1")
    assert row["source_row"] == "readings:R1"


def test_one_eighth_inch_is_exactly_3175_micrometres() -> None:
    for play, unit in (
        ("0.125", "in"),
        ("1/8", '"'),
        ("2", "1/16"),
        ("125", "thou"),
        ("4", "1/32"),
    ):
        row = reading_of(free_play=play, free_play_unit=unit).tables["readings"].iloc[0]
        assert row["free_play_mm"] == pytest.approx(3.175, abs=1e-12), (play, unit)
    assert (
        reading_of(free_play="1", free_play_unit="1/16").tables["readings"].loc[0, "free_play_mm"]
        == 1.5875
    )


def test_words_dates_and_names_compare_loosely() -> None:
    row = (
        reading_of(
            unit_id=" md-001",
            side="Left ",
            node="FIXED EYE",
            finding="Rust_in-purge",
            takes_grease="N",
            reading_date="2020-05-01T13:45:00",
            free_play_unit="Inches",
        )
        .tables["readings"]
        .iloc[0]
    )
    assert row["pivot_id"] == "MD-001.1.left.fixed-eye"
    assert row["unit_id"] == "MD-001"
    assert row["finding"] == "rust-in-purge"
    assert row["takes_grease"] == "no"
    assert row["reading_date"] == pd.Timestamp("2020-05-01")
    assert row["free_play_unit"] == "in"


def test_all_ten_tables_are_there_with_their_columns() -> None:
    judged = judge({})
    assert set(judged.tables) == set(judged.withheld) == set(CONTRACTS)
    for name, schema in CONTRACTS.items():
        frame = judged.tables[name]
        assert frame.empty
        assert frame.columns.tolist()[: len(judged_columns(schema))] == judged_columns(schema)
        assert {"table", "row_number", "row_id", "source_row"} <= set(frame.columns)
    assert "pivot_id" in judged.tables["repairs"]
    assert "pivot_id" not in judged.tables["lube"]
    assert judged.tables["readings"]["reading_date"].dtype == "datetime64[ns]"
    assert judged.tables["readings"]["free_play_mm"].dtype == "float64"
    assert {"free_play_number", "finding_as_written", "reasons"} <= set(
        judged.withheld["readings"].columns
    )
    assert judged.quarantine.columns.tolist() == [
        "table",
        "row_number",
        "row_id",
        "reasons",
        "row",
        "file",
    ]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"reading_id": ""}, "reading_id.missing: reading_id is blank"),
        ({"odometer": " "}, "odometer.missing: odometer is blank"),
        ({"odometer": "abc"}, "odometer.not_a_number: odometer 'abc' is not a number"),
        ({"odometer": "nan"}, "odometer.not_a_number: odometer 'nan' is not a number"),
        ({"odometer": "1e99"}, "odometer.not_a_number: odometer '1e99' is not a number"),
        (
            {"odometer": "123,456"},
            (
                "odometer.thousands_comma: odometer '123,456' has a comma for thousands: "
                "write it without"
            ),
        ),
        (
            {"free_play": "1,5"},
            "free_play.comma: free_play '1,5' has a comma: write a decimal point",
        ),
        (
            {"free_play": "0.06 in"},
            (
                "free_play.unit_in_number: free_play '0.06 in' is more than a number: "
                "put the unit in free_play_unit"
            ),
        ),
        ({"odometer": "-5"}, "odometer.negative: odometer '-5' is below zero"),
        ({"free_play": "-0.1"}, "free_play.negative: free_play '-0.1' is below zero"),
        (
            {"free_play": "60"},
            "free_play.too_large: free_play '60' is larger than an inch: wrong unit?",
        ),
        (
            {"free_play_unit": ""},
            "free_play.no_unit: free_play has no unit (written '0.05'): fill in free_play_unit",
        ),
        (
            {"free_play_unit": "gallons"},
            (
                "free_play_unit.unknown_unit: free_play_unit 'gallons' cannot be used: "
                "'gallons' is not a unit of length"
            ),
        ),
        (
            {"odometer_unit": "m"},
            (
                "odometer_unit.unknown_unit: odometer_unit 'm' cannot be used: "
                "'m' could mean miles or metres"
            ),
        ),
        (
            {"free_play": "1/8", "free_play_unit": "mm"},
            "free_play.fraction: free_play '1/8' is a fraction: fractions are read in inches only",
        ),
        ({"axle": "1.5"}, "axle.not_whole: axle '1.5' is not a whole number"),
        ({"axle": "12"}, "axle.out_of_range: axle '12' is not from 1 to 9"),
        ({"axle": "front"}, "axle.not_a_number: axle 'front' is not a number"),
        ({"side": "lft"}, "side.not_allowed: side 'lft' is none of left, right"),
        (
            {"node": "kingpin"},
            "node.not_allowed: node 'kingpin' is none of fixed-eye, shackle-lower, shackle-upper",
        ),
        (
            {"reading_date": "05/03/2020"},
            "reading_date.not_a_date: reading_date '05/03/2020' is not a date written YYYY-MM-DD",
        ),
        (
            {"reading_date": "2020-02-30"},
            "reading_date.not_a_date: reading_date '2020-02-30' is not a date written YYYY-MM-DD",
        ),
        (
            {"entered_date": "1900-01-01"},
            (
                "entered_date.implausible_date: entered_date '1900-01-01' is not between "
                "1950-01-01 and 2100-12-31"
            ),
        ),
        ({"unit_id": "MD-999"}, "unit_id.unknown: unit_id 'MD-999' is not in units"),
        ({"unit_id": ""}, "unit_id.missing: unit_id is blank"),
        (
            {"ragged_row": "12 cells under 10 headers"},
            "row.ragged: row has 12 cells under 10 headers",
        ),
    ],
)
def test_each_fault_by_its_words(changed: dict[str, str], says: str) -> None:
    judged = reading_of(**changed)
    assert reason_of(judged) == says
    assert judged.tables["readings"].empty
    assert judged.withheld["readings"]["reasons"].tolist() == [says]


def test_what_is_no_fault() -> None:
    for changed in (
        {"axle": "", "side": ""},
        {"free_play": "", "free_play_unit": ""},
        {"free_play": "", "free_play_unit": "gallons"},
        {"axle": "2.0"},
        {"free_play": "1", "free_play_unit": "in"},
        {"odometer": "+1.2e5"},
    ):
        judged = reading_of(**changed)
        assert judged.quarantine.empty, changed
        assert len(judged.tables["readings"]) == 1
    assert reading_of(side="").tables["readings"].loc[0, "pivot_id"] == ""


def test_all_faults_of_a_row_at_once_in_column_order() -> None:
    reason = reason_of(
        reading_of(unit_id="MD-9", side="lft", odometer="x", finding="fine", axle="0")
    )
    codes = re.findall(r"([a-z_]+\.[a-z_]+):", reason)
    assert codes == [
        "unit_id.unknown",
        "axle.out_of_range",
        "side.not_allowed",
        "odometer.not_a_number",
        "finding.not_allowed",
    ]


def test_the_quarantined_row_is_kept_word_for_word() -> None:
    judged = reading_of(side="lft", remark='=1+1, "quoted" Zoë', colour="red")
    row = judged.quarantine.iloc[0]
    assert json.loads(row["row"]) == READING | {
        "side": "lft",
        "remark": '=1+1, "quoted" Zoë',
        "colour": "red",
    }
    assert (row["table"], row["row_number"], row["row_id"]) == ("readings", 2, "R1")


def test_rows_repeated_word_for_word_are_kept_once() -> None:
    lube = {"unit_id": "MD-001", "lube_date": "2020-01-01", "odometer": "1"}
    judged = judge(
        raw_of(readings=[READING, READING | {"reading_id": "R2"}, READING], lube=[lube, lube, lube])
    )
    assert judged.tables["readings"]["reading_id"].tolist() == ["R1", "R2"]
    assert len(judged.tables["lube"]) == 1
    assert judged.quarantine.empty
    assert judged.duplicates.to_numpy().tolist() == [
        ["readings", 4, "R1", "repeats row 2 word for word", "", 2, ""],
        ["lube", 3, "row 3", "repeats row 2 word for word", "", 2, ""],
        ["lube", 4, "row 4", "repeats row 2 word for word", "", 2, ""],
    ]


def test_an_id_with_other_content_is_withheld_from_its_second_row_on() -> None:
    judged = judge(raw_of(readings=[READING, READING | {"odometer": "61000"}]))
    assert judged.tables["readings"]["odometer_miles"].tolist() == [60000.0]
    assert reason_of(judged) == (
        "reading_id.repeated: reading_id 'R1' is in row 2 already, with other content"
    )


def test_a_unit_named_twice_counts_once() -> None:
    judged = judge(raw_of(units=[UNIT, UNIT | {"unit_id": "md-001", "depot": "Lowfen"}]))
    assert judged.tables["units"]["depot"].tolist() == ["Northpit"]
    assert reason_of(judged).startswith("unit_id.repeated: unit_id 'md-001' is in row 2 already")
    assert len(judged.tables["pivots"]) == 1


def test_a_pivot_named_twice_counts_once() -> None:
    judged = judge(raw_of(pivots=[PIVOT, PIVOT | {"side": "Left", "bushing_type": "roller"}]))
    assert judged.tables["pivots"]["bushing_type"].tolist() == ["threaded"]
    assert reason_of(judged) == (
        "row.repeated: unit_id 'MD-001', axle '1', side 'Left', node 'fixed-eye' is in row 2 "
        "already, with other content"
    )


def test_rows_of_a_unit_whose_own_row_is_faulty() -> None:
    judged = judge(raw_of(units=[UNIT | {"duty": "long-haul"}], readings=[READING]))
    reasons = judged.quarantine.set_index("table")["reasons"]
    assert reasons["units"].startswith("duty.not_allowed: duty 'long-haul' is none of line-haul")
    assert reasons["readings"] == (
        "unit_id.quarantined: unit_id 'MD-001' has a faulty row in units; mend that first"
    )
    assert judged.withheld["readings"]["pivot_id"].tolist() == ["MD-001.1.left.fixed-eye"]


def test_a_unit_that_left_before_it_came() -> None:
    judged = judge(raw_of(units=[UNIT | {"left_fleet_date": "2018-12-31"}], pivots=[]))
    assert reason_of(judged) == (
        "left_fleet_date.before_in_service: left_fleet_date '2018-12-31' is before "
        "in_service_date '2019-01-01'"
    )


def test_sizes_of_parts_need_their_unit() -> None:
    judged = judge(raw_of(units=[UNIT | {"pin_diameter": "30", "spring_width": "100"}], pivots=[]))
    assert reason_of(judged) == (
        "spring_width.no_unit: spring_width has no unit (written '100'): fill in length_unit; "
        "pin_diameter.no_unit: pin_diameter has no unit (written '30'): fill in length_unit"
    )
    judged = judge(raw_of(units=[UNIT | {"pin_diameter": "1", "length_unit": "in"}]))
    assert judged.tables["units"].loc[0, "pin_diameter_mm"] == 25.4


def test_a_kit_whose_outside_belongs_to_another_node() -> None:
    kit = {"kit_id": "K1", "bushing_type": "roller", "node": "shackle-upper", "outside": "ribbed"}
    judged = judge(raw_of(kits=[kit, kit | {"node": "fixed-eye"}]))
    assert judged.tables["kits"]["node"].tolist() == ["fixed-eye"]
    assert reason_of(judged) == (
        "outside.wrong_node: outside 'ribbed' does not go with node 'shackle-upper', "
        "which takes 'smooth'"
    )


def test_depots_are_spelled_as_in_units() -> None:
    week = {"depot": "NORTHPIT", "week_start": "2024-01-01", "bay_hours": "40"}
    judged = judge(raw_of(capacity=[week, week | {"depot": "Northpit "}]))
    assert judged.tables["capacity"]["depot"].tolist() == ["Northpit"]
    assert reason_of(judged).startswith("row.repeated: depot 'Northpit', week_start '2024-01-01'")


def test_extra_columns_are_kept_and_never_hide_judged_ones() -> None:
    row = reading_of(colour="red", pivot_id="mine", free_play_mm="7").tables["readings"].iloc[0]
    assert row["colour"] == "red"
    assert row["pivot_id"] == "MD-001.1.left.fixed-eye"
    assert row["pivot_id_as_given"] == "mine"
    assert row["free_play_mm"] == pytest.approx(1.27)
    assert row["free_play_mm_as_given"] == "7"


def test_rows_of_joined_files_are_told_apart() -> None:
    raw = raw_of(
        lube=[{"unit_id": "MD-001", "lube_date": f"2020-01-0{n}", "odometer": "1"} for n in (1, 2)]
    )
    table = raw["lube"]
    frame = table.frame.assign(row_number=2, file=["in/a.csv", "in/b.csv"])
    judged = judge(raw | {"lube": RawTable("lube", table.path, frame)})
    assert judged.tables["lube"]["source_row"].tolist() == [
        "lube:row 2 of in/a.csv",
        "lube:row 2 of in/b.csv",
    ]
