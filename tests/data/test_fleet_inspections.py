"""What invented inspectors write: rounding by unit, sixteenths, findings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.data import fleet_inspections as fi
from pivotlife.data import scenario as sc
from pivotlife.data.fleet_block import play_text
from pivotlife.data.fleet_bushings import Bushings

STEP_MM = {sc.INCHES: 0.0254, sc.THOUSANDTHS: 0.0254, sc.MILLIMETRES: 0.1}


def write(raw_mm: float, unit: int, sixteenth: bool = False) -> tuple[str, float]:
    seen = fi.write_play(np.array([raw_mm]), np.array([unit]), np.array([sixteenth]))
    text = play_text(seen.written, np.array([unit]), np.array([False]))
    return text[0], float(seen.written_mm[0])


@given(raw=st.floats(0.0, 8.0), unit=st.sampled_from([0, 1, 2]))
def test_rounding_moves_a_reading_by_half_a_step_at_most(raw: float, unit: int) -> None:
    text, shown = write(raw, unit)
    assert abs(shown - raw) <= 0.5 * STEP_MM[unit] + 1e-9
    assert float(text) * fi.MM_PER_PLAY_UNIT[unit] == pytest.approx(shown, abs=1e-9)


@given(raw=st.floats(0.0, 8.0), unit=st.sampled_from([sc.INCHES, sc.THOUSANDTHS]))
def test_an_eye_sees_sixteenths(raw: float, unit: int) -> None:
    text, shown = write(raw, unit, sixteenth=True)
    assert (shown / (25.4 / 16)) == pytest.approx(round(shown / (25.4 / 16)), abs=1e-6)
    assert abs(shown - raw) <= 25.4 / 32 + 1e-9
    assert float(text) * fi.MM_PER_PLAY_UNIT[unit] == pytest.approx(shown, abs=1e-9)


def test_an_eighth_of_an_inch_passes_barely_unless_written_in_tenths_of_a_millimetre() -> None:
    # 25.4 mm to the inch is exact, so 1/8 in is 3.175 mm, under a limit of 3.2 mm.
    assert write(3.175, sc.INCHES)[0] == "0.125"
    assert write(3.175, sc.INCHES)[1] == pytest.approx(3.175)
    assert write(3.175, sc.THOUSANDTHS)[0] == "125"
    assert write(3.21, sc.INCHES)[0] == "0.126"
    assert write(1.6, sc.INCHES, sixteenth=True)[0] == "0.0625"
    assert write(1.6, sc.THOUSANDTHS, sixteenth=True)[0] == "62.5"
    assert write(3.175, sc.MILLIMETRES)[0] == "3.2"


def test_a_gauge_below_zero_reads_zero() -> None:
    assert write(-0.3, sc.INCHES) == ("0.000", 0.0)


def test_rubber_always_has_a_word_and_a_seized_pin_is_found_at_t() -> None:
    kind = np.array([sc.RUBBER, sc.RUBBER, sc.RUBBER, sc.THREADED, sc.THREADED, sc.ROLLER])
    flags = np.array([False, False, False, True, True, False])
    extruded = np.array([False, False, True, False, False, False])
    wear_age = np.full(6, 100_000.0)
    none = np.zeros(6, dtype=bool)
    bushings = Bushings(kind, wear_age, np.full(6, np.inf), flags, none, none, extruded)
    age = np.array([99_999.0, 100_000.0, 100_000.0, 99_999.0, 100_000.0, 10.0])
    finding, greasable = fi.find(bushings, age, none, np.full(6, 0.9))
    words = [fi.FINDINGS[code] for code in finding]
    assert words == ["ok", "split", "extruded", "", "seized", ""]
    assert greasable.tolist() == [True, True, True, False, False, True]


def test_inspectors_differ_by_about_a_tenth_of_a_millimetre() -> None:
    bias = np.concatenate([fi.inspector_bias_mm(seed).ravel() for seed in range(40)])
    assert len(bias) == 640
    assert bias.std() == pytest.approx(sc.INSPECTOR_SD_MM, rel=0.12)
