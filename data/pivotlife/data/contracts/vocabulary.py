"""The words that the tables share: duties, positions, types, findings, actions, reasons.

Not here: what a finding or a reason means for a bushing's life.
"""

from __future__ import annotations

from typing import Final

DUTIES: Final = ("line-haul", "regional", "vocational")
SIDES: Final = ("left", "right")
NODES: Final = ("fixed-eye", "shackle-lower", "shackle-upper")
BUSHING_TYPES: Final = ("rubber-bonded", "threaded", "roller")
FINDINGS: Final = (
    "ok",
    "split",
    "extruded",
    "seized",
    "rough",
    "rust-in-purge",
    "loose-fit",
    "part-missing",
    "cracked",
    "broken",
    "axle-shifted",
)
ACTIONS: Final = ("fitted", "removed", "replaced", "regreased", "adjusted")
REASONS: Final = (
    "wear",
    "broken",
    "seized",
    "split",
    "rough",
    "loose-fit",
    "preventive",
    "partner",
    "campaign",
    "accident",
    "sale",
    "warranty",
    "unknown",
)
LOWEST_AXLE: Final = 1
HIGHEST_AXLE: Final = 9
#: The three parts of a position; a row that leaves any of them blank names no pivot.
POSITION: Final = ("axle", "side", "node")
