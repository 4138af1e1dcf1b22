"""Units that records may be written in, and the exact factor of each.

Pint knows the sizes; it is asked once for each distinct unit text, never in a loop over rows.
Its one registry here counts in fractions, so that 1/16 in is 1.5875 mm and a mile 1.609344 km
without a rounding error, and the factor becomes a float at the very end.

Three measures occur: `distance` (an odometer, canonical mile), `play` (movement at a pivot,
canonical millimetre) and `length` (a size of a part, canonical millimetre). A unit is refused
where its size makes no sense for the measure, and where its text means two things.

Not here: which column carries which unit, and what happens to a row whose unit is unreadable.
"""

from __future__ import annotations

import functools
import re
from fractions import Fraction
from typing import Any, Final, Literal

import pint

Measure = Literal["distance", "play", "length"]

#: Counting in fractions keeps every factor exact until the last step.
REGISTRY: Final[pint.UnitRegistry[Any]] = pint.UnitRegistry(non_int_type=Fraction)

#: What the converted columns are written in.
CANONICAL: Final[dict[Measure, str]] = {"distance": "mile", "play": "mm", "length": "mm"}

#: How the units that shops write are named after judging, and each as pint spells it.
NAMED: Final[dict[str, str]] = {
    "in": "inch",
    "thou": "thou",
    "mm": "millimeter",
    "cm": "centimeter",
    "1/16 in": "inch",
    "1/32 in": "inch",
    "1/64 in": "inch",
    "ft": "foot",
    "mi": "mile",
    "km": "kilometer",
}

#: Spellings met in records, lower case and without spaces or full stops.
SPELLINGS: Final[dict[str, str]] = {
    **dict.fromkeys(("in", "inch", "inches", '"', "''", "\u2033", "\u201d"), "in"),
    **dict.fromkeys(
        ("thou", "thous", "thousandth", "thousandths", "mil", "mils", "0001in", "1/1000in"), "thou"
    ),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("ft", "foot", "feet"), "ft"),
    **dict.fromkeys(("mi", "mile", "miles"), "mi"),
    **dict.fromkeys(("km", "kms", "kilometre", "kilometres", "kilometer", "kilometers"), "km"),
}

#: Texts that mean two units; guessing between them could hide a worn bushing.
AMBIGUOUS: Final[dict[str, str]] = {"m": "miles or metres"}

_FRACTION_OF_INCH: Final = re.compile(r'1/(16|32|64)(in|inch|inches|")?')
_ONE_WORD: Final = re.compile(r"[A-Za-z]{2,30}")

#: Smallest and largest unit that makes sense for each measure, in metres.
_SENSIBLE_SIZE: Final[dict[Measure, tuple[Fraction, Fraction]]] = {
    "distance": (Fraction(3, 10), Fraction(10_000)),
    "play": (Fraction(1, 1_000_000), Fraction(1)),
    "length": (Fraction(1, 1_000_000), Fraction(1)),
}


@functools.cache
def canonical_unit(text: str) -> str:
    """Name a unit the one way that the judged tables use.

    Parameters
    ----------
    text : str
        The unit as somebody wrote it, such as `Inches`, `"`, `1/16` or `THOU`.

    Returns
    -------
    str
        One of the keys of `NAMED`, or the pint name of any other unit of length.

    Raises
    ------
    ValueError
        When the text is no unit of length, or means more than one.
    """
    written = text.strip()
    tight = re.sub(r"[\s.]", "", written.casefold())
    if tight in SPELLINGS:
        return SPELLINGS[tight]
    if tight in AMBIGUOUS:
        raise ValueError(f"{written!r} could mean {AMBIGUOUS[tight]}")
    fraction = _FRACTION_OF_INCH.fullmatch(tight)
    if fraction:
        return f"1/{fraction[1]} in"
    return _any_length(written)


@functools.cache
def factor(text: str, measure: Measure) -> float:
    """Give the number that a value in this unit is multiplied by.

    Parameters
    ----------
    text : str
        The unit as written or in its canonical name.
    measure : {"distance", "play", "length"}
        What is measured: miles driven, movement at a pivot, or the size of a part.

    Returns
    -------
    float
        Miles per unit for a distance, millimetres per unit otherwise.

    Raises
    ------
    ValueError
        When the unit is unreadable, or too small or too large for the measure.
    """
    unit = canonical_unit(text)
    smallest, largest = _SENSIBLE_SIZE[measure]
    if not smallest <= _size(unit, "meter") <= largest:
        raise ValueError(f"{text.strip()!r} is not a unit for {_PLAIN[measure]}")
    return float(_size(unit, CANONICAL[measure]))


_PLAIN: Final[dict[Measure, str]] = {
    "distance": "an odometer",
    "play": "free play",
    "length": "the size of a part",
}


def _any_length(written: str) -> str:
    """Ask pint for a unit that shops do not commonly write, such as `furlong` or `yard`."""
    for name in (written, written.lower()):
        if not _ONE_WORD.fullmatch(name) or name not in REGISTRY:
            continue
        unit = REGISTRY.parse_units(name)
        if unit.dimensionality == {"[length]": 1}:
            return str(unit)
    raise ValueError(f"{written!r} is not a unit of length")


@functools.cache
def _size(unit: str, target: str) -> Fraction:
    parts = Fraction(1, int(unit[2:4])) if unit.startswith("1/") else Fraction(1)
    quantity = REGISTRY.Quantity(parts, REGISTRY.parse_units(NAMED.get(unit, unit)))
    return Fraction(quantity.to(REGISTRY.parse_units(target)).magnitude)
