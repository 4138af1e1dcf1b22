"""The commands: what they print and how they end, also when used wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from pivotlife.pipeline import cli, exit_codes
from pivotlife.pipeline import run as run_room
from pivotlife.pipeline.results import RunResult

runner = CliRunner()


def one_line(text: str) -> str:
    lines = [line for line in text.splitlines() if line.startswith("pivotlife:")]
    assert len(lines) == 1, text
    assert "Traceback" not in text
    return lines[0]


@pytest.fixture
def copied(small_fleet: Callable[..., Path], tmp_path: Path) -> Path:
    source = small_fleet(units=12)
    for file in (*source.parent.glob("*.csv"), source):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path / "settings.toml"


def test_run_says_where_to_look(copied: Path) -> None:
    done = runner.invoke(cli.app, ["run", str(copied), "--as-of", "2026-06-30"])
    assert done.exit_code in (exit_codes.DONE, exit_codes.ACT_TODAY), done.output
    assert "index.html" in done.stdout
    assert ("act today" in done.stdout) == (done.exit_code == exit_codes.ACT_TODAY)


def test_run_as_json(copied: Path, small_run: RunResult, monkeypatch: pytest.MonkeyPatch) -> None:
    """A finished run is shown: what is asked here is how the command prints it."""
    monkeypatch.setattr(run_room, "run", lambda *args, **named: small_run)
    done = runner.invoke(cli.app, ["run", str(copied), "--as-of", "2026-06-30", "--as-json"])
    assert done.exit_code == exit_codes.WRONG_INPUT
    done = runner.invoke(cli.app, ["run", str(copied), "--as-of", "2026-06-30", "--json"])
    said = json.loads(done.stdout)
    assert Path(said["folder"]).is_dir()
    assert bool(said["act_today"]) == (done.exit_code == exit_codes.ACT_TODAY)


@pytest.mark.parametrize("command", ["run", "check", "schedule"])
def test_a_missing_settings_file_is_one_line(command: str, tmp_path: Path) -> None:
    done = runner.invoke(cli.app, [command, str(tmp_path / "none.toml")])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "no such settings file" in one_line(done.output)


def test_a_missing_source_is_one_line(copied: Path) -> None:
    (copied.parent / "repairs.csv").unlink()
    done = runner.invoke(cli.app, ["run", str(copied)])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "repairs.csv" in one_line(done.output)


def test_a_missing_column_is_one_line(copied: Path) -> None:
    readings = pd.read_csv(copied.parent / "readings.csv", dtype=str)
    readings.rename(columns={"odometer": "odo"}).to_csv(copied.parent / "readings.csv")
    done = runner.invoke(cli.app, ["run", str(copied)])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "'odometer'" in one_line(done.output)


def test_a_wrong_unit_of_a_limit_is_one_line(copied: Path) -> None:
    with copied.open("a", encoding="utf-8") as settings:
        settings.write('\n[limits.threaded]\nplay = 3\nunit = "furlongs"\n')
    done = runner.invoke(cli.app, ["run", str(copied), "--as-of", "2026-06-30"])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "furlongs" in one_line(done.output)


def test_a_day_that_is_none(copied: Path) -> None:
    done = runner.invoke(cli.app, ["run", str(copied), "--as-of", "30.06.2026"])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "YYYY-MM-DD" in one_line(done.output)


def test_bad_cells_are_withheld_and_counted(copied: Path) -> None:
    file = copied.parent / "readings.csv"
    readings = pd.read_csv(file, dtype=str, keep_default_na=False)
    readings.loc[3, "reading_date"] = "31/31/2025"
    readings.loc[4, ["free_play", "free_play_unit"]] = ["4", "cubits"]
    readings.to_csv(file, index=False)
    report = copied.parent / "faults.csv"
    done = runner.invoke(cli.app, ["check", str(copied), "--report", str(report)])
    assert done.exit_code == exit_codes.ACT_TODAY
    assert "31/31/2025" in done.stdout
    assert "cubits" in done.stdout
    assert "readings.csv row 5" in done.stdout
    faults = pd.read_csv(report, dtype=str)
    assert {"5", "6"} <= set(faults.loc[faults["table"] == "readings", "row_number"])
    assert not (copied.parent / "out").exists()


def test_check_prints_an_example() -> None:
    done = runner.invoke(cli.app, ["check", "--example"])
    assert done.exit_code == exit_codes.DONE
    assert "[sources.units]" in done.stdout


def test_check_without_a_file_is_a_usage_fault() -> None:
    assert runner.invoke(cli.app, ["check"]).exit_code == exit_codes.WRONG_INPUT


def test_stopping_leaves_the_last_run(copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*args: object, **named: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(run_room.stages, "fit", stop)
    done = runner.invoke(cli.app, ["run", str(copied)])
    assert done.exit_code == exit_codes.STOPPED
    assert "last complete run is untouched" in one_line(done.output)
    assert not (copied.parent / "out" / "latest").exists()


def test_a_fault_of_the_program_says_so(copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def break_down(*args: object, **named: object) -> None:
        raise RuntimeError("a stage broke")

    monkeypatch.setattr(run_room.stages, "build", break_down)
    done = runner.invoke(cli.app, ["run", str(copied), "--as-of", "2026-06-30"])
    assert done.exit_code == exit_codes.INTERNAL_FAULT
    assert "not of your input" in one_line(done.output)


def test_simulate_names_the_next_command(tmp_path: Path) -> None:
    done = runner.invoke(cli.app, ["simulate", str(tmp_path / "f"), "--units", "6"])
    assert done.exit_code == exit_codes.DONE, done.output
    assert "pivotlife run" in done.stdout
    assert (tmp_path / "f" / "truth" / "lives.csv").exists()
    wrong = runner.invoke(cli.app, ["simulate", str(tmp_path / "g"), "--units", "0"])
    assert wrong.exit_code == exit_codes.WRONG_INPUT


def test_an_unwritable_output_is_one_line(copied: Path) -> None:
    blocked = copied.parent / "blocked"
    blocked.write_text("a file, not a folder")
    done = runner.invoke(cli.app, ["run", str(copied), "--out", str(blocked / "out")])
    assert done.exit_code == exit_codes.WRONG_INPUT
    assert "cannot write there" in one_line(done.output)
