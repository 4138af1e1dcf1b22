"""The dictionary of published tables names every column of a run, in order."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pivotlife.pipeline.results import CSV_TABLES, RunResult

README = Path(__file__).resolve().parents[2] / "data" / "README.md"


def documented(name: str) -> list[str]:
    section = README.read_text(encoding="utf-8").split("## What comes out")[1]
    part = re.split(r"^### ", section.split(f"### `{name}.csv`")[1], flags=re.MULTILINE)[0]
    return re.findall(r"^\| `(\w+)` \|", part, flags=re.MULTILINE)


@pytest.mark.parametrize("name", CSV_TABLES)
def test_columns_are_documented_in_order(small_run: RunResult, name: str) -> None:
    header = (small_run.folder / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0]
    assert header.split(",") == documented(name)
