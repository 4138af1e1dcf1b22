"""Judged tables stay small, and are the same however many rows are judged in one go."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.pipeline import judge as judging
from pivotlife.pipeline.judge import judge
from pivotlife.pipeline.settings_file import load_settings
from pivotlife.pipeline.sources import read_sources

#: Columns whose texts differ row by row.
OF_EACH_ROW = {"reading_id", "row_id", "source_row"}


@pytest.mark.parametrize("kind", ["tables", "withheld"])
def test_texts_that_repeat_are_held_once(tmp_path: Path, intake: ModuleType, kind: str) -> None:
    head, row = intake.FILES["readings"].splitlines()
    play = "0.5" if kind == "tables" else "much"
    rows = [row.replace("R1", f"R{n}").replace("0.5", play) for n in range(300)]
    text = "\n".join([head, *rows]) + "\n"
    judged = judge(read_sources(intake.write_settings(tmp_path, files={"readings": text})))
    frame = getattr(judged, kind)["readings"]
    assert len(frame) == 300
    for name in frame.select_dtypes(object):
        held = len({id(text) for text in frame[name].to_numpy()})
        assert held == (300 if name in OF_EACH_ROW else 1), name
    assert {id(text) for text in frame["row_id"]} == {id(text) for text in frame["reading_id"]}


def test_rows_judged_by_blocks_are_those_judged_in_one_go(
    small_fleet: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    raw = read_sources(load_settings(small_fleet()))
    whole = judge(raw)
    monkeypatch.setattr(judging, "_BLOCK_ROWS", 701)
    blocks = judge(raw)
    assert len(raw["readings"].frame) > 3 * 701
    for name in CONTRACTS:
        pd.testing.assert_frame_equal(blocks.tables[name], whole.tables[name])
        pd.testing.assert_frame_equal(blocks.withheld[name], whole.withheld[name])
    pd.testing.assert_frame_equal(blocks.quarantine, whole.quarantine)
    pd.testing.assert_frame_equal(blocks.duplicates, whole.duplicates)


def test_a_key_repeated_in_another_block_is_told(
    tmp_path: Path, intake: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    head, row = intake.FILES["readings"].splitlines()
    rows = [row.replace("R1", f"R{n}") for n in range(6)] + [row.replace("R1", "R2") + "x"]
    text = "\n".join([head, *rows]) + "\n"
    monkeypatch.setattr(judging, "_BLOCK_ROWS", 2)
    judged = judge(read_sources(intake.write_settings(tmp_path, files={"readings": text})))
    assert len(judged.tables["readings"]) == 6
    [reason] = judged.withheld["readings"]["reasons"]
    assert "reading_id.repeated: reading_id 'R2' is in row 4 already" in reason


def test_some_columns_are_those_of_the_whole_table(tmp_path: Path, intake: ModuleType) -> None:
    tables = judge(read_sources(intake.write_settings(tmp_path))).tables
    names = ["reading_date", "unit_id"]
    pd.testing.assert_frame_equal(tables.some("readings", *names), tables["readings"][names])
    assert "readings" in tables
    assert "nothing" not in tables
