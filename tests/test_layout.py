"""The house stands as drawn: rooms, wheel, sizes, no addresses in the lock file."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("pipeline", "models", "data", "dashboards")
TOP_LEVEL = {
    *ROOMS,
    "tests",
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "Makefile",
    "LICENSE",
    "requirements.lock",
    "prefect.yaml",
}


def tracked() -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode != 0:
        pytest.skip("not a git checkout: nothing says which files belong to the project")
    return listed.stdout.split()


def test_top_level_is_fixed() -> None:
    top = {name.split("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_share_one_namespace(room: str) -> None:
    assert not (ROOT / room / "pivotlife" / "__init__.py").exists()
    text = (ROOT / room / "pivotlife" / room / "__init__.py").read_text()
    assert all(isinstance(node, ast.Expr) for node in ast.parse(text).body)
    assert (ROOT / room / "README.md").read_text().strip()


def test_no_module_is_a_giant() -> None:
    for file in (name for name in tracked() if name.endswith(".py")):
        assert len((ROOT / file).read_text().splitlines()) <= 400, file


def test_lock_file_holds_no_address() -> None:
    lock = (ROOT / "requirements.lock").read_text()
    assert not re.search(r"https?://|file:|index-url", lock)
    assert lock.count("--hash=sha256:") > 100


def test_wheel_holds_code_templates_and_nothing_else(tmp_path: Path) -> None:
    build = (
        "import os, sys; os.chdir(sys.argv[1]); from hatchling.build import build_wheel;"
        "print(build_wheel(sys.argv[2]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", build, str(ROOT), str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
    )
    names = zipfile.ZipFile(tmp_path / done.stdout.strip().splitlines()[-1]).namelist()
    assert {name.split("/")[0] for name in names if ".dist-info/" not in name} == {"pivotlife"}
    for wanted in ("models/weibull.py", "pipeline/cli.py", "data/fleet.py"):
        assert f"pivotlife/{wanted}" in names
    assert any(re.match(r"pivotlife/dashboards/templates/.+\.html$", name) for name in names)
    assert any(re.match(r"pivotlife/dashboards/static/.+\.css$", name) for name in names)
