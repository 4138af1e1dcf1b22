"""Sources named in the settings: found, joined, refused in the user's own words."""

from __future__ import annotations

from pathlib import Path

import pytest

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.settings import Settings, SourceSettings
from pivotlife.pipeline.sources import near_misses, read_sources

FILES = {
    "units": "unit_id,depot,duty,in_service_date\nMD-001,Northpit,regional,2019-01-01\n",
    "pivots": "unit_id,axle,side,node,bushing_type\nMD-001,1,left,fixed-eye,threaded\n",
    "readings": "reading_id,unit_id,reading_date,odometer,colour\nR1,MD-001,2020-01-01,5000,red\n",
    "repairs": "repair_id,unit_id,repair_date,odometer,action\nP1,MD-001,2020-02-01,1,replaced\n",
}


def _settings(folder: Path, **changed: str) -> Settings:
    for name, content in FILES.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    paths = {name: f"{name}.csv" for name in FILES} | changed
    return Settings(
        sources={name: SourceSettings(path=path) for name, path in paths.items() if path},
        folder=folder,
        file=Path("fleet.toml"),
    )


def test_every_named_table_is_read_as_text(tmp_path: Path) -> None:
    raw = read_sources(_settings(tmp_path))
    assert list(raw) == ["units", "pivots", "readings", "repairs"]
    readings = raw["readings"]
    assert readings.name == "readings"
    assert readings.path == tmp_path / "readings.csv"
    assert readings.frame["odometer"].tolist() == ["5000"]
    assert readings.frame["colour"].tolist() == ["red"]
    assert readings.frame["row_number"].tolist() == [2]
    assert readings.frame["file"].tolist() == ["readings.csv"]


def test_a_pattern_joins_files_with_different_columns(tmp_path: Path) -> None:
    settings = _settings(tmp_path, readings="readings-*.csv")
    (tmp_path / "readings-a.csv").write_text(FILES["readings"], encoding="utf-8")
    (tmp_path / "readings-b.csv").write_text(
        "unit_id,reading_id,odometer,reading_date,tool,x\nMD-001,R2,1,2020-01-01,dial,1,2\n",
        "utf-8",
    )
    frame = read_sources(settings)["readings"].frame
    assert frame["reading_id"].tolist() == ["R1", "R2"]
    assert frame["row_number"].tolist() == [2, 2]
    assert frame["colour"].tolist() == ["red", ""]
    assert frame["tool"].tolist() == ["", "dial"]
    assert frame["file"].tolist() == ["readings-a.csv", "readings-b.csv"]
    assert frame["ragged_row"].tolist() == ["", '7 cells under 6 headers, too many: ["2"]']


def test_a_file_whose_name_looks_like_a_pattern(tmp_path: Path) -> None:
    settings = _settings(tmp_path, readings="readings[1].csv")
    (tmp_path / "readings[1].csv").write_text(FILES["readings"], encoding="utf-8")
    assert len(read_sources(settings)["readings"].frame) == 1


def test_an_absolute_pattern(tmp_path: Path) -> None:
    settings = _settings(tmp_path, readings=str(tmp_path / "read*.csv"))
    assert len(read_sources(settings)["readings"].frame) == 1


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (
            {"readings": "none.csv"},
            r'fleet.toml: \[sources.readings\] path = "none.csv": no such file; paths are relative',
        ),
        ({"readings": "none*.csv"}, r'path = "none\*.csv": no file matches'),
        ({"readings": "."}, r'path = "." is a folder; name the file in it'),
        ({"repairs": ""}, r"fleet.toml: no source for repairs; add \[sources.repairs\]"),
        ({"reading": "x.csv"}, r"sources.reading is no table \(nearest: 'readings'\)"),
    ],
)
def test_a_source_that_is_not_there(tmp_path: Path, changed: dict[str, str], says: str) -> None:
    with pytest.raises(SourceError, match=says) as refusal:
        read_sources(_settings(tmp_path, **changed))
    assert "\n" not in str(refusal.value)


def test_a_missing_column_names_the_nearest_header_and_all_of_them(tmp_path: Path) -> None:
    settings = _settings(tmp_path)
    (tmp_path / "readings.csv").write_text(
        "Reading_ID,unit_id,reading_date,odometer\n", encoding="utf-8"
    )
    says = (
        r"readings: readings.csv: lacks the column 'reading_id' \(nearest: 'Reading_ID'\); "
        "its headers are Reading_ID, unit_id, reading_date, odometer; name its header under "
        r"\[sources.readings.columns\], `pivotlife check` proposes$"
    )
    with pytest.raises(SourceError, match=says):
        read_sources(settings)


def test_another_separator_is_recognised(tmp_path: Path) -> None:
    settings = _settings(tmp_path)
    (tmp_path / "units.csv").write_text(FILES["units"].replace(",", ";"), encoding="utf-8")
    with pytest.raises(SourceError, match=r'separated by semicolons: set separator = ";"$'):
        read_sources(settings)


def test_a_misspelt_optional_column_is_pointed_out(tmp_path: Path) -> None:
    settings = _settings(tmp_path)
    (tmp_path / "readings.csv").write_text(
        "reading_id,unit_id,reading_date,odometer,free_pley,colour\n", encoding="utf-8"
    )
    assert near_misses(read_sources(settings)["readings"]) == [
        "readings: column 'free_pley' is not used; was 'free_play' meant?"
    ]
