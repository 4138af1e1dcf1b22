"""A study of the gauges: the same parts read by several inspectors, several times each."""

from __future__ import annotations

from pivotlife.data.contracts.columns import free_play_unit, play, text
from pivotlife.data.contracts.tables import table

GAUGE_STUDY = table(
    "gauge_study",
    "One reading of a gauge study a row; inspectors do not see each other's figures, nor their own"
    " earlier ones.",
    {
        "part": text("the pivot or test piece that was read", required=True),
        "inspector": text("who read it", required=True),
        "trial": text("which of the inspector's tries on this part", required=True),
        "free_play": play("total movement that was read", required=True),
        "free_play_unit": free_play_unit(),
    },
    key=("part", "inspector", "trial"),
)
