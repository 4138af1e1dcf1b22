"""Non-parametric curves against published figures and against lifelines."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_rossi

from pivotlife.models.nonparametric import npmle

#: Turnbull, JASA 69 (1974) 169-173: (age, exact, right-censored, left-censored).
DOUBLE_CENSORED = [(1, 12, 3, 2), (2, 6, 2, 4), (3, 2, 0, 2), (4, 3, 3, 5)]


def double_censored() -> pd.DataFrame:
    rows = []
    for age, exact, right, left in DOUBLE_CENSORED:
        rows += [(age, age, exact), (age, np.inf, right), (0.0, age, left)]
    return pd.DataFrame(rows, columns=["lower_miles", "upper_miles", "weight"])


def test_double_censored_lives_of_turnbull() -> None:
    # R package survival, tests/turnbull.R: .538 .295 .210 .095.
    curve = npmle(double_censored())
    assert curve.survival([1, 2, 3, 4]) == pytest.approx([0.538, 0.295, 0.210, 0.095], abs=5e-4)
    # survfit, default tolerance.
    computed = [0.53756771, 0.29459403, 0.20976022, 0.09484575]
    assert curve.survival([1, 2, 3, 4]) == pytest.approx(computed, abs=1e-6)
    assert curve.gradient_excess < 1e-8


def test_handbook_lives_by_kaplan_meier() -> None:
    # NIST e-Handbook 8.4.1.3, R listing: S(386) = 0.50 with standard error 0.1118.
    ages = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    lives = pd.DataFrame(
        {"lower_miles": ages + [500] * 10, "upper_miles": ages + [np.inf] * 10}, dtype=float
    )
    curve = npmle(lives)
    assert curve.survival(386.0) == pytest.approx(0.50, abs=1e-12)
    # log-log limits from that standard error.
    half = 1.959964 * 0.1118 / (0.5 * np.log(2.0))
    limits = np.exp(-np.log(2.0) * np.exp(np.array([half, -half])))
    assert [curve.lower(386.0), curve.upper(386.0)] == pytest.approx(limits, abs=2e-4)


def test_kaplan_meier_with_late_entry_against_lifelines() -> None:
    # lifelines counts a life at risk at its very entry age; half ages keep entries off failures.
    data = load_rossi()
    entry = np.where((data["week"] > 10) & (data["age"] < 24), 2.5 + data["prio"] % 5, 0.0)
    lives = pd.DataFrame(
        {
            "entry_miles": entry,
            "lower_miles": data["week"].astype(float),
            "upper_miles": np.where(data["arrest"] == 1, data["week"], np.inf),
        }
    )
    known = KaplanMeierFitter().fit(data["week"], data["arrest"], entry=entry)
    curve = npmle(lives)
    weeks = np.arange(1.0, 53.0)
    expected = known.survival_function_at_times(weeks).to_numpy()
    assert curve.survival(weeks) == pytest.approx(expected, abs=1e-10)
