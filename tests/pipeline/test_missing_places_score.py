"""Attributed positions of a small invented fleet against its place_truth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import place_truth


@pytest.mark.parametrize("spoken", [False, True], ids=["no remarks", "remarks"])
def test_attributed_positions_are_right(small_fleet: Callable[..., Path], spoken: bool) -> None:
    folder = small_fleet(seed=12).parent
    tables = place_truth.judged(folder)
    if spoken:
        tables = place_truth.with_remarks(folder, tables, seed=12)
    found = place_truth.outcomes(folder, tables)
    print(f"\n{place_truth.table_of(found)}")  # noqa: T201  the score itself is asked for
    known = found[found["way"] != ""]
    wrong = known[(known["true"] != known["given"]) & ~known["swapped"]]
    assert len(known) > 100
    assert len(wrong) <= 0.01 * len(known)
    assert set(known["table"]) == {"readings", "repairs"}
    assert ("its remark" in set(known["way"])) == spoken
    by_table = found.groupby("table")["way"].agg(lambda way: (way != "").mean())
    assert by_table["repairs"] > 0.9
    assert by_table["readings"] > 0.35


def test_what_stays_unknown_is_nobodys(small_fleet: Callable[..., Path]) -> None:
    found = place_truth.outcomes(
        small_fleet(seed=12).parent, place_truth.judged(small_fleet(seed=12).parent)
    )
    unknown = found[found["way"] == ""]
    assert len(unknown) > 20
    assert (unknown["given"] == frozenset()).all()
    said = unknown["reason"].str.startswith("position unknown")
    assert (said | unknown["reason"].str.startswith("every pivot it can mean")).all()
