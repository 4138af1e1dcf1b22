"""Ctrl-C while the program is still loading ends in one line and the code of a stopped command."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from pivotlife.pipeline.entry import STOPPED, STOPPED_TEXT

#: Presses Ctrl-C, as Python sees it, when a module of that name is looked for.
PRESSED_AT = """
import sys

class Pressed:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            raise KeyboardInterrupt

sys.meta_path.insert(0, Pressed())
from pivotlife.pipeline.entry import main
main()
"""


# Loading the command line, reading the arguments, loading a command's own modules.
@pytest.mark.parametrize("module", ["typer", "pydantic", "pivotlife.pipeline.run"])
def test_stopped_while_loading_is_one_line(module: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PRESSED_AT.format(module=module), "run", "nowhere.toml"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (STOPPED, "")
    assert done.stderr == f"{STOPPED_TEXT}\n"


def test_the_command_begins_there_and_runs() -> None:
    root = Path(__file__).parents[2]
    scripts = tomllib.loads((root / "pyproject.toml").read_text())["project"]["scripts"]
    assert scripts == {"pivotlife": "pivotlife.pipeline.entry:main"}
    start = "from pivotlife.pipeline.entry import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", start, "check", "nowhere.toml"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "nowhere.toml" in done.stderr
