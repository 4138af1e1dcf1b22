"""How a row is called: by its id, or by its line and, of several files, its file.

Not here: ids that are given twice (`rules`).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from pivotlife.pipeline.cells import Text
from pivotlife.pipeline.raw_table import row_files


def row_ids(raw: pd.DataFrame, ids: Text | None, *, joined: bool | None = None) -> Text:
    """Name each row by its id, or by its line (and file, where several were joined).

    Parameters
    ----------
    raw : DataFrame
        The rows as read.
    ids : ndarray of str, shape (n_rows,), or None
        Their ids, "" where blank; None where the table has no id.
    joined : bool, optional
        Whether several files make up the table; seen from the rows when left out.
    """
    if ids is not None and (ids != "").all():
        return ids
    numbers = raw["row_number"].tolist()
    if is_joined(raw) if joined is None else joined:
        files = row_files(raw).tolist()
        lines = [f"row {number} of {file}" for number, file in zip(numbers, files, strict=True)]
    else:
        lines = [f"row {number}" for number in numbers]
    if ids is None:
        return _column(lines)
    return _column([row_id or line for row_id, line in zip(ids.tolist(), lines, strict=True)])


def row_namer(frame: pd.DataFrame) -> Callable[[int], str]:
    """Give a function that names the row at a place by its line and, of several files, its file."""
    numbers = frame["row_number"].to_numpy()
    if not is_joined(frame):
        return lambda place: f"row {numbers[place]}"
    files = row_files(frame)
    return lambda place: f"row {numbers[place]} of {files[place]}"


def is_joined(frame: pd.DataFrame) -> bool:
    """Say whether several files make up the table."""
    return "file" in frame.columns and len(pd.unique(frame["file"])) > 1


def _column(texts: list[str]) -> Text:
    column = np.empty(len(texts), dtype=object)
    column[:] = texts
    return column
