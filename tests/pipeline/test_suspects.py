"""Leaving out what is suspect: only what the settings name, told in the ledger, never a danger."""

from __future__ import annotations

from types import ModuleType
from typing import Any, get_args

import pytest

from pivotlife.models.safety import standing_orders
from pivotlife.pipeline.settings import Judge
from pivotlife.pipeline.suspect_kinds import (
    KINDS,
    ODOMETER_KINDS,
    PLAY_KINDS,
    ROW_KINDS,
    SuspectKind,
)
from pivotlife.pipeline.suspects import with_fates


def leaving_out(factory: ModuleType, *kinds: str, **tables: Any) -> Any:
    options = factory.settings(judge=Judge(exclude_suspect=kinds))
    return factory.fleet(options=options, **tables)


def reasons(fleet: Any, table: str) -> list[tuple[str, str]]:
    fates = fleet.screened.histories.fates
    own = fates[fates["table"] == table].sort_values("row_number")
    return list(zip(own["fate"], own["reason"], strict=True))


def test_kinds_part_into_plays_odometers_and_rows() -> None:
    assert get_args(SuspectKind) == KINDS
    assert set(KINDS) == PLAY_KINDS | ODOMETER_KINDS | ROW_KINDS
    assert "play-shrank" in PLAY_KINDS
    assert "odometer-off-track" in ODOMETER_KINDS
    assert "entered-twice" in ROW_KINDS


def test_nothing_is_left_out_by_default(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(600, 0), factory.reading(700, 6.0)])
    assert fleet.screened.suspects["excluded"].tolist() == ["no"]
    assert fleet.screened.histories is fleet.histories
    assert fleet.screened.placed is fleet.placed


def test_a_doubted_play_is_blanked_and_its_row_goes_on(factory: ModuleType) -> None:
    readings = [factory.reading(600, 0, finding="ok"), factory.reading(700, 1.0)]
    fleet = leaving_out(factory, "zero-not-measured", readings=readings)
    used = fleet.screened.histories
    assert used.readings["free_play_mm"].isna().tolist() == [True, False]
    assert fleet.screened.suspects["excluded"].tolist() == ["yes"]
    assert reasons(fleet, "readings")[0] == (
        "reading",
        "free_play: zero-not-measured, left out as suspect (judge.exclude_suspect)",
    )
    assert used.lives["last_good_miles"].tolist() == [70_000.0]


def test_a_doubted_odometer_takes_its_neighbours_miles(factory: ModuleType) -> None:
    rows = [factory.odometer(day) for day in (100, 300, 400)]
    wrong = factory.odometer(200, odometer=120_000)
    fleet = leaving_out(factory, "odometer-off-track", odometer=[*rows, wrong])
    points = fleet.screened.placed.points
    assert points.loc[points["odometer_miles"].isna(), "row_number"].tolist() == [5]
    placed = fleet.screened.placed.tables["odometer"]
    assert placed["true_miles"].tolist() == [10_000, 30_000, 40_000, 20_000]
    assert "odometer: odometer-off-track, left out" in reasons(fleet, "odometer")[3][1]


def test_a_doubted_row_is_dropped_with_its_reason(factory: ModuleType) -> None:
    lines = [factory.repair(100), factory.repair(200, action="fitted")]
    assert len(factory.fleet(repairs=lines).screened.histories.lives) == 3
    fleet = leaving_out(factory, "fitted-without-removal", repairs=lines)
    assert len(fleet.screened.histories.lives) == 2
    assert reasons(fleet, "repairs")[1] == (
        "not-needed",
        "row: fitted-without-removal, left out as suspect (judge.exclude_suspect)",
    )


def test_only_the_kinds_named_are_left_out(factory: ModuleType) -> None:
    lines = [factory.repair(100), factory.repair(200, action="fitted")]
    zero = [factory.reading(90, 0), factory.reading(700, 0)]
    fleet = leaving_out(factory, "zero-not-measured", repairs=lines, readings=zero)
    assert len(fleet.screened.histories.lives) == 3


def test_units_and_pivots_are_never_dropped(factory: ModuleType) -> None:
    begun = factory.unit(records_begin_date=factory.date(200), records_begin_odometer=500_000)
    rows = [factory.odometer(day) for day in (100, 300, 400)]
    fleet = leaving_out(factory, *KINDS, units=[begun], odometer=rows)
    assert fleet.screened.suspects["excluded"].tolist() == ["no"]
    assert fleet.screened.histories is fleet.histories


def test_a_setting_that_is_no_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="zero-not-measured"):
        Judge(exclude_suspect=("zeros",))  # type: ignore[arg-type]  that is the case


def test_a_dropped_repair_still_ends_and_tells_of_dangers(factory: ModuleType) -> None:
    """Leaving out a suspect repair would turn the pivot back into rubber, which has no limit."""
    tables = {
        "pivots": [factory.one_pivot(bushing_type="rubber-bonded")],
        "kits": [{"kit_id": "K1", "bushing_type": "roller", "node": "fixed-eye"}],
        "repairs": [factory.repair(100, kit_id="K1", bushing_type="threaded")],
        "readings": [factory.reading(200, 6.0)],
    }
    fleet = leaving_out(factory, "kit-wrong-type", **tables)
    assert fleet.screened.histories.in_service["bushing_type"].tolist() == ["rubber-bonded"]
    evidence = fleet.safety
    orders = standing_orders(evidence.evidence, evidence.clearances, fleet.screened.roster)
    assert orders[["decision", "rule"]].to_numpy().tolist() == [["replace", "over-limit"]]


def test_a_pivot_known_from_left_out_rows_stays_on_the_roster(factory: ModuleType) -> None:
    """A danger without a position ends only when every pivot was looked at again."""
    early = factory.reading(-5, 1.0, node="shackle-lower") | {"odometer": 0}
    fleet = leaving_out(factory, "before-service", readings=[early])
    assert fleet.screened.histories.in_service["node"].tolist() == ["fixed-eye"]
    assert set(fleet.screened.roster["pivot_id"]) == {
        "U1.1.left.fixed-eye",
        "U1.1.left.shackle-lower",
    }


def test_fates_stand_beside_suspects_in_the_ledgers_order(factory: ModuleType) -> None:
    fleet = factory.fleet(readings=[factory.reading(700, 0), factory.reading(600, 0)])
    ledger = fleet.histories.fates.iloc[::-1]
    listed = with_fates(fleet.screened.suspects, ledger)
    assert listed["row_id"].tolist() == ["RD-1", "RD-0"]
    assert listed["fate"].tolist() == ["reading", "reading"]
