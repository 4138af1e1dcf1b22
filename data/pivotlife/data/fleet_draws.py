"""The random numbers behind an invented fleet, by unit, stop and pivot, and what each settles.

They are all drawn before anything happens, so that a world with the campaign and one without it
share every accident up to a truck's conversion.

Not here: where the numbers come from (`fleet_units`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pivotlife.data.fleet_arrays import FloatArray
from pivotlife.data.fleet_bushings import BushingDraws

#: Uniform numbers drawn for each pivot at each stop, and what they settle.
CHANNELS = (
    "life", "badly_fitted", "peculiar", "breaks", "break_place", "extruded",
    "recorded", "acted", "partner", "bore", "bore_told", "teardown", "remeasured",
    "word", "grease_word", "direction",
)  # fmt: skip
#: Uniform numbers drawn once for each stop.
SHEET_CHANNELS = ("inspector", "loaded", "unlabelled", "greased", "sixteenth", "lag")
GAUGE_CHANNELS = ("reading", "remeasured", "teardown")


@dataclass(frozen=True)
class Draws:
    """Random numbers of a block of trucks by stop (0 = delivery).

    Attributes
    ----------
    pivot : ndarray of float, shape (units, stops, 6, len(CHANNELS))
    sheet : ndarray of float, shape (units, stops, len(SHEET_CHANNELS))
    gauge : ndarray of float, shape (units, stops, 6, 3)
        Standard normal numbers.
    """

    pivot: FloatArray
    sheet: FloatArray
    gauge: FloatArray

    def of(self, channel: str, stop: int) -> FloatArray:
        """Uniform numbers of one channel at one stop, shape (units, 6)."""
        return self.pivot[:, stop, :, CHANNELS.index(channel)]

    def of_sheet(self, channel: str, stop: int) -> FloatArray:
        """Uniform numbers of one sheet channel at one stop, shape (units,)."""
        return self.sheet[:, stop, SHEET_CHANNELS.index(channel)]

    def bushing(self, stop: int, mirrored: bool = False) -> BushingDraws:
        """Fate of bushings fitted at a stop; mirrored for those fitted on the road before it."""
        names = CHANNELS[:6]
        numbers = [self.of(name, stop) for name in names]
        return BushingDraws(*[1.0 - x if mirrored else x for x in numbers])
