"""Factors against the definitions of the inch, the yard and the mile.

The inch is 25.4 mm and the international mile 1,609.344 m exactly: international yard and pound
agreement of 1959; also NIST Special Publication 811, appendix B (values from memory).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.data.units_of_measure import NAMED, REGISTRY, SPELLINGS, canonical_unit, factor


@pytest.mark.parametrize(
    ("unit", "millimetres"),
    [
        ("in", 25.4),
        ("thou", 0.0254),
        ("mm", 1.0),
        ("cm", 10.0),
        ("1/16", 1.5875),
        ("1/32", 0.79375),
        ("1/64", 0.396875),
        ("ft", 304.8),
    ],
)
def test_play_factors_are_exact(unit: str, millimetres: float) -> None:
    assert factor(unit, "play") == millimetres


def test_one_eighth_inch_is_less_than_three_point_two_millimetres() -> None:
    # 0.125 in = 3.175 mm: under the 3.2 mm of Quebec regulation C-24.2 r. 32, section 116.
    assert 0.125 * factor("in", "play") == pytest.approx(3.175, abs=1e-15)
    assert 2 * factor("1/16 in", "play") == 3.175


def test_distance_factors_are_exact() -> None:
    assert factor("mi", "distance") == 1.0
    assert 1.0 / factor("km", "distance") == pytest.approx(1.609344, rel=1e-15)
    assert 160_934.4 * factor("km", "distance") == pytest.approx(100_000.0, rel=1e-15)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Inches", "in"),
        (" IN. ", "in"),
        ('"', "in"),
        ("1/16 in", "1/16 in"),
        ("1/16", "1/16 in"),
        ("1/32 Inch", "1/32 in"),
        ("Thousandths", "thou"),
        ("mil", "thou"),
        ("MM", "mm"),
        ("Miles", "mi"),
        ("KM", "km"),
        ("yards", "yard"),
    ],
)
def test_spellings_find_one_name(written: str, name: str) -> None:
    assert canonical_unit(written) == name


def test_every_named_unit_is_parsed_by_pint() -> None:
    for name, pint_name in NAMED.items():
        assert REGISTRY.parse_units(pint_name).dimensionality == {"[length]": 1}, name
    assert set(SPELLINGS.values()) <= set(NAMED)


@pytest.mark.parametrize("name", NAMED)
def test_a_canonical_name_names_itself(name: str) -> None:
    assert canonical_unit(name) == name


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("m", "'m' could mean miles or metres"),
        ("kg", "'kg' is not a unit of length"),
        ("2 in", "'2 in' is not a unit of length"),
        ("1/0", "'1/0' is not a unit of length"),
        ("Quantity", "'Quantity' is not a unit of length"),
        ("hours", "'hours' is not a unit of length"),
        ("", "'' is not a unit of length"),
    ],
)
def test_what_is_no_unit_is_refused(written: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        canonical_unit(written)


def test_a_unit_of_the_wrong_size_is_refused() -> None:
    with pytest.raises(ValueError, match="'mm' is not a unit for an odometer"):
        factor("mm", "distance")
    with pytest.raises(ValueError, match="'mil' is not a unit for an odometer"):
        factor("mil", "distance")
    with pytest.raises(ValueError, match="'km' is not a unit for free play"):
        factor("km", "play")


@given(st.text(max_size=12))
def test_any_text_gives_a_factor_or_a_refusal(text: str) -> None:
    try:
        value = factor(text, "play")
    except ValueError:
        return
    assert math.isfinite(value)
    assert value > 0.0
