"""Which orders stand, and what ends them."""

from __future__ import annotations

import pandas as pd
import pytest

from pivotlife.models.safety import ORDER_COLUMNS, standing_orders

PIVOT = "MD-001.1.left.fixed-eye"
OTHER = "MD-001.1.right.fixed-eye"
ROSTER = pd.DataFrame({"unit_id": "MD-001", "pivot_id": [PIVOT, OTHER]})


def row(**told: object) -> dict[str, object]:
    usual: dict[str, object] = {
        "source_row": "readings:R1",
        "unit_id": "MD-001",
        "pivot_id": PIVOT,
        "date": pd.Timestamp("2026-05-02"),
        "recorded_order": 1,
        "finding": "",
        "teardown": False,
        "play_mm": float("nan"),
        "limit_mm": 3.2,
        "refuses_grease": False,
        "unreadable_finding": False,
        "play_unit_unreadable": False,
        "withheld": False,
        "what": "",
    }
    return {**usual, **told}


def event(
    date: str, kind: str = "replaced", pivot: str = PIVOT, **told: object
) -> dict[str, object]:
    usual = {"unit_id": "MD-001", "pivot_id": pivot, "date": pd.Timestamp(date), "kind": kind}
    return {**usual, "source_row": "repairs:W1", **told}


def orders(
    rows: list[dict[str, object]], events: list[dict[str, object]] | None = None
) -> pd.DataFrame:
    columns = ["unit_id", "pivot_id", "date", "kind", "source_row"]
    return standing_orders(pd.DataFrame(rows), pd.DataFrame(events or [], columns=columns), ROSTER)


@pytest.mark.parametrize(
    ("told", "decision", "rule"),
    [
        ({"finding": "cracked"}, "park", "park-finding"),
        ({"finding": "broken"}, "park", "park-finding"),
        ({"finding": "part-missing"}, "park", "park-finding"),
        ({"finding": "seized"}, "park", "park-finding"),
        ({"finding": "axle-shifted"}, "park", "axle-shifted"),
        ({"play_mm": 3.2}, "replace", "over-limit"),
        ({"play_mm": 3.33}, "replace", "over-limit"),
        ({"finding": "split"}, "replace", "failure-finding"),
        ({"finding": "extruded"}, "replace", "failure-finding"),
        ({"finding": "rough"}, "replace", "failure-finding"),
        ({"finding": "rust-in-purge"}, "replace", "failure-finding"),
        ({"finding": "loose-fit"}, "replace", "failure-finding"),
        ({"refuses_grease": True}, "measure", "refuses-grease"),
        ({"unreadable_finding": True}, "measure", "finding-unreadable"),
        ({"finding": "craked"}, "measure", "finding-unreadable"),
        ({"play_unit_unreadable": True}, "measure", "play-unit-unreadable"),
    ],
)
def test_each_danger_has_its_order(told: dict[str, object], decision: str, rule: str) -> None:
    found = orders([row(**told)])
    assert list(found.columns) == list(ORDER_COLUMNS)
    assert found[["decision", "rule", "source_rows"]].to_numpy().tolist() == [
        [decision, rule, "readings:R1"]
    ]
    assert found["pivot_id"].item() == ("" if rule == "axle-shifted" else PIVOT)


def test_good_and_unlimited_readings_order_nothing() -> None:
    good = [row(play_mm=3.1), row(finding="ok"), row(play_mm=9.0, limit_mm=float("nan"))]
    assert orders(good).empty
    assert list(orders(good).columns) == list(ORDER_COLUMNS)


def test_an_eighth_of_an_inch_passes_the_default_limit() -> None:
    # 0.125 in = 3.175 mm, under 3.2 mm (Quebec regulation C-24.2 r. 32, s. 116); 0.126 in is over.
    assert orders([row(play_mm=0.125 * 25.4)]).empty
    assert not orders([row(play_mm=0.126 * 25.4)]).empty


@pytest.mark.parametrize("told", [{"finding": "cracked"}, {"play_mm": 4.0}, {"finding": "split"}])
def test_only_a_replacement_of_that_pivot_ends_it(told: dict[str, object]) -> None:
    bad = row(**told)
    good = event("2026-06-01", "good-evidence")
    assert len(orders([bad], [good])) == 1
    assert len(orders([bad], [event("2026-06-01", "repair", "")])) == 1
    assert len(orders([bad], [event("2026-06-01", pivot=OTHER)])) == 1
    assert len(orders([bad], [event("2026-05-01")])) == 1
    assert orders([bad], [event("2026-06-01")]).empty
    assert orders([bad], [event("2026-06-01", "fitted")]).empty


def test_a_reading_of_the_day_belongs_to_the_bushing_that_went_out() -> None:
    same_day = event("2026-05-02")
    assert orders([row(play_mm=4.0)], [same_day]).empty
    assert len(orders([row(play_mm=4.0, after_repair=True)], [same_day])) == 1
    assert orders([row(play_mm=4.0, after_repair=True)], [event("2026-05-03")]).empty


def test_an_old_order_outlives_its_successors() -> None:
    rows = [
        row(source_row="readings:R1", date=pd.Timestamp("2025-01-01"), play_mm=3.4),
        row(source_row="readings:R2", date=pd.Timestamp("2025-06-01"), play_mm=3.6),
        row(source_row="readings:R3", date=pd.Timestamp("2025-09-01"), play_mm=0.4),
    ]
    found = orders(rows)
    assert found["source_rows"].tolist() == ["readings:R1;readings:R2"]
    assert "Play 3.60 mm (0.142 in) was over the 3.2 mm limit on 2025-06-01" in found["reason"][0]
    assert "2 rows say so" in found["reason"][0]


def test_a_shifted_axle_waits_for_a_later_repair_on_the_unit() -> None:
    bad = row(finding="axle-shifted")
    assert len(orders([bad], [event("2026-05-02", "repair", "")])) == 1
    assert orders([bad], [event("2026-05-03", "repair", "")]).empty
    assert orders([bad], [event("2026-05-03", "replaced", OTHER)]).empty
    assert len(orders([bad], [event("2026-05-03", "good-evidence", OTHER)])) == 1


def test_refused_grease_ends_with_grease_or_a_new_bushing() -> None:
    bad = row(refuses_grease=True)
    assert len(orders([bad], [event("2026-06-01", "good-evidence")])) == 1
    assert len(orders([bad], [event("2026-05-02", "took-grease")])) == 1
    assert orders([bad], [event("2026-05-03", "took-grease")]).empty
    assert orders([bad], [event("2026-05-02")]).empty


def test_an_unknown_position_holds_the_whole_unit() -> None:
    found = orders([row(pivot_id="", play_mm=4.0), row(pivot_id="", finding="broken")])
    assert found[["pivot_id", "decision", "rule"]].to_numpy().tolist() == [
        ["", "park", "position-unknown"],
        ["", "measure", "position-unknown"],
    ]
    lost = [row(pivot_id="", play_mm=4.0)]
    one = [event("2026-06-01", "good-evidence")]
    assert len(orders(lost, one)) == 1
    same_day = [*one, event("2026-05-02", "good-evidence", OTHER)]
    assert len(orders(lost, same_day)) == 1
    assert orders(lost, [*one, event("2026-05-03", "good-evidence", OTHER)]).empty
    assert orders(lost, [*one, event("2026-05-02", "replaced", OTHER)]).empty


def test_a_unit_without_known_pivots_is_never_cleared() -> None:
    lost = pd.DataFrame([row(pivot_id="", play_mm=4.0, unit_id="MD-099")])
    events = pd.DataFrame([event("2026-06-01", "good-evidence", unit_id="MD-099")])
    assert len(standing_orders(lost, events, ROSTER)) == 1


def test_a_tear_down_finding_goes_with_its_bushing() -> None:
    found = row(source_row="repairs:W1", teardown=True, finding="broken")
    assert orders([found], [event("2026-05-02")]).empty
    assert len(orders([found])) == 1
    lost = row(source_row="repairs:W1", teardown=True, finding="split", pivot_id="")
    assert orders([lost], [event("2026-05-02", pivot="")]).empty
    assert len(orders([lost], [event("2026-05-02", pivot="", source_row="repairs:W2")])) == 1


def test_without_a_date_nothing_ends_it() -> None:
    found = orders([row(date=pd.NaT, finding="cracked")], [event("2026-06-01")])
    assert found["decision"].tolist() == ["park"]
    assert "on an unreadable date" in found["reason"][0]
    assert "correct the row" in found["reason"][0]


def test_without_a_unit_there_is_nobody_to_order() -> None:
    assert orders([row(unit_id="", finding="cracked")]).empty


def test_the_most_pressing_order_comes_first() -> None:
    rows = [
        row(refuses_grease=True),
        row(play_mm=4.0),
        row(finding="seized", pivot_id=OTHER),
    ]
    assert orders(rows)["decision"].tolist() == ["park", "replace", "measure"]
