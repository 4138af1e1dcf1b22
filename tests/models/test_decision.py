"""The shortlist as a whole: its columns, its orders, its lines for units and strangers."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.decision import SHORTLIST_COLUMNS, DecisionOptions, decide
from prices import COSTS

OPTIONS = DecisionOptions(
    measure_miles={"regional": 50_000.0}, rates={("threaded", "regional"): 0.002}
)
PLACES = [("left", "fixed-eye"), ("left", "shackle-lower"), ("left", "shackle-upper")]
UNITS = ("MD-001", "MD-002")


def in_service() -> pd.DataFrame:
    rows = [(unit, side, node) for unit in UNITS for side, node in PLACES]
    frame = pd.DataFrame(rows, columns=["unit_id", "side", "node"])
    return frame.assign(
        pivot_id=[f"{u}.1.{s}.{n}" for u, s, n in rows],
        depot="Lowfen",
        duty="regional",
        road_salt="no",
        axle=1.0,
        bushing_type="threaded",
        life_id=[f"L{i}" for i in range(len(rows))],
        fitted_miles=0.0,
        age_known=True,
        last_good_miles=290_000.0,
        last_reading_date=pd.Timestamp("2026-05-02"),
        last_reading_miles=290_000.0,
        last_free_play_mm=1.4,
        limit_mm=3.2,
        limit_source="settings",
        last_reading_source_row="readings:R1",
    )


def growth(by_next: dict[str, float] | None = None) -> pd.DataFrame:
    pivots = in_service()["pivot_id"]
    chance = pivots.map(by_next or {}).fillna(0.01)
    return pd.DataFrame(
        {
            "pivot_id": pivots,
            "readings_used": 5,
            "age_miles": 300_000.0,
            "chance_over_now": 0.001,
            "chance_over_at_visit": 0.002,
            "chance_over_by_next_visit": chance,
            "chance_lower": chance * 0.9,
            "chance_upper": chance * 1.1,
            "warning": "",
        }
    )


def visits(units: tuple[str, ...] = UNITS) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit_id": list(units),
            "depot": "Lowfen",
            "duty": "regional",
            "visit_date": pd.Timestamp("2026-07-01"),
            "visit_miles": 310_000.0,
            "next_visit_date": pd.Timestamp("2026-11-01"),
            "next_visit_miles": 335_000.0,
        }
    )


def orders(*rows: tuple[str, str, str, str]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["unit_id", "pivot_id", "decision", "rule"])
    sources = [f"readings:X{i}" for i in range(len(rows))]
    return frame.assign(reason="Found something.", source_rows=sources)


def shortlist(
    by_next: dict[str, float] | None = None, standing: pd.DataFrame | None = None
) -> pd.DataFrame:
    standing = orders() if standing is None else standing
    return decide(in_service(), growth(by_next), visits(), standing, COSTS, OPTIONS)


def test_one_line_per_pivot_in_the_agreed_columns() -> None:
    table = shortlist()
    assert list(table.columns) == list(SHORTLIST_COLUMNS)
    assert len(SHORTLIST_COLUMNS) == 32
    assert sorted(table["pivot_id"]) == sorted(in_service()["pivot_id"])
    assert (table["decision"] == "leave").all()
    assert not table["mandatory"].any()
    assert table["rank"].tolist() == list(range(1, 7))
    assert (table["group_id"] == "").all()
    assert (table["source_rows"] == "readings:R1").all()
    assert (table[["kit_id", "joined_because", "postponed"]] == "").all(axis=None)
    assert table[["setup_saved", "postponed_cost"]].isna().all(axis=None)


def test_replacements_come_before_what_is_left() -> None:
    table = shortlist({"MD-002.1.left.shackle-upper": 0.6, "MD-001.1.left.fixed-eye": 0.4})
    assert table["pivot_id"].tolist()[:2] == [
        "MD-002.1.left.shackle-upper",
        "MD-001.1.left.fixed-eye",
    ]
    assert table["decision"].tolist() == ["replace", "replace", *["leave"] * 4]
    assert table["group_id"].tolist()[0] == "MD-002@2026-07-01"
    assert table["labour_hours"].tolist()[:3] == [2.0, 2.0, 0.0]


def test_orders_override_and_unit_orders_stand_alone() -> None:
    table = shortlist(
        standing=orders(
            ("MD-002", "", "park", "axle-shifted"),
            ("MD-001", "MD-001.1.left.fixed-eye", "measure", "refuses-grease"),
            ("MD-001", "MD-001.1.left.fixed-eye", "replace", "over-limit"),
        )
    )
    assert len(table) == 7
    unit, pivot = table.iloc[0], table.iloc[1]
    assert (unit["pivot_id"], unit["decision"], unit["depot"]) == ("", "park", "Lowfen")
    assert (unit["visit_odometer_miles"], unit["side"]) == (310_000.0, "")
    assert np.isnan(unit["chance_over_now"])
    assert np.isnan(unit["labour_hours"])
    assert (pivot["decision"], pivot["rule"], pivot["mandatory"]) == ("replace", "over-limit", True)
    assert pivot["source_rows"] == "readings:X2;readings:X1"
    assert pivot["reason"] == "Found something. Also standing: refuses grease."
    assert pivot["chance_over_now"] == 0.001
    assert table["decision"].tolist()[2:] == ["leave"] * 5


def test_an_order_on_an_unlisted_pivot_is_not_lost() -> None:
    table = shortlist(
        standing=orders(("MD-777", "MD-777.1.left.fixed-eye", "replace", "over-limit"))
    )
    assert len(table) == 7
    first = table.iloc[0]
    assert (first["unit_id"], first["decision"], first["depot"]) == ("MD-777", "replace", "")
    assert pd.isna(first["visit_date"])
    assert first["labour_hours"] == 2.0


def test_orders_alone_make_a_list() -> None:
    none = in_service().iloc[:0]
    standing = orders(("MD-777", "", "park", "axle-shifted"))
    table = decide(none, growth().iloc[:0], visits(), standing, COSTS, OPTIONS)
    assert table["decision"].tolist() == ["park"]
    assert list(table.columns) == list(SHORTLIST_COLUMNS)


def test_a_unit_without_miles_is_measured() -> None:
    blind = growth().assign(
        chance_over_now=np.nan,
        chance_over_at_visit=np.nan,
        chance_over_by_next_visit=np.nan,
        warning="no miles record of this unit",
    )
    table = decide(in_service(), blind, visits(("MD-001",)), orders(), COSTS, OPTIONS)
    assert (table["decision"] == "measure").all()
    assert table["reason"].str.contains("No estimate is possible: no miles record").all()


def test_a_pivot_that_growth_does_not_know_is_measured() -> None:
    table = decide(in_service(), growth().iloc[1:], visits(), orders(), COSTS, OPTIONS)
    assert table["decision"].tolist() == ["measure", *["leave"] * 5]
