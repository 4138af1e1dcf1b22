"""Several files make one table: a line and its file name a row, from the reader to the ledger."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.run import run
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources

SPLIT = ("readings", "repairs", "lube", "units", "pivots", "odometer")


@pytest.fixture(scope="module")
def two_runs(
    small_fleet: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory, last_day: dt.date
) -> tuple[Path, Path]:
    """Run one fleet from whole files, and from two files a table with the same line numbers."""
    whole = small_fleet(units=20)
    folder = tmp_path_factory.mktemp("split")
    text = whole.read_text(encoding="utf-8")
    for file in whole.parent.glob("*.csv"):
        if file.stem not in SPLIT:
            shutil.copy(file, folder)
            continue
        head, *rows = file.read_text(encoding="utf-8").splitlines(keepends=True)
        half = len(rows) // 2
        for name, part in (("a", rows[:half]), ("b", rows[half:])):
            (folder / name).mkdir(exist_ok=True)
            (folder / name / file.name).write_text(head + "".join(part), encoding="utf-8")
        text = text.replace(f'path = "{file.name}"', f'path = "*/{file.name}"')
    (folder / "settings.toml").write_text(text, encoding="utf-8")
    out = tmp_path_factory.mktemp("out")
    first = run(load_settings(whole), last_day, out=out / "whole", quiet=True)
    second = run(load_settings(folder / "settings.toml"), last_day, out=out / "split", quiet=True)
    return first.folder, second.folder


def _read(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


def test_every_row_has_one_line_in_the_ledger(two_runs: tuple[Path, Path]) -> None:
    whole, split = (_read(folder, "ledger") for folder in two_runs)
    assert len(whole) == len(split)
    assert split.duplicated(["table", "row_number"]).any()
    assert not split.duplicated(["table", "file", "row_number"]).any()
    assert set(split.loc[split["table"] == "lube", "file"]) == {"a/lube.csv", "b/lube.csv"}
    assert set(whole.loc[whole["table"] == "lube", "file"]) == {"lube.csv"}
    order = split[split["table"] == "lube"]
    assert order["file"].is_monotonic_increasing
    for _, rows in order.groupby("file"):
        assert rows["row_number"].astype(int).is_monotonic_increasing


def test_each_row_has_the_fate_it_had_in_the_whole_file(two_runs: tuple[Path, Path]) -> None:
    whole, split = (_read(folder, "ledger") for folder in two_runs)
    # Both ledgers stand in the order of the rows.
    assert whole["fate"].tolist() == split["fate"].tolist()
    assert whole["table"].tolist() == split["table"].tolist()


def test_what_is_decided_does_not_depend_on_the_cut(two_runs: tuple[Path, Path]) -> None:
    columns = ["unit_id", "pivot_id", "decision", "rule", "chance_over_now"]
    whole, split = (_read(folder, "shortlist")[columns] for folder in two_runs)
    pd.testing.assert_frame_equal(whole, split)
    whole, split = (_read(folder, "lives").drop(columns="source_rows") for folder in two_runs)
    pd.testing.assert_frame_equal(whole, split)


def test_quarantined_rows_name_their_file(two_runs: tuple[Path, Path]) -> None:
    whole, split = (_read(folder, "quarantine") for folder in two_runs)
    assert len(whole) == len(split) > 0
    assert whole["row"].tolist() == split["row"].tolist()
    assert set(split["file"]) <= {f"{half}/{name}.csv" for half in "ab" for name in SPLIT} | {
        "visits.csv",
        "meters.csv",
        "kits.csv",
        "capacity.csv",
    }


def test_repeats_and_repeated_keys_name_row_and_file(intake: ModuleType, tmp_path: Path) -> None:
    head, row = intake.FILES["readings"].splitlines()
    for name, rows in {"1": [row], "2": [row, row.replace("5000", "5001")]}.items():
        (tmp_path / f"play-{name}.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    judged = judge(read_sources(intake.write_settings(tmp_path, readings='path = "play-*.csv"')))
    again = judged.duplicates.iloc[0]
    assert (again["file"], again["row_number"]) == ("play-2.csv", 2)
    assert again["reason"] == "repeats row 2 of play-1.csv word for word"
    withheld = judged.quarantine.iloc[0]
    assert (withheld["file"], withheld["row_number"]) == ("play-2.csv", 3)
    assert "reading_id 'R1' is in row 2 of play-1.csv already" in withheld["reasons"]


def test_files_with_different_headers_and_kinds(intake: ModuleType, tmp_path: Path) -> None:
    head, row = intake.FILES["readings"].splitlines()
    (tmp_path / "play-1.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
    other = pd.DataFrame([row.replace("R1", "R2").split(",")], columns=head.split(","))
    other = other.rename(columns={"unit_id": "Truck"}).assign(odometer=[7000.0])
    other.to_parquet(tmp_path / "play-2.parquet")
    lines = 'path = "play-*"\n[sources.readings.columns]\nunit_id = ["unit_id", "Truck"]'
    raw = read_sources(intake.write_settings(tmp_path, readings=lines))
    assert raw["readings"].headers == {"play-2.parquet": {"unit_id": "Truck"}}
    good = judge(raw).tables["readings"]
    assert good["odometer_miles"].tolist() == [5000.0, 7000.0]
    assert good["row_number"].tolist() == [2, 1]
    (tmp_path / "play-3.csv").write_text(f"{head.replace('unit_id', 'unit')}\n", encoding="utf-8")
    with pytest.raises(SourceError, match=r"readings: play-3.csv: the settings read unit_id"):
        read_sources(load_settings(tmp_path / "settings.toml"))
