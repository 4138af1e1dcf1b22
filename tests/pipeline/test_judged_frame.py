"""Judged tables stay small: a text that repeats is held once, however many rows say it."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from pivotlife.pipeline.judge import judge
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
