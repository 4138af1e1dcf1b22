"""What a reader must know stands in the notes; what cannot wait is printed as well."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.run_notes import EMPTY, NEWEST, NONE_DATED, is_pressing
from pivotlife.pipeline.summary import run_text


@pytest.mark.parametrize("start", [NEWEST, NONE_DATED, EMPTY])
def test_old_or_missing_records_are_printed_with_the_run(small_run: RunResult, start: str) -> None:
    calm = [note for note in small_run.record["notes"] if not is_pressing(note)]
    told = f"{start} whatever is told of it."
    quiet = replace(small_run, record={**small_run.record, "notes": calm})
    loud = replace(small_run, record={**small_run.record, "notes": [*calm, told]})
    assert calm
    assert "note:" not in run_text(quiet)
    assert run_text(loud).splitlines()[2] == f"note: {told}"
