"""Default and stated play limits.

Defaults: Quebec, Regulation respecting safety standards for road vehicles, C-24.2 r. 32,
section 116: the maker's limit; failing that 2 mm for pins up to 24 mm, 3.2 mm for larger pins.
"""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.pipeline.errors import SettingsError
from pivotlife.pipeline.limits import with_limits

TYPES = ("rubber-bonded", "threaded", "roller")


def limits(factory: ModuleType, pin: object = np.nan, **over: object) -> pd.DataFrame:
    """Limits of the three types at a fixed eye, then at an upper shackle pivot."""
    frame = pd.DataFrame(
        [
            {"unit_id": "U1", "node": node, "bushing_type": kind}
            for node in ("fixed-eye", "shackle-upper")
            for kind in TYPES
        ]
    )
    units = pd.DataFrame({"unit_id": ["U1"], "pin_diameter_mm": [pin]})
    return with_limits(frame, units, factory.settings(**over))


@pytest.mark.parametrize(
    ("pin", "limit"), [(np.nan, 3.2), (24.0, 2.0), (24.001, 3.2), (25.0, 3.2), (16.0, 2.0)]
)
def test_metal_takes_the_regulations_limit_by_pin_size(
    factory: ModuleType, pin: float, limit: float
) -> None:
    table = limits(factory, pin)
    assert table["limit_mm"].iloc[1:3].tolist() == [limit, limit]
    assert "C-24.2 r. 32 s. 116" in table["limit_source"].iloc[1]


def test_rubber_has_no_play_limit_by_default(factory: ModuleType) -> None:
    row = limits(factory).iloc[0]
    assert np.isnan(row["limit_mm"])
    assert row["limit_source"] == "no play limit for rubber-bonded: judged by findings"


def test_a_users_limit_outranks_the_default_and_is_converted(factory: ModuleType) -> None:
    stated = {"threaded": {"play": 0.125, "unit": "in", "source": "maker's manual"}}
    row = limits(factory, 20.0, limits=stated).iloc[1]
    assert row["limit_mm"] == pytest.approx(3.175, abs=1e-12)
    assert row["limit_source"] == "maker's manual"


def test_a_limit_for_one_node_leaves_the_others_alone(factory: ModuleType) -> None:
    table = limits(factory, limits={"roller": {"shackle-upper": {"play": 1.5}}})
    assert table["limit_mm"].iloc[2::3].tolist() == [3.2, 1.5]


def test_an_unknown_type_has_no_limit_and_says_so(factory: ModuleType) -> None:
    frame = pd.DataFrame({"unit_id": ["U1"], "node": ["fixed-eye"], "bushing_type": [""]})
    units = pd.DataFrame({"unit_id": ["U1"], "pin_diameter_mm": [np.nan]})
    row = with_limits(frame, units, factory.settings()).iloc[0]
    assert np.isnan(row["limit_mm"])
    assert "not on record" in row["limit_source"]


@pytest.mark.parametrize("unit", ["smoot", "mile", ""])
def test_a_limit_in_an_unfit_unit_is_refused(factory: ModuleType, unit: str) -> None:
    wrong = factory.settings(limits={"threaded": {"fixed-eye": {"play": 3.0, "unit": unit}}})
    frame = pd.DataFrame({"unit_id": ["U1"], "node": ["fixed-eye"], "bushing_type": ["threaded"]})
    units = pd.DataFrame({"unit_id": ["U1"], "pin_diameter_mm": [np.nan]})
    with pytest.raises(SettingsError, match=r"limits\.threaded\.fixed-eye\.unit: .*write for"):
        with_limits(frame, units, wrong)
