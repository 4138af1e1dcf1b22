"""Whatever goes wrong ends in one line and the right exit code."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from pivotlife.pipeline import cli
from pivotlife.pipeline.entry import STOPPED
from pivotlife.pipeline.errors import SettingsError, SourceError
from pivotlife.pipeline.exit_codes import (
    INTERNAL_FAULT,
    WRONG_INPUT,
    day_of,
    exit_codes,
)


def refused(number: int, place: str | None = "/shelf/out") -> OSError:
    return OSError(number, os.strerror(number), place)


@pytest.mark.parametrize(
    ("fault", "code", "said"),
    [
        (SourceError("readings: is empty"), WRONG_INPUT, "pivotlife: readings: is empty"),
        (refused(errno.EROFS), WRONG_INPUT, "/shelf/out: the system refuses it (Read-only file"),
        (refused(errno.EACCES), WRONG_INPUT, "Permission denied); look at the place, its rights"),
        (refused(errno.ENOSPC, None), WRONG_INPUT, "pivotlife: the system refuses it (No space"),
        (refused(errno.ENOENT), INTERNAL_FAULT, "a fault of this program, not of your input"),
        (RuntimeError("broke"), INTERNAL_FAULT, "(--verbose shows where it happened)"),
        (KeyboardInterrupt(), STOPPED, "stopped; the last complete run is untouched"),
    ],
)
def test_a_fault_is_one_line_and_a_code(
    fault: BaseException, code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(typer.Exit) as ended, exit_codes(verbose=False):
        raise fault
    assert ended.value.exit_code == code
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


def test_verbose_shows_where_a_fault_of_the_program_lies(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(typer.Exit), exit_codes(verbose=True):
        raise RuntimeError("broke")
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize("command", [["simulate"], ["demo", "--folder"]])
def test_a_file_where_a_folder_goes_is_the_users_to_mend(
    command: list[str], tmp_path: Path
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a file, not a folder")
    done = CliRunner().invoke(cli.app, [*command, str(taken)])
    assert done.exit_code == WRONG_INPUT
    assert "taken" in done.output
    assert "the system refuses it" in done.output
    assert taken.read_text() == "a file, not a folder"


@pytest.mark.parametrize(
    ("text", "timezone", "why"),
    [("30.06.2026", "UTC", "write it as YYYY-MM-DD"), (None, "Mars/North", "no such time zone")],
)
def test_a_day_that_is_none_says_how_to_write_it(text: str | None, timezone: str, why: str) -> None:
    with pytest.raises(SettingsError, match=why):
        day_of(text, timezone)
