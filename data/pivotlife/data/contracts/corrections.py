"""Cells that a person has put right, each with its reason."""

from __future__ import annotations

from pivotlife.data.contracts.columns import text
from pivotlife.data.contracts.tables import table

CORRECTIONS = table(
    "corrections",
    "One cell of one row put right: what it said, what it should say, why, and who says so.",
    {
        "table": text("the table of the row", required=True),
        "row_id": text("id of the row, or `row 57` (`row 57 of file`) without one", required=True),
        "column": text("the column, by the name this dictionary gives it", required=True),
        "old_value": text("what the cell says, as in the file; blank = empty", required=True),
        "new_value": text("what it should say, as the file writes; blank = empty", required=True),
        "reason": text("why", required=True),
        "by": text("who says so", required=True),
    },
)
