"""A kit is named when exactly one agrees; otherwise the size that would decide is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.models.kit_match import FITS, MEASURE, OUTSIDE, SIZES, match_kits

#: Side-bar centre distance and spring width of one steer axle: 4 in each (common practice, no
#: source). The other sizes are invented.
INCH = 25.4
NAN = float("nan")


def kit(**over: Any) -> dict[str, Any]:
    return {
        "kit_id": "K-4",
        "bushing_type": "roller",
        "node": "fixed-eye",
        "outside": "ribbed",
        "side_bar_centres_mm": 4 * INCH,
        "spring_width_mm": 4 * INCH,
        "bushing_outside_diameter_mm": 1.75 * INCH,
        "tolerance_mm": 0.254,
        "drive_tool": "driver 1.75",
        **over,
    }


def pivot(**over: Any) -> dict[str, Any]:
    return {
        "pivot_id": "MD-1.1.left.fixed-eye",
        "unit_id": "MD-1",
        "bushing_type": "roller",
        "node": "fixed-eye",
        "side_bar_centres_mm": 101.6,
        "spring_width_mm": 101.6,
        "bushing_outside_diameter_mm": 44.45,
        **over,
    }


def match(pivots: dict[str, Any], *kits: dict[str, Any]) -> pd.Series:
    columns = list(kit())
    return match_kits(pd.DataFrame([pivots]), pd.DataFrame(list(kits), columns=columns)).iloc[0]


def test_four_inches_fit_101_6_millimetres() -> None:
    found = match(pivot(), kit(tolerance_mm=NAN), kit(kit_id="K-3", spring_width_mm=3 * INCH))
    assert (found["kit_id"], found["verdict"]) == ("K-4", FITS)
    assert found["drive_tool"] == "driver 1.75"
    assert "driver 1.75" in found["detail"]


@pytest.mark.parametrize("size", SIZES)
def test_one_size_beyond_its_tolerance_is_no_match(size: str) -> None:
    inside, outside = pivot(), pivot()
    inside[size] += 0.254
    outside[size] += 0.27
    assert match(inside, kit())["kit_id"] == "K-4"
    found = match(outside, kit())
    assert found["kit_id"] == ""
    assert found["verdict"] == MEASURE
    assert found["decides"] == SIZES[size]
    assert "0.02 mm beyond" in found["detail"]


def test_type_and_node_must_be_the_pivots_own() -> None:
    assert match(pivot(bushing_type="threaded"), kit())["kit_id"] == ""
    found = match(pivot(node="shackle-lower"), kit())
    assert found["kit_id"] == ""
    assert "no roller kit for the shackle-lower" in found["detail"]


@pytest.mark.parametrize(("node", "outside"), OUTSIDE.items())
def test_the_outside_belongs_to_the_node(node: str, outside: str) -> None:
    """Ribbed in the spring eye, smooth in the hanger: common practice, no source."""
    other = {"ribbed": "smooth", "smooth": "ribbed"}[outside]
    here = pivot(node=node)
    assert match(here, kit(node=node, outside=outside))["verdict"] == FITS
    assert match(here, kit(node=node, outside=""))["verdict"] == FITS
    wrong = match(here, kit(node=node, outside=other))
    assert wrong["verdict"] == MEASURE
    assert f"with a {outside} outside; correct the outside of K-4" in wrong["detail"]


def test_an_unknown_size_of_the_unit_decides() -> None:
    here = pivot(bushing_outside_diameter_mm=NAN)
    found = match(here, kit(), kit(kit_id="K-S", bushing_outside_diameter_mm=38.1))
    assert found["kit_id"] == ""
    assert found["decides"] == "bushing outside diameter"
    assert found["candidates"] == "K-4;K-S"
    assert "of this unit is not on record" in found["detail"]


def test_the_unknown_size_that_tells_kits_apart_comes_first() -> None:
    here = pivot(side_bar_centres_mm=NAN, spring_width_mm=NAN, bushing_outside_diameter_mm=NAN)
    found = match(here, kit(), kit(kit_id="K-3", spring_width_mm=3 * INCH))
    assert found["decides"] == "spring width"


def test_a_kit_that_hides_a_size_is_not_taken() -> None:
    found = match(pivot(), kit(spring_width_mm=NAN))
    assert found["verdict"] == MEASURE
    assert "spring width of the kit is not on record" in found["detail"]


def test_the_fixed_eye_asks_no_kit_for_side_bars() -> None:
    assert match(pivot(), kit(side_bar_centres_mm=NAN))["verdict"] == FITS
    lower = match(pivot(node="shackle-lower"), kit(node="shackle-lower", side_bar_centres_mm=NAN))
    assert lower["verdict"] == MEASURE


def test_several_agreeing_kits_are_no_match() -> None:
    found = match(pivot(), kit(), kit(kit_id="K-4b", bushing_outside_diameter_mm=44.6))
    assert (found["kit_id"], found["decides"]) == ("", "bushing outside diameter")
    twins = match(pivot(), kit(), kit(kit_id="K-4b"))
    assert twins["kit_id"] == ""
    assert "do not tell them apart" in twins["detail"]


def test_no_kit_at_all_and_no_pivot_at_all() -> None:
    assert match(pivot())["verdict"] == MEASURE
    assert match_kits(pd.DataFrame([pivot()]).iloc[:0], pd.DataFrame([kit()])).empty


sizes = st.one_of(st.just(NAN), st.sampled_from([38.1, 44.4, 44.45, 44.5, 76.2, 101.6]))
one_kit = st.fixed_dictionaries({**dict.fromkeys(SIZES, sizes), "tolerance_mm": st.just(0.1)})


@given(one_kit, st.lists(one_kit, max_size=4))
def test_a_named_kit_agrees_in_every_size_and_is_alone(
    unit: dict[str, float], listed: list[dict[str, float]]
) -> None:
    here = pivot(node="shackle-lower", **{size: unit[size] for size in SIZES})
    kits = [kit(kit_id=f"K{n}", node="shackle-lower", **k) for n, k in enumerate(listed)]
    agree = [
        k["kit_id"]
        for k in kits
        if all(abs(k[size] - here[size]) <= 0.1 + 1e-3 for size in SIZES)  # False with NaN
    ]
    found = match(here, *kits)
    assert found["kit_id"] == (agree[0] if len(agree) == 1 else "")
    assert (found["verdict"] == FITS) == (len(agree) == 1)
    assert found["detail"]


def test_equal_units_are_judged_alike() -> None:
    pivots = pd.DataFrame([pivot(), pivot(unit_id="MD-2", spring_width_mm=NAN), pivot()])
    found = match_kits(pivots, pd.DataFrame([kit()]))
    assert found["kit_id"].tolist() == ["K-4", "", "K-4"]
    assert found["unit_id"].tolist() == ["MD-1", "MD-2", "MD-1"]
    assert not np.any(found.isna())
