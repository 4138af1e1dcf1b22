"""A foreign export through its mapping: judged in the user's words, and dangers still act."""

from __future__ import annotations

import json
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.pipeline.check import check_sources
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.sources import read_sources
from pivotlife.pipeline.stages import build, decide, fit, read

EXPORT = (
    "Prüfung vom Mai\n"
    "Nr;Truck;Achse;Side;Joint;Am;km;Spiel;Befund\n"
    "1;MD-001;1;Street;Spring eye;31.12.2024;12.345,5;3,5;B1\n"
    "2;MD-001;1;street;spring  EYE;01.01.2025;12.400;1.5;b2\n"
    "3;MD-001;1;curb;Spring eye;32.01.2025;12.400;;B9\n"
)
MAPPING = """\
path = "export.csv"
encoding = "cp1252"
separator = ";"
decimal = ","
thousands = "."
skip_rows = 1
date_format = "%d.%m.%Y"
[sources.readings.columns]
reading_id = "Nr"
unit_id = "Truck"
axle = "Achse"
side = "Side"
node = "Joint"
reading_date = "Am"
odometer = "km"
free_play = "Spiel"
finding = "Befund"
[sources.readings.values.side]
street = "left"
[sources.readings.values.node]
"spring eye" = "fixed-eye"
[sources.readings.values.finding]
B1 = "ok"
B2 = "cracked"
[sources.readings.units]
free_play = "mm"
odometer = "km"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "export.csv").write_bytes(EXPORT.encode("cp1252"))
    return tmp_path


def test_good_rows_are_canonical(intake: ModuleType, folder: Path) -> None:
    judged = judge(read_sources(intake.write_settings(folder, readings=MAPPING)))
    row = judged.tables["readings"].iloc[0]
    assert row["pivot_id"] == "MD-001.1.left.fixed-eye"
    assert row["reading_date"] == pd.Timestamp("2024-12-31")
    assert row["odometer_miles"] == pytest.approx(12_345.5 / 1.609344)
    assert (row["free_play_mm"], row["free_play_as_written"], row["free_play_unit"]) == (
        3.5,
        "3,5",
        "mm",
    )
    assert row["finding"] == "ok"


def test_faults_speak_of_the_users_headers(intake: ModuleType, folder: Path) -> None:
    quarantine = judge(read_sources(intake.write_settings(folder, readings=MAPPING))).quarantine
    point, several = quarantine["reasons"]
    assert point == (
        "free_play.point: free_play (header 'Spiel') '1.5' has a decimal point, but the settings "
        "declare a comma"
    )
    assert "reading_date (header 'Am') '32.01.2025' is not a date written %d.%m.%Y" in several
    assert "side (header 'Side') 'curb' is none of left, right" in several
    assert "finding (header 'Befund') 'B9' is none of" in several
    assert quarantine["row_number"].tolist() == [4, 5]
    assert json.loads(quarantine["row"].iloc[1])["Befund"] == "B9"


def test_a_withheld_row_with_a_mapped_danger_still_parks(intake: ModuleType, folder: Path) -> None:
    import datetime as dt

    from pivotlife.pipeline.progress import Progress

    settings = intake.write_settings(folder, readings=MAPPING)
    progress = Progress(stages=5, quiet=True)
    taken = read(settings, progress)
    assert taken.judged.withheld["readings"]["finding"].tolist() == ["cracked", ""]
    records = build(taken, settings, dt.date(2025, 2, 1), progress)
    decisions = decide(records, fit(records, settings, progress), settings, progress)
    orders = decisions.orders.set_index("rule")["decision"].to_dict()
    assert orders["park-finding"] == "park"
    # A code that nobody mapped asks for a look at the unit.
    assert "readings:3" in ";".join(decisions.orders["source_rows"])


def test_check_counts_what_the_mapping_lets_pass(intake: ModuleType, folder: Path) -> None:
    outcome = check_sources(intake.write_settings(folder, readings=MAPPING))
    assert "readings: finding 'B1' counts as 'ok' in 1 rows" in outcome.text
    assert outcome.faults == 2
    assert '# "B9" = ""  # 1 rows; what is meant?' in outcome.text
    assert "export.csv row 4 (2): free_play.point" in outcome.text


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('encoding = "cp1252"\n', ""), r"is not UTF-8 text \(byte 0xfc on line 1\)"),
        (('separator = ";"\n', ""), r'separated by semicolons: set separator = ";"$'),
        (("skip_rows = 1\n", ""), "which the file does not have"),
    ],
)
def test_one_line_where_the_file_is_written_otherwise(
    intake: ModuleType, folder: Path, change: tuple[str, str], says: str
) -> None:
    mapping = MAPPING.replace(*change)
    if "separator" in change[0]:
        mapping = mapping.split("[sources")[0]
    with pytest.raises(SourceError, match=says) as refusal:
        read_sources(intake.write_settings(folder, readings=mapping))
    assert "\n" not in str(refusal.value)


def test_an_undeclared_decimal_comma_is_withheld(intake: ModuleType, folder: Path) -> None:
    mapping = MAPPING.replace('decimal = ","\nthousands = "."\n', "")
    judged = judge(read_sources(intake.write_settings(folder, readings=mapping)))
    assert "free_play.comma" in judged.quarantine["reasons"].iloc[0]
    assert judged.withheld["readings"]["free_play_mm"].iloc[0] == 3.5


def test_a_unit_of_its_own_for_each_quantity(intake: ModuleType, tmp_path: Path) -> None:
    units = (
        "unit_id,depot,duty,in_service_date,spring_width,pin_diameter,length_unit\n"
        "MD-001,Northpit,regional,2019-01-01,4,25,\nMD-002,Northpit,regional,2019-01-01,4,1,in\n"
    )
    lines = 'path = "units.csv"\n[sources.units.units]\nspring_width = "in"\npin_diameter = "mm"'
    judged = judge(
        read_sources(intake.write_settings(tmp_path, files={"units": units}, units=lines))
    )
    table = judged.tables["units"]
    assert table["spring_width_mm"].tolist() == pytest.approx([101.6, 101.6])
    assert table["pin_diameter_mm"].tolist() == pytest.approx([25.0, 25.4])
    assert table["length_unit"].tolist() == ["", "in"]
