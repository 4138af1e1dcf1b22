"""Age replacement and renewal counts against published and independently computed tables.

The whole tables are read from the folder that PIVOTLIFE_REFERENCE names; a few of their values are
typed in so that they are checked without it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd
import pytest

from pivotlife.models.replacement import age_replacement, renewal_function

#: H. C. Tijms, A First Course in Stochastic Models (2003), Table 8.1.1: squared coefficient of
#: variation, t / mean, renewals M(t). The shapes are those with these coefficients of variation.
TIJMS = [
    (0.25, 0.2, 0.0261),
    (0.25, 0.8, 0.4141),
    (0.25, 1.5, 1.124),
    (0.25, 2.5, 2.125),
    (2.0, 0.2, 0.3841),
    (2.0, 1.0, 1.357),
    (2.0, 3.0, 3.460),
    (2.0, 7.5, 7.995),
]
SHAPE_AND_SCALE = {0.25: (2.10134909, 1.12906339), 2.0: (0.72090474, 0.81179335)}

#: Shape, failure cost over planned cost; optimal age / scale, rate x scale / planned cost, as
#: solved independently from h(x) integral(S) - F(x) = 1 / (ratio - 1).
AGE_TABLE = [
    (1.5, 2.0, 2.17464138, 2.2119998),
    (2.0, 5.0, 0.51065522, 4.08524179),
    (3.0, 3.0, 0.63654786, 2.43115907),
    (5.0, 20.0, 0.42066119, 2.97477009),
]


def reference(name: str) -> pd.DataFrame:
    folder = os.environ.get("PIVOTLIFE_REFERENCE", "")
    file = Path(folder) / name
    if not folder or not file.is_file():
        pytest.skip(f"PIVOTLIFE_REFERENCE names no folder with {name}")
    return pd.read_csv(file)


@pytest.mark.parametrize(("cv2", "t", "renewals"), TIJMS)
def test_renewals_of_tijms(cv2: float, t: float, renewals: float) -> None:
    shape, scale = SHAPE_AND_SCALE[cv2]
    half_a_digit = 0.00006 if renewals < 1 else 0.0006
    assert renewal_function(shape, scale, [t])[0] == pytest.approx(renewals, abs=half_a_digit)


def test_renewals_of_tijms_whole_table() -> None:
    table = reference("renewal_function_published.csv")
    names = ["shape", "scale_for_mean_1", "t", "M_published"]
    for shape, scale, t, renewals in table[names].to_numpy(dtype=float):
        half_a_digit = 0.00006 if renewals < 1 else 0.0006
        assert renewal_function(shape, scale, [t])[0] == pytest.approx(renewals, abs=half_a_digit)


@pytest.mark.parametrize(("shape", "ratio", "age", "rate"), AGE_TABLE)
def test_age_replacement_values(shape: float, ratio: float, age: float, rate: float) -> None:
    best = age_replacement(shape, 1.0, 1.0, ratio)
    assert best.optimal_miles == pytest.approx(age, rel=1e-6)
    assert best.cost_per_mile == pytest.approx(rate, rel=1e-6)


def test_age_replacement_whole_table() -> None:
    table = reference("age_replacement_weibull_table.csv")
    names = [
        "shape",
        "cost_ratio_failure_to_planned",
        "optimal_age_over_scale",
        "cost_rate_x_scale_over_planned_cost",
        "run_to_failure_cost_rate",
        "ratio_to_run_to_failure",
    ]
    for shape, ratio, age, rate, run, share in table[names].to_numpy(dtype=float):
        best = age_replacement(shape, 1.0, 1.0, ratio)
        assert best.optimal_miles == pytest.approx(age, rel=1e-6)
        assert best.cost_per_mile == pytest.approx(rate, rel=1e-6)
        assert best.run_to_failure_cost_per_mile == pytest.approx(run, rel=1e-6)
        assert 1 - best.saving == pytest.approx(share, abs=1e-6)
