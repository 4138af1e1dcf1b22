"""The kinds of suspect values, what each means, and the shape of a finding.

A suspect value is one that can be right but does not look it, once other rows are held beside
it. It is marked and listed with its evidence; it is left out only where `judge.exclude_suspect`
names its kind. A row that cannot be understood is another matter: it is withheld with a fault.

Not here: finding them (`suspect_plays`, `suspect_events`, `suspect_kits`, `suspect_repeats`,
`suspect_odometers`), leaving them out (`suspects`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal, get_args

import numpy as np
import pandas as pd

from pivotlife.pipeline.raw_table import row_files

SuspectKind = Literal[
    "zero-not-measured",
    "sheet-of-zeros",
    "same-number",
    "thousandths-as-inches",
    "millimetres-as-inches",
    "play-shrank",
    "entered-twice",
    "before-service",
    "after-leaving",
    "nothing-fitted",
    "fitted-without-removal",
    "kit-wrong-node",
    "kit-wrong-type",
    "kit-holds-more",
    "odometer-off-track",
    "kilometres",
    "meter-change",
    "instrument-offset",
    "number-used-twice",
]
KINDS: Final[tuple[str, ...]] = get_args(SuspectKind)

#: Kinds that doubt the free play: leaving one out blanks the play and keeps the row.
PLAY_KINDS: Final = frozenset(KINDS[:6])
#: Kinds that doubt the odometer: leaving one out blanks it, the row takes its neighbours' miles.
ODOMETER_KINDS: Final = frozenset(KINDS[14:])
#: Kinds that doubt the row: leaving one out drops it.
ROW_KINDS: Final = frozenset(KINDS) - PLAY_KINDS - ODOMETER_KINDS

#: The kind whose later copies are always left out, so that no look counts twice.
ENTERED_TWICE: Final = "entered-twice"

#: What names a row of any table.
ROW_KEY: Final = ["table", "file", "row_number"]
FOUND_COLUMNS: Final = [
    *("table", "row_number", "row_id", "unit_id", "column", "kind", "evidence", "file"),
]


def found(rows: pd.DataFrame, kind: str, column: str, evidence: Sequence[str]) -> pd.DataFrame:
    """Write down one suspicion a row.

    Parameters
    ----------
    rows : DataFrame
        Judged rows: `table, row_number, row_id, unit_id` and, where several files were joined,
        `file`.
    kind : str
        One of `KINDS`.
    column : str
        Native column of the doubted value; "" where the whole row is doubted.
    evidence : sequence of str
        A sentence for each row.

    Returns
    -------
    DataFrame
        Columns `FOUND_COLUMNS`.
    """
    return pd.DataFrame(
        {
            "table": rows["table"].to_numpy(dtype=object),
            "row_number": rows["row_number"].to_numpy(dtype=np.int64),
            "row_id": rows["row_id"].to_numpy(dtype=object),
            "unit_id": rows["unit_id"].to_numpy(dtype=object),
            "column": column,
            "kind": kind,
            "evidence": np.array(list(evidence), dtype=object),
            "file": row_files(rows),
        }
    )[FOUND_COLUMNS]


def gathered(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Join findings of several rules; columns `FOUND_COLUMNS`, also when there is none."""
    filled = [part for part in parts if len(part)]
    if filled:
        return pd.concat(filled, ignore_index=True)
    empty = pd.DataFrame({name: np.array([], dtype=object) for name in FOUND_COLUMNS})
    return empty.astype({"row_number": np.int64})


def day_text(dates: pd.Series) -> list[str]:
    """Write dates as YYYY-MM-DD."""
    texts: list[str] = dates.dt.strftime("%Y-%m-%d").fillna("").tolist()
    return texts
