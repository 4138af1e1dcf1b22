"""What a standing order says."""

from __future__ import annotations

import pandas as pd
import pytest

from pivotlife.models.safety_reasons import OrderFacts, order_reason

NAN = float("nan")
DAY = pd.Timestamp("2026-05-02")


def facts(cause: str, rule: str = "", decision: str = "replace", **told: object) -> OrderFacts:
    usual = OrderFacts(cause, rule or cause, decision, "", NAN, NAN, DAY, "", 1)
    return usual._replace(**told)  # type: ignore[arg-type]  # the tests name fields freely


@pytest.mark.parametrize(
    ("told", "text"),
    [
        (
            facts("over-limit", play_mm=3.3274, limit_mm=3.2, what="412,300 mi"),
            "Play 3.33 mm (0.131 in) was over the 3.2 mm limit on 2026-05-02 (412,300 mi). "
            "Replace it; only a replacement or a corrected record lifts this order.",
        ),
        (
            facts("over-limit", play_mm=17.78, limit_mm=3.2, contradicted=True),
            "Play 17.78 mm (0.700 in) was over the 3.2 mm limit on 2026-05-02. "
            "Replace it; only a replacement or a corrected record lifts this order. "
            "A later reading is less than half of it: the record may be mistaken, so measure again "
            "before ordering parts.",
        ),
        (
            facts("over-limit", play_mm=3.2, limit_mm=3.2),
            "Play 3.20 mm (0.126 in) reached the 3.2 mm limit on 2026-05-02. "
            "Replace it; only a replacement or a corrected record lifts this order.",
        ),
        (
            facts("park-finding", decision="park", finding="seized"),
            "Found seized on 2026-05-02. "
            "Park the unit; the order stands until this bushing is replaced.",
        ),
        (
            facts("axle-shifted", decision="park", finding="axle-shifted"),
            "Found axle-shifted on 2026-05-02. Park the unit until a repair on it is recorded.",
        ),
        (
            facts("refuses-grease", decision="measure"),
            "The pin took no grease on 2026-05-02. Remove and inspect this pin; the order stands "
            "until it takes grease or is replaced.",
        ),
        (
            facts("finding-unreadable", decision="measure", finding="craked"),
            "The finding 'craked' could not be read on 2026-05-02. "
            "Inspect this pivot, and correct the row.",
        ),
        (
            facts("failure-finding", "position-unknown", "measure", finding="split", rows=2),
            "Found split on 2026-05-02; 2 rows say so. "
            "The position is not recorded: measure every pivot of this unit.",
        ),
    ],
)
def test_evidence_then_action(told: OrderFacts, text: str) -> None:
    assert order_reason(told) == text


def test_a_lost_park_finding_parks_until_every_pivot_is_seen() -> None:
    told = facts("park-finding", "position-unknown", "park", finding="broken")
    assert "park the unit until every pivot has been found good or replaced" in order_reason(told)


def test_the_code_of_a_fault_is_not_for_the_reader_of_an_order() -> None:
    what = "withheld: free_play.too_large: free_play '39' is larger than an inch: wrong unit?"
    text = order_reason(facts("over-limit", what=what))
    assert "(withheld: free_play '39' is larger than an inch: wrong unit?)" in text


def test_an_undated_row_asks_for_its_correction() -> None:
    text = order_reason(facts("play-unit-unreadable", decision="measure", date=pd.NaT))
    assert text.startswith("Play was read in a unit that cannot be made out on an unreadable date.")
    assert text.endswith("correct the row.")
