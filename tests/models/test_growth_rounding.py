"""Rounding classes: dial, rule, and sheets judged by eye in sixteenths of an inch."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_rounding import SIXTEENTH_MM, rounding_width_mm


def widths(written: list[str], mm_per_unit: float, sheet: list[int]) -> list[float]:
    values = pd.Series(written)
    unit = pd.Series(mm_per_unit, index=values.index)
    play = pd.to_numeric(values) * mm_per_unit
    return rounding_width_mm(play, values, unit, pd.Series(sheet)).tolist()


def test_the_usual_last_decimal_is_the_width() -> None:
    dial = ["0.012", "0.047", "0.10", "0.083", "0.051"]
    assert widths(dial, 25.4, [1, 1, 1, 2, 2]) == pytest.approx([0.0254] * 5)
    assert widths(["12", "47", "100"], 0.0254, [1, 1, 1]) == pytest.approx([0.0254] * 3)
    assert widths(["1.2", "0.4", "2.5"], 1.0, [1, 1, 1]) == pytest.approx([0.1] * 3)
    assert widths(["1", "0", "2"], SIXTEENTH_MM, [1, 1, 1]) == pytest.approx([SIXTEENTH_MM] * 3)


def test_a_value_two_decimals_coarser_keeps_its_own_width() -> None:
    """ "0.1" and "0" among thousandths of an inch: another unit, or never measured."""
    dial = ["0.012", "0.047", "0.1", "0", "0.10"]
    found = widths(dial, 25.4, [1, 2, 3, 4, 5])
    assert found == pytest.approx([0.0254, 0.0254, 2.54, 25.4, 0.0254])
    assert widths(["1.2", "0.4", "1.1", "0", "2"], 1.0, [1, 2, 3, 4, 5]) == pytest.approx([0.1] * 5)


def test_a_sheet_of_sixteenths_was_read_by_eye() -> None:
    sheet = [1, 1, 1, 2, 2, 2]
    inches = ["0.0625", "0.125", "0.000", "0.051", "0.062", "0.013"]
    assert widths(inches, 25.4, sheet) == pytest.approx([SIXTEENTH_MM] * 3 + [0.0254] * 3)
    rule = ["1.6", "3.2", "0.0", "1.6", "0.7", "1.1"]
    assert widths(rule, 1.0, sheet) == pytest.approx([SIXTEENTH_MM] * 3 + [0.1] * 3)
    assert widths(["1.6", "0.7", "1.1"], 1.0, [1, 2, 2]) == pytest.approx([0.1] * 3)


def test_a_sheet_of_zeros_was_read_by_eye() -> None:
    inches = ["0.000", "0.000", "0.000", "0.000", "0.021"]
    assert widths(inches, 25.4, [1, 1, 1, 2, 2]) == pytest.approx([SIXTEENTH_MM] * 3 + [0.0254] * 2)


def test_missing_readings_do_not_decide() -> None:
    written = pd.Series(["0.0625", "", "0.125"])
    play = pd.Series([1.5875, np.nan, 3.175])
    unit, sheet = pd.Series([25.4] * 3), pd.Series([1, 1, 1])
    found = rounding_width_mm(play, written, unit, sheet)
    assert found.tolist() == pytest.approx([SIXTEENTH_MM] * 3)
    assert found.name == "resolution_mm"


def test_the_law_survives_sheets_read_by_eye() -> None:
    """A tenth of all looks in sixteenths: with their class the gauge error stays what it is."""
    random = np.random.default_rng(3)
    n, looks = 600, 6
    life, look = np.repeat(np.arange(n), looks), np.tile(np.arange(looks), n)
    miles = 25_000.0 * (look + 1) * random.uniform(0.9, 1.1, n * looks)
    rate = 1.5 * np.exp(0.5 * random.normal(size=n))
    value = 0.3 + rate[life] * (miles / 1e5) ** 1.4 + random.normal(0, 0.15, n * looks)
    sheet = (life // 6) * looks + look
    by_eye = random.random(n * looks)[sheet] < 0.1
    step = np.where(by_eye, SIXTEENTH_MM, 0.0254)
    play = pd.Series(np.maximum(np.round(value / step) * step, 0.0))
    inches = pd.Series([f"{v / 25.4:.4f}" if eye else f"{v / 25.4:.3f}"
                        for v, eye in zip(play, by_eye, strict=True)])  # fmt: skip
    found = rounding_width_mm(play, inches, pd.Series(25.4, index=play.index), pd.Series(sheet))
    assert np.mean((found > 1.0) == by_eye) > 0.98
    frame = pd.DataFrame({"pivot_id": life, "miles": miles, "free_play_mm": play})
    with_class = FreePlayGrowth("normal").fit(frame.assign(resolution_mm=found)).law_
    without = FreePlayGrowth("normal").fit(frame).law_
    assert with_class.sigma_e_mm == pytest.approx(0.15, rel=0.05)
    assert with_class.exponent == pytest.approx(1.4, rel=0.03)
    assert without.sigma_e_mm > 1.1 * with_class.sigma_e_mm
