"""Cells put right by hand: applied, told in the ledger, undone in the quarantine, or refused."""

from __future__ import annotations

import json
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.ledger import make_ledger
from pivotlife.pipeline.sources import read_sources

HEAD = "table,row_id,column,old_value,new_value,reason,by\n"
READINGS = (
    "reading_id,unit_id,axle,side,node,reading_date,odometer,free_play,free_play_unit,finding\n"
    "R1,MD-001,1,left,fixed-eye,2020-01-01,5000,32,mm,\n"
    "R2,MD-001,1,left,fixed-eye,2020-02-01,6000,3,mm,cracked\n"
    "R3,MD-001,1,left,fixed-eye,2020-13-01,7000,3,mm,seized\n"
)
LUBE = "unit_id,lube_date,odometer\nMD-001,2020-01-01,100\nMD-001,2020-02-01,2000\n"


def _read(intake: ModuleType, folder: Path, *lines: str, **sources: str) -> dict[str, object]:
    files = {"readings": READINGS, "lube": LUBE, "corrections": HEAD + "\n".join(lines) + "\n"}
    sources = {"lube": 'path = "lube.csv"', "corrections": 'path = "corrections.csv"'} | sources
    return read_sources(intake.write_settings(folder, files=files, **sources))


def test_a_corrected_cell_is_judged_and_told(intake: ModuleType, tmp_path: Path) -> None:
    raw = _read(
        intake,
        tmp_path,
        "readings,R1,free_play,32,3.2,lost point,workshop lead",
        "readings,R1,finding,,ok,not typed in,workshop lead",
        "lube,row 2,odometer,100,1000,a digit was lost,clerk",
    )
    judged = judge(raw)
    first = judged.tables["readings"].iloc[0]
    assert (first["free_play_mm"], first["finding"]) == (3.2, "ok")
    assert judged.tables["lube"]["odometer_miles"].tolist() == [1000.0, 2000.0]
    nothing = pd.DataFrame(columns=["table", "row_number", "row_id", "reason", "file"])
    fates = pd.concat(
        [
            table[["table", "row_number", "row_id", "file"]].assign(fate="context", reason="used")
            for table in judged.tables.values()
            if len(table)
        ]
    )
    whole = make_ledger(raw, judged, fates, nothing)
    ledger = whole[whole["table"].isin(["readings", "lube"])].set_index("row_id")["reason"]
    assert ledger["R1"] == (
        "corrected by workshop lead: free_play '32' -> '3.2' (lost point); "
        "corrected by workshop lead: finding '' -> 'ok' (not typed in); used"
    )
    assert ledger["R2"] == "used"
    assert ledger["row 2"].startswith("corrected by clerk: odometer '100' -> '1000'")


def test_the_quarantine_shows_the_row_as_it_was_handed_in(
    intake: ModuleType, tmp_path: Path
) -> None:
    raw = _read(intake, tmp_path, "readings,R3,finding,seized,rough,wrong line,lead")
    withheld = judge(raw)
    assert withheld.withheld["readings"]["finding"].tolist() == ["", "rough"]
    assert json.loads(withheld.quarantine["row"].iloc[1])["finding"] == "seized"


def test_corrections_in_toml(intake: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_text(
        '[[corrections]]\ntable = "readings"\nrow_id = "R2"\ncolumn = "finding"\n'
        'old_value = "cracked"\nnew_value = "split"\nreason = "looked again"\nby = "lead"\n',
        encoding="utf-8",
    )
    raw = _read(intake, tmp_path, corrections='path = "c.toml"')
    assert judge(raw).tables["readings"]["finding"].tolist() == ["split"]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("readings,R9,finding,a,b,why,me", "row 2: no row of readings is called 'R9'"),
        (
            "readings,R1,free_play,31,3,why,me",
            "row 2: free_play of readings 'R1' is '32', not '31'; the correction no longer fits",
        ),
        ("readings,R1,free_pley,32,3,why,me", r"no column 'free_pley' .*nearest: 'free_play'"),
        ("reading,R1,free_play,32,3,why,me", r"'reading' is not a table .*nearest: 'readings'"),
        ("readings,R1,free_play,32,3,,", "row 2: reason, by is blank"),
        ("readings,R1,remark,,x,why,me", "readings has no column 'remark' to correct"),
    ],
)
def test_a_correction_that_does_not_fit(
    intake: ModuleType, tmp_path: Path, line: str, says: str
) -> None:
    with pytest.raises(SourceError, match=says) as refusal:
        _read(intake, tmp_path, line)
    assert "\n" not in str(refusal.value)
    assert "corrections.csv" in str(refusal.value)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("x = [", "c.toml: cannot be read as TOML"),
        ("x = 1", "c.toml: holds something else than"),
        ('[[corrections]]\ntable = "readings"', "entry 1: lacks row_id, column"),
        ("[[corrections]]\ntabel = 1", "entry 1: unknown key 'tabel' .nearest: 'table'"),
    ],
)
def test_toml_that_is_no_list_of_corrections(
    intake: ModuleType, tmp_path: Path, content: str, says: str
) -> None:
    (tmp_path / "c.toml").write_text(content, encoding="utf-8")
    with pytest.raises(SourceError, match=says):
        _read(intake, tmp_path, corrections='path = "c.toml"')


def test_a_repeated_row_is_corrected_with_its_copies(intake: ModuleType, tmp_path: Path) -> None:
    readings = READINGS + READINGS.splitlines()[1] + "\n"
    files = {
        "readings": readings,
        "corrections": HEAD + "readings,R1,free_play,32,3.2,lost point,lead\n",
    }
    raw = read_sources(
        intake.write_settings(tmp_path, files=files, corrections='path = "corrections.csv"')
    )
    judged = judge(raw)
    assert judged.duplicates["row_id"].tolist() == ["R1"]
    assert judged.tables["readings"]["free_play_mm"].tolist() == [3.2, 3.0]
