"""The parts of a position that a free text names: `renewed LH upper shackle pin`.

Only words that mean one thing are heard: left and right beside another word of place, never
`driver side`, `nearside` or `kerb side`, which change with the country. A part that a text names
twice differently (`upper and lower shackle`) is not named. A text that also speaks of another
place or another day (`check the other side next time`) or of a kingpin says nothing.

Common practice, no source. Not here: what the parts lead to.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

_SIDES: Final = {"left": "left", "lh": "left", "right": "right", "rh": "right"}
_NODES: Final = {
    "shackle-lower": r"lower (?:shackle|sh)|bottom shackle|shackle (?:lower|bottom)|lower pin",
    "shackle-upper": r"upper (?:shackle|sh)|top shackle|shackle (?:upper|top)|upper pin",
    "fixed-eye": r"fixed eye|anchor eye|eye fixed",
}
#: Beside one of these words `left` and `right` are sides; elsewhere "left as is", "right away".
_OF_PLACE: Final = (
    r"(?:hand|side|front|rear|shackle|lower|upper|top|bottom|fixed|anchor|eye|pin|spring|pivot"
    r"|axle|steer)s?"
)
_SIDE: Final = re.compile(rf"\b(lh|rh)\b|\b(left|right) {_OF_PLACE}\b|\b{_OF_PLACE} (left|right)\b")
_NODE: Final = {node: re.compile(rf"\b(?:{words})\b") for node, words in _NODES.items()}
_AXLE: Final = re.compile(r"\baxle (?:no |nr |number )?([1-9])\b")
#: `both pins of the upper shackle`, `lower and upper`: more than one place is meant.
_BOTH_NODES: Final = re.compile(r"\b(?:lower|bottom) (?:and|or) (?:upper|top)\b|\b(?:upper|top) "
                                r"(?:and|or) (?:lower|bottom)\b")  # fmt: skip
_ELSEWHERE: Final = re.compile(
    r"\b(?:king ?pins?|other|opposite|both|all|each|every|except|but|not|unlike|than|instead|also"
    r"|next|later|check|see|last|before|previous|previously|earlier|order|ordered)\b"
)


class NamedParts(NamedTuple):
    """What a text names of a position: axle (0 none), side and node ("" none)."""

    axle: int
    side: str
    node: str


NOTHING: Final = NamedParts(0, "", "")


def named_parts(text: str) -> NamedParts:
    """Hear the parts of a position in a free text.

    Parameters
    ----------
    text : str
        A remark as it was written.

    Returns
    -------
    NamedParts
    """
    words = re.sub(r"[^a-z0-9]+", " ", re.sub(r"\b([lr])[/.]h\b", r"\1h", text.casefold()))
    if not words.strip() or _ELSEWHERE.search(words):
        return NOTHING
    sides = {_SIDES[word] for found in _SIDE.findall(words) for word in found if word}
    nodes = {node for node, pattern in _NODE.items() if pattern.search(words)}
    if _BOTH_NODES.search(words):
        nodes.clear()
    axles = {int(number) for number in _AXLE.findall(words)}
    return NamedParts(
        axles.pop() if len(axles) == 1 else 0,
        sides.pop() if len(sides) == 1 else "",
        nodes.pop() if len(nodes) == 1 else "",
    )
