"""Inspection sheets there and back: written, filled in as a fitter would, read, judged, placed."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import openpyxl
import pandas as pd
import pytest

from pivotlife.pipeline import stages
from pivotlife.pipeline.check import check_sources
from pivotlife.pipeline.errors import SettingsError, SourceError
from pivotlife.pipeline.inspection_sheets import SheetFiles, due_rows, write_sheets
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.run_notes import sheet_note
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources

LATER = dt.timedelta(days=20)


class Fleet(SimpleNamespace):
    """A fleet's settings, the day, and the sheets written for it."""

    settings: Path
    day: dt.date
    sheets: SheetFiles

    def own(self, folder: Path, more: str = "") -> Settings:
        """Give settings of their own that read `folder`/*.xlsx as filled sheets."""
        text = self.settings.read_text(encoding="utf-8")
        text = text.replace('path = "', f'path = "{self.settings.parent.as_posix()}/')
        source = f'\n[sources.sheets]\npath = "*.xlsx"\n{more}'
        (folder / "settings.toml").write_text(text + source, encoding="utf-8")
        return load_settings(folder / "settings.toml")


@pytest.fixture(scope="module")
def fleet(
    small_fleet: Callable[..., Path], last_day: dt.date, tmp_path_factory: pytest.TempPathFactory
) -> Fleet:
    path = small_fleet(units=24)
    settings = load_settings(path)
    quiet = Progress(stages.COUNT, quiet=True)
    records = stages.build(stages.read(settings, quiet), settings, last_day, quiet)
    out = tmp_path_factory.mktemp("sheets")
    sheets = write_sheets(due_rows(records, last_day), settings, last_day, out)
    return Fleet(settings=path, day=last_day, sheets=sheets)


class Filling:
    """One sheet opened as a fitter opens it."""

    def __init__(self, fleet: Fleet, folder: Path) -> None:
        source = next(path for path in fleet.sheets.paths if path.suffix == ".xlsx")
        self.path = folder / source.name
        self.book = openpyxl.load_workbook(source)
        self.sheet = self.book["readings"]
        self.place = {cell.value: cell.column for cell in self.sheet[1]}
        self.day = dt.datetime.combine(fleet.day + LATER, dt.time())

    def write(self, row: int, **cells: Any) -> str:
        """Write into a row's cells; give the row's reading_id."""
        for name, value in cells.items():
            self.sheet.cell(row, self.place[name], value)
        return str(self.sheet.cell(row, self.place["reading_id"]).value)

    def good(self, row: int, **cells: Any) -> str:
        whole = {"reading_date": self.day, "odometer": 600_000, "free_play": 0.06}
        words = {"free_play_unit": "in", "finding": "ok", "takes_grease": "yes"}
        return self.write(row, **(whole | words | cells))

    def save(self, name: str = "") -> Path:
        path = self.path.with_name(name) if name else self.path
        self.book.save(path)
        return path


@pytest.fixture
def filling(fleet: Fleet, tmp_path: Path) -> Filling:
    return Filling(fleet, tmp_path)


def readings_of(fleet: Fleet, folder: Path, more: str = "") -> tuple[pd.DataFrame, pd.DataFrame]:
    """Ledger and placed readings of the sheets in a folder, standing a month later."""
    settings = fleet.own(folder, more)
    quiet = Progress(stages.COUNT, quiet=True)
    intake = stages.read(settings, quiet)
    records = stages.build(intake, settings, fleet.day + 2 * LATER, quiet)
    ledger = records.ledger[records.ledger["file"].str.endswith(".xlsx")]
    read = records.histories.readings
    return ledger.set_index("row_id"), read[read["file"].str.endswith(".xlsx")]


def test_filled_rows_come_back_as_readings_of_their_sheet(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    first = filling.good(
        2, tool="dial gauge", greased_before="no", after_repair="no", inspector="A. Invented",
        side_bar_centres=4, spring_width=4, bushing_outside_diameter=1.5, length_unit="in",
    )  # fmt: skip
    second = filling.good(5, free_play=1.5, free_play_unit="mm", finding=None)
    file = filling.save()
    ledger, read = readings_of(fleet, tmp_path)
    assert sorted(ledger.index) == sorted([first, second])
    assert ledger["table"].unique().tolist() == ["readings"]
    assert ledger["file"].unique().tolist() == [file.name]
    assert ledger.loc[first, "row_number"] == 2
    assert ledger.loc[second, "row_number"] == 5
    assert (ledger["fate"] == "reading").all()
    row = read.set_index("row_id").loc[first]
    assert row["free_play_mm"] == pytest.approx(1.524)
    assert row["pivot_id"] == first[3:-9]
    assert row["side_bar_centres_mm"] == pytest.approx(101.6)
    assert row["bushing_outside_diameter_mm"] == pytest.approx(38.1)
    assert (row["tool"], row["greased_before"]) == ("dial gauge", "no")
    raw = read_sources(fleet.own(tmp_path))
    blank = filling.sheet.max_row - 1 - 2
    assert raw["readings"].sheets == (1, 2, blank)
    assert sheet_note(raw) == [
        f"1 inspection sheets brought 2 rows; {blank} rows were left blank and are skipped."
    ]
    assert "sheets: 1 inspection sheets brought 2 rows" in check_sources(fleet.own(tmp_path)).text


def test_every_fault_of_a_row_is_told_and_its_danger_stands(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    filling.sheet.insert_rows(4, 2)  # blank lines between the rows
    messy = filling.good(2, free_play="0,06", odometer="about 600 thousand", finding="split?")
    no_unit = filling.good(3, free_play_unit=None)
    part = filling.write(6, finding="broken")
    fine = filling.good(7, finding=" OK ", takes_grease="Y", free_play=" 1/16 ")
    filling.save()
    ledger, read = readings_of(fleet, tmp_path)
    assert (ledger.loc[[messy, no_unit, part], "fate"] == "quarantined").all()
    for told in ("free_play", "comma", "odometer", "finding.not_allowed"):
        assert told in ledger.loc[messy, "reason"]
    assert "free_play_unit" in ledger.loc[no_unit, "reason"]
    assert "reading_date.missing" in ledger.loc[part, "reason"]
    assert ledger.loc[fine, "fate"] == "reading"
    assert ledger.loc[fine, "row_number"] == 7
    assert read["free_play_mm"].tolist() == pytest.approx([1.5875])
    settings = fleet.own(tmp_path)
    quiet = Progress(stages.COUNT, quiet=True)
    records = stages.build(stages.read(settings, quiet), settings, fleet.day + LATER, quiet)
    evidence = records.evidence.evidence
    assert "broken" in set(evidence.loc[evidence["source_row"] == f"readings:{part}", "finding"])


def test_commas_and_days_as_the_depot_writes_them(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    row = filling.good(2, free_play="1,5", free_play_unit="mm", reading_date="17.07.2026")
    filling.save()
    ledger, read = readings_of(fleet, tmp_path, 'decimal = ","\ndate_format = "%d.%m.%Y"\n')
    assert ledger.loc[row, "fate"] == "reading"
    assert read["free_play_mm"].tolist() == [1.5]
    assert read["reading_date"].tolist() == [pd.Timestamp("2026-07-17")]


def test_the_same_sheet_twice_adds_nothing(fleet: Fleet, filling: Filling, tmp_path: Path) -> None:
    row = filling.good(2)
    filling.save()
    filling.save("copy of it.xlsx")
    (tmp_path / "~$copy of it.xlsx").write_bytes(b"lock")
    ledger, read = readings_of(fleet, tmp_path)
    assert ledger.loc[row, "fate"].tolist().count("reading") == 1
    assert ledger.loc[row, "reason"].str.contains("word for word").sum() == 1
    assert len(read) == 1
    filling.good(2, free_play=0.09)
    filling.save("another copy.xlsx")
    ledger, read = readings_of(fleet, tmp_path)
    assert ledger["reason"].str.contains("reading_id.repeated").any()
    assert len(read) == 1


def test_an_edited_position_or_a_row_of_no_sheet_is_a_fault(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    assert filling.sheet.protection.sheet
    assert filling.sheet.cell(2, filling.place["node"]).protection.locked
    assert not filling.sheet.cell(2, filling.place["odometer"]).protection.locked
    side = str(filling.sheet.cell(2, filling.place["side"]).value)
    moved = filling.good(2, side="right" if side == "left" else "left")
    other = filling.good(3, unit_id="MD-999")
    renamed = filling.good(4, reading_id="IS-mine")
    last = filling.sheet.max_row + 1
    added = {"reading_id": "IS-new", "unit_id": "MD-001", "axle": 1, "side": "left"}
    filling.good(last, **added, node="fixed-eye")
    filling.save()
    ledger, read = readings_of(fleet, tmp_path)
    assert (ledger["fate"] == "quarantined").all()
    assert len(ledger) == 4
    assert "row.off_sheet: side" in ledger.loc[moved, "reason"]
    assert "unit_id 'MD-999' was" in ledger.loc[other, "reason"]
    for name in ("IS-mine", "IS-new"):
        assert "is not on this sheet as it was written" in ledger.loc[name, "reason"]
    assert renamed == "IS-mine"
    assert read.empty


def test_what_is_no_sheet_is_refused_in_one_line(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    assert read_sources(fleet.own(tmp_path))["readings"].sheets.files == 0
    with pytest.raises(SettingsError, match=r"sources\.sheets\.columns is not used"):
        fleet.own(tmp_path, '[sources.sheets.columns]\nfinding = "what"\n')
    filling.sheet.cell(1, filling.place["finding"], "condition")
    filling.save()
    with pytest.raises(SourceError, match="header 'finding' is gone"):
        read_sources(fleet.own(tmp_path))
    filling.path.unlink()
    plain = openpyxl.Workbook()
    plain.save(tmp_path / "a list.xlsx")
    with pytest.raises(SourceError, match=r"a list\.xlsx: is no inspection sheet"):
        read_sources(fleet.own(tmp_path))


def test_a_sheet_somebody_wrote_in_is_not_written_over(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    settings = load_settings(fleet.settings)
    quiet = Progress(stages.COUNT, quiet=True)
    records = stages.build(stages.read(settings, quiet), settings, fleet.day, quiet)
    due = due_rows(records, fleet.day)
    made = write_sheets(due, settings, fleet.day, tmp_path)
    write_sheets(due, settings, fleet.day, tmp_path)  # a blank one is
    filling.good(2)
    shutil.copy(filling.save(), next(p for p in made.paths if p.name == filling.path.name))
    with pytest.raises(SourceError, match="1 rows are filled in; move it"):
        write_sheets(due, settings, fleet.day, tmp_path)


@pytest.mark.skipif(shutil.which("soffice") is None, reason="needs LibreOffice (soffice)")
def test_a_sheet_saved_anew_by_an_office_program_reads_alike(
    fleet: Fleet, filling: Filling, tmp_path: Path
) -> None:
    filling.good(2)
    filling.good(5, free_play="1/16", side_bar_centres=4.0, length_unit="in")
    filling.write(6, remark="not reached")
    file = filling.save()
    (tmp_path / "anew").mkdir()
    command = ["soffice", "--headless", f"-env:UserInstallation=file://{tmp_path}/profile"]
    command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(tmp_path / "anew")]
    subprocess.run([*command, str(file)], check=True, capture_output=True, timeout=120)
    before = read_sources(fleet.own(tmp_path))["readings"]
    after = read_sources(fleet.own(tmp_path / "anew"))["readings"]
    assert before.sheets == after.sheets
    names = [name for name in before.frame.columns if name != "file"]
    tail = [table.frame[names].tail(3).astype(object) for table in (before, after)]
    pd.testing.assert_frame_equal(tail[0], tail[1])
