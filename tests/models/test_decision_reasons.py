"""What an economic choice says."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.decision_economics import RULES
from pivotlife.models.decision_reasons import choice_reasons


def told(rule: str, **cells: object) -> str:
    usual: dict[str, object] = {
        "rule": rule,
        "wait_cost": 124.4,
        "kept_value": 51.2,
        "chance_between": 0.31,
        "chance_over_now": 0.22,
        "chance_over_at_visit": 0.24,
        "chance_over_by_next_visit": 0.48,
        "chance_lower": 0.41,
        "chance_upper": 0.004,
        "miles_since_reading": 62_345.0,
        "readings_used": 4,
        "last_free_play_mm": 2.5,
        "last_reading_date": pd.Timestamp("2026-05-02"),
        "limit_mm": 3.2,
        "visit_date": pd.Timestamp("2026-07-01"),
        "next_visit_date": pd.NaT,
        "age_miles": 40_000.0,
        "warning": "no miles record of this unit",
    }
    return choice_reasons(pd.DataFrame([{**usual, **cells}]), "EUR", 0.2, 60_000.0)[0]


def test_a_replacement_gives_both_amounts_and_the_band() -> None:
    assert told("waiting-costs-more") == (
        "Last play 2.50 mm (0.098 in) of 3.2 mm on 2026-05-02. Chance of failing between "
        "2026-07-01 and the visit after: 31 %; of being over the limit by then: 48 % (41 % to "
        "under 1 %). Waiting costs EUR 124 on average, the miles kept are worth EUR 51."
    )
    alone = told("waiting-costs-more", readings_used=0, limit_mm=np.nan, last_free_play_mm=np.nan)
    assert "of having failed by then" in alone
    assert alone.endswith("No play reading stands behind this: inspect before the job.")


def test_a_zero_beside_a_high_chance_is_not_left_to_puzzle_the_reader() -> None:
    odd = "That zero stands against its other readings or its miles: perhaps nobody measured."
    assert odd in told("waiting-costs-more", last_free_play_mm=0.0)
    assert odd not in told("waiting-costs-more")
    rubber = {"last_free_play_mm": 0.0, "limit_mm": np.nan}
    assert odd not in told("waiting-costs-more", **rubber)
    calm = {"chance_over_now": 0.01, "chance_over_at_visit": 0.19}
    assert odd not in told("waiting-costs-less", last_free_play_mm=0.0, **calm)


def test_a_band_that_says_nothing_more_is_left_out() -> None:
    sure = {"chance_over_by_next_visit": 0.999, "chance_lower": 0.998, "chance_upper": 1.0}
    assert "over the limit by then: over 99 %. Waiting" in told("waiting-costs-more", **sure)
    ends = {"chance_over_by_next_visit": 0.001, "chance_lower": 0.0, "chance_upper": 0.03}
    assert "by then: under 1 % (under 1 % to 3 %). W" in told("waiting-costs-more", **ends)


def test_play_without_a_finding_does_not_judge_what_has_no_limit() -> None:
    text = told("no-recent-reading", miles_since_reading=np.nan, limit_mm=np.nan)
    assert text.startswith("Last play 2.50 mm (0.098 in) on 2026-05-02. It came without a finding")
    unread = told("no-recent-reading", miles_since_reading=np.nan)
    assert unread.startswith("No usable reading of this bushing is on record.")


@pytest.mark.parametrize(
    ("rule", "part"),
    [
        ("chance-now", "by 2026-07-01 is 24 %, at or above the 20 % alarm"),
        ("chance-now-measure", "Measure it at this visit."),
        ("no-estimate", "No estimate is possible: no miles record of this unit. Measure it"),
        ("early-life", "at 40,000 mi it is under 60,000 mi and no reading confirms that"),
        (
            "no-recent-reading",
            "At the visit about 62,300 mi will have passed since the last",
        ),
        ("uncertain", "The band spans both choices (EUR 124 against EUR 51)"),
        ("waiting-costs-less", "Waiting costs EUR 124 on average"),
    ],
)
def test_each_rule_has_its_sentence(rule: str, part: str) -> None:
    assert part in told(rule)


def test_every_rule_can_be_told_without_figures() -> None:
    nothing = dict.fromkeys(
        [
            "wait_cost",
            "kept_value",
            "chance_between",
            "chance_over_now",
            "chance_over_at_visit",
            "chance_over_by_next_visit",
            "chance_lower",
            "chance_upper",
            "miles_since_reading",
            "last_free_play_mm",
            "limit_mm",
            "age_miles",
        ],
        np.nan,
    )
    for rule, _ in RULES:
        text = told(rule, **nothing, visit_date=pd.NaT, last_reading_date=pd.NaT, warning="")
        assert "nan" not in text.lower()
    assert told("no-recent-reading", **nothing).startswith("No usable reading of this bushing")
    assert "its age is not known" in told("early-life", **nothing)
