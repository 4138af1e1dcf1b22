"""Sizes measured at a pivot: they stand in for a missing record and confirm or doubt the kit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.kit_match import FITS, MEASURE, match_kits
from pivotlife.pipeline.measured_sizes import completed, confirmed, measured_sizes

PIVOT = "U1.1.left.shackle-upper"
KIT = {
    "kit_id": "K1", "bushing_type": "threaded", "node": "shackle-upper", "outside": "smooth",
    "side_bar_centres_mm": 101.6, "spring_width_mm": 101.6, "bushing_outside_diameter_mm": 38.0,
    "tolerance_mm": 0.5, "drive_tool": "T1",
}  # fmt: skip
#: An invented kit for a wider spring.
WIDE = KIT | {"kit_id": "K2", "spring_width_mm": 120.0}


def line(width: float) -> pd.DataFrame:
    row = {"pivot_id": PIVOT, "unit_id": "U1", "bushing_type": "threaded", "node": "shackle-upper"}
    sizes = {"side_bar_centres_mm": 101.6, "bushing_outside_diameter_mm": 38.0}
    return pd.DataFrame([row | sizes | {"spring_width_mm": width}])


def read(*widths: tuple[str, float], pivot: str = PIVOT) -> pd.DataFrame:
    rows = [
        {"pivot_id": pivot, "reading_date": pd.Timestamp(day), "spring_width_mm": width,
         "side_bar_centres_mm": np.nan, "bushing_outside_diameter_mm": np.nan}
        for day, width in widths
    ]  # fmt: skip
    return measured_sizes(pd.DataFrame(rows))


def match(width: float, measured: pd.DataFrame) -> pd.Series:
    lines = line(width)
    found = match_kits(completed(lines, measured), pd.DataFrame([KIT, WIDE]))
    return confirmed(found, lines, measured).iloc[0]


def test_the_latest_measurement_counts() -> None:
    found = read(("2026-03-01", 101.0), ("2026-05-01", 101.4), ("2026-04-01", 99.0))
    assert found.loc[PIVOT, "spring_width_mm"] == 101.4
    assert found.loc[PIVOT, "measured_on"] == pd.Timestamp("2026-05-01")
    assert read(("2026-03-01", 101.0), pivot="").empty


def test_a_measured_size_stands_in_for_a_missing_record() -> None:
    found = match(np.nan, read(("2026-05-01", 101.5)))
    assert (found["kit_id"], found["verdict"]) == ("K1", FITS)
    assert "Measured at the pivot by 2026-05-01: spring width" in found["detail"]
    unmeasured = match(np.nan, read(("2026-05-01", 101.5), pivot="U1.1.right.shackle-upper"))
    assert (unmeasured["kit_id"], unmeasured["decides"]) == ("", "spring width")


@pytest.mark.parametrize(("width", "kit"), [(101.0, "K1"), (102.6, "K1"), (120.0, ""), (99.0, "")])
def test_a_measured_size_confirms_the_record_or_takes_the_kit_back(width: float, kit: str) -> None:
    found = match(101.6, read(("2026-05-01", width)))
    assert found["kit_id"] == kit
    if not kit:
        assert found["verdict"] == MEASURE
        assert found["decides"] == "spring width"
        told = f"The spring width measured on 2026-05-01 is {width:.1f} mm, on record 101.6 mm"
        assert found["detail"].startswith(told)
