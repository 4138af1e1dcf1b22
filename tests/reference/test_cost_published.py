"""Replacement of other lives and annual costs against textbook cases.

The files with all figures are read from the folder that PIVOTLIFE_REFERENCE names; what is typed in
here is checked without it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd
import pytest

from pivotlife.models.block_replacement import cheapest_age
from pivotlife.models.cash_flows import present_value, yearly_payment

#: Two engineering-economy exercises: rate, cash flows of years 0 to 5 (costs positive), printed
#: annual cost (worked with rounded table factors; read second-hand), and that with exact factors.
ANNUAL = {
    "implement": (0.12, [12_500.0, 0, 100, 200, 300, 400 - 4_000], 3_015.40, 3_015.442172),
    "truck": (
        0.12,
        [45_000.0, 15_000, 17_000, 19_000, 21_000, 23_000 - 9_000],
        29_616.0,
        29615.939355,
    ),
}


@pytest.mark.parametrize("case", list(ANNUAL))
def test_annual_cost_of_the_exercises(case: str) -> None:
    rate, flows, printed, exact = ANNUAL[case]
    cost = yearly_payment(present_value(flows, rate), rate, 5)
    assert cost == pytest.approx(exact, abs=1e-5)
    assert cost == pytest.approx(printed, abs=0.1)


def test_annual_costs_of_the_file() -> None:
    folder = os.environ.get("PIVOTLIFE_REFERENCE", "")
    file = Path(folder) / "annual_cost_cases.csv"
    if not folder or not file.is_file():
        pytest.skip("PIVOTLIFE_REFERENCE names no folder with annual_cost_cases.csv")
    for name, rows in pd.read_csv(file).groupby("case"):
        flows = rows.groupby("year")["cash_flow_cost"].sum().to_numpy(dtype=float)
        rate = float(rows["rate"].iloc[0])
        cost = yearly_payment(present_value(flows, rate), rate, len(flows) - 1)
        assert cost == pytest.approx(ANNUAL[str(name)][3], abs=1e-5)


def test_component_with_an_even_life() -> None:
    """A. Jardine and A. Tsang, Maintenance, Replacement and Reliability, ch. 2 problem 2.

    Life even over 0 to 40,000 km, renewal 100, failure 200. Printed cost per km of the ages
    10,000 to 40,000 (read second-hand): 0.0143, 0.0100, 0.0093, 0.0100; best in closed form
    40,000 (sqrt 3 - 1).
    """
    age, cost = cheapest_age(lambda km: max(0.0, 1.0 - km / 40_000.0), 40_000.0, 100.0, 200.0)
    assert age == pytest.approx(40_000.0 * (3.0**0.5 - 1.0), rel=1e-5)
    assert cost == pytest.approx(0.009330127019, rel=1e-9)
    for km, printed in ((10_000.0, 0.0143), (20_000.0, 0.0100), (30_000.0, 0.0093)):
        _, at = cheapest_age(lambda m: max(0.0, 1.0 - m / 40_000.0), km, 100.0, 200.0)
        assert at == pytest.approx(printed, abs=5e-5)


def test_component_with_a_rising_density() -> None:
    """R. Durrett, Essentials of Stochastic Processes, exercise 3.16: density 2t/900 on 0 to 30.

    Renewal 300, failure 1,200; the text prints no answer, the figures were computed apart.
    """
    age, cost = cheapest_age(lambda t: max(0.0, 1.0 - t * t / 900.0), 30.0, 300.0, 1_200.0)
    assert age == pytest.approx(14.576048, rel=1e-5)
    assert cost == pytest.approx(38.160589, rel=1e-7)
