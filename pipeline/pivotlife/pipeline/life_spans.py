"""Spans: one bushing in one pivot, from fitting to removal.

Not here: which repairs begin and end them (`repair_jobs`), what the readings say of a span,
ages, verdicts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from pivotlife.pipeline.repair_places import (
    PHASES,
    Line,
    Place,
)

BEGINNING: Final = -(2**60)
END: Final = 2**60
#: A kit line says why the job was done, not which of its pivots had failed.
FAILURE_REASONS: Final = frozenset({"wear", "broken", "seized", "split", "rough", "loose-fit"})
#: Reason of a life that ends because a repair may have renewed it or another pivot.
UNPLACED: Final = "unplaced-repair"


@dataclass
class Span:
    """One bushing in one pivot (see the column list of `spans_frame`)."""

    unit_id: str
    place: Place
    number: int
    bushing_type: str
    start_key: int
    fitted_miles: float
    rows: list[str]
    end_key: int = END
    removed_miles: float = float("nan")
    end_index: int = -1
    removed_reason: str = ""
    doubtful_end: bool = False
    shared_end: bool = False


class Renewal(NamedTuple):
    """A pivot that a repair line renewed, and whether that is beyond doubt."""

    line_index: int
    pivot_id: str
    certain: bool


class UnitSpans:
    """The spans of one unit while its repairs are read in order of time."""

    def __init__(self, unit_id: str, spans: Sequence[Span]) -> None:
        self.unit_id = unit_id
        self.places = [span.place for span in spans]
        self.open: dict[str, Span | None] = {span.place.pivot_id: span for span in spans}
        self.last: dict[str, Span] = {span.place.pivot_id: span for span in spans}
        self.closed: list[Span] = []
        self.renewed: list[Renewal] = []

    def close(self, place: Place, line: Line, *, shared: bool, doubtful: bool = False) -> bool:
        """End what is in the pivot; False when nothing was."""
        span = self.open[place.pivot_id]
        if span is None:
            return False
        span.end_key, span.removed_miles = line.key, line.true_miles
        span.end_index, span.shared_end, span.doubtful_end = line.line_index, shared, doubtful
        span.removed_reason = UNPLACED if doubtful else (line.reason or "unknown")
        span.rows.append(line.source_row)
        self.closed.append(span)
        self.open[place.pivot_id] = None
        return True

    def begin(self, place: Place, line: Line, *, age_known: bool = True) -> None:
        """Put a new bushing into the pivot; without a stated type, one like the last."""
        last = self.last[place.pivot_id]
        kind = (line.bushing_type if age_known else "") or last.bushing_type
        miles = line.true_miles if age_known else float("nan")
        span = Span(self.unit_id, place, last.number + 1, kind, line.key, miles, [line.source_row])
        self.open[place.pivot_id] = self.last[place.pivot_id] = span

    def began_that_day(self, place: Place, line: Line) -> bool:
        """Say whether an earlier line of the same day already renewed the pivot."""
        span = self.open[place.pivot_id]
        return span is not None and span.start_key // PHASES == line.day

    def all_spans(self) -> list[Span]:
        """List the closed spans and those still open."""
        return self.closed + [span for span in self.open.values() if span is not None]


def spans_frame(spans: Sequence[Span]) -> pd.DataFrame:
    """Write spans as a table, in order of pivot and time.

    Returns
    -------
    DataFrame
        `unit_id, pivot_id, axle, side, node, number` (1 for what was in place first),
        `bushing_type, start_key, end_key, fitted_miles` (NaN unknown), `removed_miles` (NaN
        while in service), `end_index` (repair row, -1 none), `removed_reason, doubtful_end`
        (a repair that may have meant another pivot), `shared_end` (the line covers several
        pivots, its reason is not this one's), `rows` (list of source rows).
    """
    frame = pd.DataFrame(
        {
            "unit_id": [s.unit_id for s in spans],
            "pivot_id": [s.place.pivot_id for s in spans],
            "axle": np.array([s.place.axle for s in spans], dtype=float),
            "side": [s.place.side for s in spans],
            "node": [s.place.node for s in spans],
            "number": np.array([s.number for s in spans], dtype=np.int64),
            "bushing_type": [s.bushing_type for s in spans],
            "start_key": np.array([s.start_key for s in spans], dtype=np.int64),
            "end_key": np.array([s.end_key for s in spans], dtype=np.int64),
            "fitted_miles": np.array([s.fitted_miles for s in spans], dtype=float),
            "removed_miles": np.array([s.removed_miles for s in spans], dtype=float),
            "end_index": np.array([s.end_index for s in spans], dtype=np.int64),
            "removed_reason": [s.removed_reason for s in spans],
            "doubtful_end": np.array([s.doubtful_end for s in spans], dtype=bool),
            "shared_end": np.array([s.shared_end for s in spans], dtype=bool),
            "rows": pd.Series([s.rows for s in spans], dtype=object),
        }
    )
    texts = ("unit_id", "pivot_id", "side", "node", "bushing_type", "removed_reason")
    frame = frame.astype(dict.fromkeys(texts, object))
    return frame.sort_values(["pivot_id", "number"], ignore_index=True)


def first_spans(pivots: pd.DataFrame, extra: pd.DataFrame) -> dict[str, list[Span]]:
    """Spans that stood when records began.

    Parameters
    ----------
    pivots : DataFrame
        Judged pivots, one row per pivot.
    extra : DataFrame
        `unit_id, pivot_id, axle, side, node` of pivots that only readings or repairs know;
        what was in them is of unknown type and age.
    """
    spans: dict[str, list[Span]] = defaultdict(list)
    columns = ["unit_id", "pivot_id", "axle", "side", "node"]
    declared = pivots[[*columns, "bushing_type", "fitted_odometer_miles", "source_row"]]
    undeclared = extra[columns].assign(
        bushing_type="", fitted_odometer_miles=float("nan"), source_row=""
    )
    for frame in (declared, undeclared):
        for unit, pivot, axle, side, node, kind, fitted, row in frame.itertuples(
            index=False, name=None
        ):
            place = Place(pivot, axle, side, node)
            rows = [row] if row else []
            spans[unit].append(Span(unit, place, 1, kind, BEGINNING, fitted, rows))
    return dict(spans)
