"""Kits come from the shelf for the earliest visits; the others by an order date."""

from __future__ import annotations

import pandas as pd

from pivotlife.models.kit_staging import (
    NOT_DUE,
    ON_SHELF,
    ORDER,
    STAGE_COLUMNS,
    TOO_LATE,
    UNKNOWN_LEAD,
    kits_to_stage,
    with_supply,
)

TODAY = pd.Timestamp("2026-07-01")
KITS = pd.DataFrame(
    {
        "kit_id": ["K", "K", "L"],
        "node": ["fixed-eye", "shackle-lower", "fixed-eye"],
        "on_hand": [2.0, 3.0, float("nan")],
        "on_order": [6.0, 6.0, 0.0],
        "lead_time_days": [7.0, 7.0, float("nan")],
    }
)


def lines(*rows: tuple[str, str, str, bool]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["unit_id", "kit_id", "visit_date", "is_due"])
    return frame.assign(
        pivot_id=[f"{unit}.{n}" for n, unit in enumerate(frame["unit_id"])],
        visit_date=pd.to_datetime(frame["visit_date"]),
        depot="Northpit",
        bushing_type="roller",
        node="fixed-eye",
        drive_tool=frame["kit_id"].map({"K": "driver", "L": "", "": ""}),
        verdict="fits",
    )


def test_the_shelf_serves_the_earliest_visits() -> None:
    asked = lines(
        ("C", "K", "2026-07-20", True),
        ("A", "K", "2026-07-03", True),
        ("B", "K", "2026-07-04", True),
        ("D", "K", "2026-07-05", True),
    )
    supply = with_supply(asked, KITS, TODAY)["supply"]
    # Two kits are on the smaller of K's shelves; an order takes until 8 July.
    assert supply.tolist() == [ORDER, ON_SHELF, ON_SHELF, TOO_LATE]


def test_an_order_that_arrives_on_the_day_is_in_time() -> None:
    asked = lines(*[("A", "K", "2026-07-01", True)] * 2, ("B", "K", "2026-07-08", True))
    found = with_supply(asked, KITS, TODAY)
    assert found["supply"].iloc[-1] == ORDER
    assert found["order_by_date"].iloc[-1] == TODAY


def test_a_line_that_waits_for_a_reading_takes_no_kit() -> None:
    asked = lines(("A", "K", "2026-07-01", False), *[("B", "K", "2026-07-09", True)] * 2)
    assert with_supply(asked, KITS, TODAY)["supply"].tolist() == [NOT_DUE, ON_SHELF, ON_SHELF]


def test_what_is_not_on_record_is_said() -> None:
    found = with_supply(lines(("A", "L", "2026-09-01", True)), KITS, TODAY)
    assert found["supply"].tolist() == [UNKNOWN_LEAD]


def test_kits_are_summed_by_depot_day_and_kit() -> None:
    asked = lines(
        ("A", "K", "2026-07-20", True),
        ("A", "K", "2026-07-20", True),
        ("B", "K", "2026-07-20", True),
        ("B", "", "2026-07-20", True),
        ("B", "K", "2026-07-20", False),
    )
    table = kits_to_stage(with_supply(asked, KITS, TODAY))
    assert list(table.columns) == list(STAGE_COLUMNS)
    assert table["kit_id"].tolist() == ["", "K"]
    measure, kit = table.to_dict("records")
    assert measure["status"] == "measure before ordering"
    assert (kit["kits"], kit["units"], kit["from_shelf"], kit["to_order"]) == (3, 2, 2, 1)
    assert kit["status"] == ORDER
    assert kit["order_by_date"] == pd.Timestamp("2026-07-13")


def test_a_visit_without_a_date_is_kept() -> None:
    table = kits_to_stage(with_supply(lines(("A", "K", "NaT", True)), KITS, TODAY))
    assert table["kits"].tolist() == [1]
    assert pd.isna(table["visit_date"].iloc[0])
    assert kits_to_stage(with_supply(lines(("A", "K", "NaT", False)), KITS, TODAY)).empty
