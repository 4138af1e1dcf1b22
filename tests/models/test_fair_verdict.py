"""Every way a verdict can be lacking, and what a verdict says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pivotlife.models.fair_verdict import Evidence, verdict

CLEAR = Evidence(
    numerator="roller",
    denominator="threaded",
    duty="all",
    age="B10",
    ratio=1.5,
    lower=1.2,
    upper=1.9,
    p_holm=0.01,
    failures=(60, 150),
    effective=120.0,
    unlike="salted roads",
    difference=0.05,
    other="weighted",
    other_ratio=1.4,
    condition_known=True,
)


def test_a_clear_case_is_said_with_failures_interval_and_doubt() -> None:
    said = verdict(CLEAR)
    assert said.startswith("roller lasts longer than threaded in this fleet's mix: B10 1.50 times")
    assert "95 % interval 1.20 to 1.90, 60 roller and 150 threaded failures" in said
    assert "the weighted comparison reads 1.40" in said
    assert "what nobody wrote down may still differ" in said


def test_a_shorter_life_is_said_as_such() -> None:
    said = verdict(replace(CLEAR, ratio=0.7, lower=0.6, upper=0.8, other_ratio=0.72))
    assert said.startswith("roller lasts less long than threaded")


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (
            {"failures": (4, 150)},
            "4 roller and 150 threaded failures in this fleet's mix; it takes 5",
        ),
        ({"upper": np.inf}, "set no limits to the ratio"),
        ({"ratio": np.nan}, "set no limits to the ratio"),
        ({"effective": 29.0}, "weigh as 29 only; it takes 30"),
        ({"difference": -0.21}, "still differ in salted roads after weighting (0.21"),
        ({"lower": 0.95}, "if the ratio is what it seems, it takes about"),
        ({"p_holm": 0.06}, "it may be chance (p = 0.06 with the others counted); if the ratio is"),
        (
            {"ratio": 1.01, "lower": 0.9, "upper": 1.1},
            "below 0.90 or above 1.10 is all but excluded",
        ),
        ({"duty": "regional", "effective": 3.0}, "in regional duty"),
    ],
)
def test_what_is_lacking_is_said(change: dict[str, object], reason: str) -> None:
    said = verdict(replace(CLEAR, **change))
    assert said.startswith("not enough evidence yet: ")
    assert reason in said


def test_wider_limits_take_more_failures() -> None:
    def wanted(upper: float) -> int:
        text = verdict(replace(CLEAR, lower=1.5**2 / upper, upper=upper))
        return int(text.split("about ")[1].split(" ")[0].replace(",", ""))

    # Limits twice as wide on the log scale: four times the failures.
    assert wanted(1.5 * 1.5**3) == pytest.approx(210 * 9, abs=10)
    assert wanted(1.5 * 1.5**2) == pytest.approx(210 * 4, abs=10)


def test_disagreement_of_the_two_comparisons_is_the_doubt() -> None:
    assert "points the other way (0.90)" in verdict(replace(CLEAR, other_ratio=0.9))
    assert "but the weighted comparison reads 2.50" in verdict(replace(CLEAR, other_ratio=2.5))
    assert "finds no ratio" in verdict(replace(CLEAR, other_ratio=np.nan))
    assert "how worn the bores were" in verdict(replace(CLEAR, condition_known=False))
