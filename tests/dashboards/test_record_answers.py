"""Answers on the records: missed by play, gauges, second lives, what was dropped."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pandas as pd

from pivotlife.dashboards.record_answers import dropped, gauges, missed_by_play, second_lives


def texts(sentences: tuple[str, ...]) -> list[str]:
    return [sentence.replace("\u00a0", " ") for sentence in sentences]


def order_row(order: str, b10: float, **over: Any) -> dict[str, Any]:
    row = {
        "bushing_type": "threaded",
        "duty": "all",
        "node": "all",
        "life_order": order,
        "mode": "any",
        "lives": 80,
        "failures": 30,
        "informative_removals": "censored",
        "b10": b10,
        "b10_lower": 0.8 * b10,
        "b10_upper": 1.2 * b10,
    }
    return {**row, **over}


def test_missed_failures_are_added_up_with_each_modes_share(factory: ModuleType) -> None:
    rows = factory.make_inputs().tables["missed_by_play"]
    told = rows[(rows["bushing_type"] == "threaded") & rows["share_missed"].notna()]
    said = texts(missed_by_play({"missed_by_play": rows}).sentences)
    threaded = next(sentence for sentence in said if sentence.startswith("Threaded"))
    assert f"play missed {told['missed'].sum():.0f} of {told['with_reading'].sum():.0f}" in threaded
    assert threaded.count("95 % interval") == len(told)
    assert any("not judged" in sentence for sentence in said)
    hidden = told[told["share_missed_lower"] > 0.5]["mode"]
    assert len(hidden) > 0
    assert threaded.endswith(f"it does not announce {' and '.join(sorted(hidden))}.")
    none = told[told["share_missed_lower"] <= 0.5]
    if len(none):
        assert (
            "no mode on record hides from it"
            in missed_by_play({"missed_by_play": none}).sentences[0]
        )


def test_a_gauge_says_how_many_readings_it_rests_on(factory: ModuleType) -> None:
    said = texts(gauges(factory.make_inputs().tables).sentences)
    assert said[0].startswith("A single reading, whoever took it, is typically off by")
    assert "readings of the study; 95 % interval" in said[1]


def test_second_lives_are_told_apart_only_where_intervals_part() -> None:
    near = pd.DataFrame([order_row("first", 200_000.0), order_row("later", 180_000.0)])
    far = pd.DataFrame([order_row("first", 200_000.0), order_row("later", 90_000.0)])
    said = texts(second_lives({"comparison": near}).sentences)[0]
    assert said.startswith("Threaded: first lives B10 200,000 miles (160,000 to 240,000; 30 fail")
    assert said.endswith("take them as not told apart.")
    assert "later lives read shorter" in second_lives({"comparison": far}).sentences[0]
    longer = far.assign(life_order=["later", "first"])
    assert "later lives read longer" in second_lives({"comparison": longer}).sentences[0]
    alone = second_lives({"comparison": far.iloc[:1]}).sentences[0]
    assert alone == "Threaded: first lives only (30 failures of 80 lives), so nothing to compare."


def test_what_was_dropped_is_counted() -> None:
    counts = pd.DataFrame(
        {
            "bushing_type": ["roller", "roller", "threaded", "threaded"],
            "evidence": ["prevalent", "in-service", "unknown-age", "none-after-entry"],
            "lives": [5, 70, 10, 15],
        }
    )
    rows = pd.DataFrame({"table": ["lube"] * 40})
    answer = dropped({"life_counts": counts, "quarantine": rows.iloc[:3], "ledger": rows})
    assert texts(answer.sentences) == [
        "30 of 100 lives (30 %) take no part in a fit: already bad when first seen 5, never seen "
        "again after entry 15, age unknown 10; 3 of 40 source rows are withheld, each with its "
        "reason."
    ]


def test_what_was_settled_about_readings_is_said(factory: ModuleType) -> None:
    said = texts(gauges(factory.make_inputs().tables).sentences)
    assert any("40 inspection sheets did not say whether the joint was loaded" in t for t in said)
    assert any("9 of them were" in text for text in said)
    assert any(
        "Northpit A reads highest (+0.09 mm), Lowfen C lowest (\N{MINUS SIGN}0.12 mm" in t
        for t in said
    )
