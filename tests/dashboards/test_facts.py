"""What unfolds under a line."""

from __future__ import annotations

import math
from types import ModuleType

import pandas as pd

from pivotlife.dashboards.facts import line_facts, rule_words


def joined(row: dict[str, object], grown: dict[str, object] | None = None) -> str:
    return " ".join(line_facts(row, grown or {}, "USD")).replace("\u00a0", " ")


def test_a_line_tells_limit_chances_amounts_and_records(factory: ModuleType) -> None:
    told = joined(factory.shortlist_row(mandatory="no"))
    assert "Read 2026-08-11; limit 3.20 mm (0.126 in), Quebec" in told
    assert "Over its limit or failed: 93 % now, 97 % (90 to 99 %) if it waits." in told
    assert "Waiting costs USD 412, keeps USD 38." in told
    assert "Records: readings:R-0412, repairs:W-0088." in told


def test_growth_and_company_are_told(factory: ModuleType) -> None:
    grown = factory.small_tables()["growth"].to_dict("records")[0]
    told = joined(factory.shortlist_row(joined_because="the shackle is open"), grown)
    assert (
        "Expected at the visit: 2.40 mm (0.094 in), band 2.10 to 2.90 mm, from 4 readings." in told
    )
    assert "Miles until due: 41,000." in told
    assert "The shackle is open." in told


def test_what_is_missing_is_said(factory: ModuleType) -> None:
    nothing = {
        "mandatory": "no",
        "last_reading_date": pd.NaT,
        "limit_mm": math.nan,
        "chance_over_now": math.nan,
        "chance_over_by_next_visit": math.nan,
        "wait_cost": math.nan,
        "kept_value": math.nan,
        "source_rows": "",
    }
    told = joined(factory.shortlist_row(**nothing))
    assert "No reading on record; no play limit applies." in told
    assert "Chance of being over its limit or failed: unknown." in told
    assert "Waiting" not in told
    assert "Records: none." in told


def test_a_line_put_off_names_its_price(factory: ModuleType) -> None:
    told = joined(factory.shortlist_row(postponed="yes", postponed_cost=120.0))
    assert "Put off, at an expected cost of USD 120." in told


def test_many_records_are_cut_with_their_number(factory: ModuleType) -> None:
    rows = ";".join(f"readings:row {n}" for n in range(2, 14))
    told = joined(factory.shortlist_row(source_rows=rows))
    assert "readings:row 9 and 4 more (all in shortlist.csv)" in told
    assert "readings:row 10" not in told


def test_a_line_left_alone_is_one_paragraph(factory: ModuleType) -> None:
    facts = line_facts(factory.shortlist_row(decision="leave"), {}, "USD")
    assert len(facts) == 1
    assert "Over or failed now: 93" in facts[0]
    assert "Records: readings:R-0412" in facts[0]


def test_rules_are_words() -> None:
    assert rule_words("waiting-costs-more") == "waiting costs more"
    assert rule_words("") == "unknown"
