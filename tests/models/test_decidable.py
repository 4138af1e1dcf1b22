"""When a comparison under way will be decided: rates, months, states and sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from pivotlife.models.decidable import (
    DECIDABLE_COLUMNS,
    HORIZON,
    decidable,
    failures_per_month,
    months_until,
)
from pivotlife.models.weibull import fit_weibull

RATES = {("roller", "all"): 1.0, ("threaded", "all"): 2.0}
VERDICT = "not enough evidence yet: B10 1.40 times as high"


def ratio_row(**changes: object) -> dict[str, object]:
    return {
        "numerator_type": "roller",
        "denominator_type": "threaded",
        "duty": "all",
        "estimand": "b10",
        "method": "adjusted",
        "ratio": 1.4,
        "ratio_lower": 0.9,
        "ratio_upper": 1.4**2 / 0.9,
        "p_value": 0.13,
        "numerator_failures": 20,
        "denominator_failures": 30,
        "verdict": VERDICT,
        **changes,
    }


def balance(difference: float = 0.05, effective: float = 80.0) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "numerator_type": ["roller"],
            "denominator_type": ["threaded"],
            "duty": ["all"],
            "difference_after": [difference],
            "numerator_effective": [effective],
            "denominator_effective": [120.0],
        }
    )


def said(weights: pd.DataFrame | None = None, **changes: object) -> dict[str, object]:
    table = decidable(
        pd.DataFrame([ratio_row(**changes)]), balance() if weights is None else weights, RATES
    )
    assert tuple(table.columns) == DECIDABLE_COLUMNS
    return {str(name): value for name, value in table.iloc[0].items()}


def test_a_constant_rate_gives_its_failures() -> None:
    # Shape 1: the failures of a month do not depend on age; few miles, so few fail twice.
    exact = np.random.default_rng(1).exponential(1e6, 4_000)
    fit = fit_weibull(pd.DataFrame({"lower_miles": exact, "upper_miles": exact}))
    here = pd.DataFrame(
        {
            "bushing_type": "roller",
            "duty": ["regional"] * 60 + ["line-haul"] * 40,
            "age_miles": [5e4] * 99 + [np.nan],
            "miles_per_month": 100.0,
        }
    )
    rates = failures_per_month(here, {("roller", "all"): fit})
    assert rates["roller", "regional"] == pytest.approx(60 * 100.0 / 1e6, rel=0.06)
    assert rates["roller", "all"] == pytest.approx(99 * 100.0 / 1e6, rel=0.06)
    assert ("threaded", "all") not in rates


def test_months_follow_from_the_failures_still_wanted() -> None:
    log_ratio, half, failures, pace = np.log(1.4), np.log(1.4 / 0.9), (20.0, 30.0), (1.0, 2.0)
    months = months_until(log_ratio, half, failures, pace)
    assert months is not None
    at = [1 / (20 + m) + 1 / (30 + 2 * m) for m in (months - 1, months)]
    width = [half * np.sqrt(v / (1 / 20 + 1 / 30)) for v in at]
    assert width[1] < log_ratio <= width[0]


def test_more_pairs_compared_at_once_take_longer() -> None:
    one = months_until(np.log(1.4), 0.4, (20.0, 30.0), (1.0, 2.0))
    three = months_until(np.log(1.4), 0.4, (20.0, 30.0), (1.0, 2.0), pairs=3)
    assert one is not None
    assert three is not None
    assert three > one
    # Bonferroni's bound is the first step of Holm's.
    wider = norm.isf(0.025 / 3) / norm.isf(0.025)
    assert three == months_until(np.log(1.4), 0.4 * wider, (20.0, 30.0), (1.0, 2.0))


def test_few_failures_must_come_first() -> None:
    found = months_until(3.0, 0.1, (2.0, 50.0), (0.5, 1.0))
    assert found == 6


def test_nothing_comes_in() -> None:
    assert months_until(0.2, 0.5, (20.0, 30.0), (0.0, 0.0)) is None
    slow = months_until(0.2, 2.0, (20.0, 30.0), (0.1, 0.1))
    assert slow is None
    assert HORIZON == 120


@pytest.mark.parametrize(
    ("changes", "weights", "state", "sentence"),
    [
        ({}, None, "in months", r"decidable in about \d+ months at this rate, if"),
        (
            {"verdict": "roller lasts longer than threaded"},
            None,
            "decided",
            "decided by the records as they stand",
        ),
        ({"ratio": 1.02, "ratio_upper": 1.1}, None, "alike", "seem to last alike"),
        ({"ratio_lower": 0.1, "ratio_upper": 19.6}, None, "not in ten years", "not decidable"),
        ({}, balance(difference=-0.4), "unlike trucks", "both types on like trucks"),
        ({}, balance(effective=12.0), "unlike trucks", "both types on like trucks"),
        (
            {"ratio": np.inf, "ratio_lower": 0.0, "ratio_upper": np.inf},
            None,
            "too few failures",
            "from so few failures$",
        ),
    ],
)
def test_states(
    changes: dict[str, object], weights: pd.DataFrame | None, state: str, sentence: str
) -> None:
    row = said(weights, **changes)
    assert row["state"] == state
    assert pd.Series([row["sentence"]]).str.contains(sentence, regex=True).all()
    assert np.isfinite(float(str(row["months"]))) == (state == "in months")


def test_what_is_excluded_already_is_said() -> None:
    row = said()
    assert "ratios below 0.90 and above 2.18 are all but excluded already" in str(row["sentence"])


def test_only_adjusted_ratios_of_b10_are_told() -> None:
    rows = [ratio_row(), ratio_row(method="pooled"), ratio_row(estimand="b50")]
    assert len(decidable(pd.DataFrame(rows), balance(), RATES)) == 1
