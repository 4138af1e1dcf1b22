"""The long-run cost of a mile on the finance page."""

from __future__ import annotations

from types import ModuleType

from pivotlife.dashboards.finance_long_run import long_run_sections, long_run_table


def test_a_mile_is_priced_with_how_often_play_is_read(factory: ModuleType) -> None:
    inputs = factory.make_inputs()
    (section,) = long_run_sections(inputs)
    assert section.tables[0].name == "long-run-cost"
    roller, threaded = long_run_table(inputs.tables["long_run_cost"], "USD").rows
    assert [cell.text for cell in threaded[:4]] == [
        *("regional", "threaded", "2.50", "growth of play, simulated"),
    ]
    assert threaded[4].text.replace("\u00a0", " ") == "32 %"
    assert threaded[4].notes[0].replace("\u00a0", " ") == "273 of 862 visits"
    # Where a life curve speaks nothing is read, and nothing is said to be.
    assert (roller[4].text, roller[5].text) == ("not asked", "")


def test_nothing_known_says_so(factory: ModuleType) -> None:
    empty = long_run_table(factory.empty("long_run_cost"), "USD")
    assert empty.empty == "No type's life is known."
