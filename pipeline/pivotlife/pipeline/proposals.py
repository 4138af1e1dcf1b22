"""A mapping proposed for headers that nobody knows: closest words, and what stands below them.

Every unknown header is scored against every native column that the file lacks; the best pairing
of all is taken as a whole (the assignment problem), and pairs that are weak or nearly tied are
left out. Nothing is applied: the result is text for the settings file.

Not here: values, units, dates and numbers (`value_proposals`), the text (`proposal_text`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import linear_sum_assignment

from pivotlife.data.contracts.columns import ColumnFacts
from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.data.contracts.tables import column_facts, required_columns, table_facts
from pivotlife.pipeline.column_evidence import Values, fit, sample, unit_names
from pivotlife.pipeline.header_words import likeness, shared_prefix
from pivotlife.pipeline.text_table import written_columns

#: A pair below this is not proposed; a required column asks for more.
ENOUGH: Final = 0.58
ENOUGH_REQUIRED: Final = 0.62
#: A pair without which everything fits nearly as well is not proposed.
TIE: Final = 0.03
_NAME_SHARE: Final = 0.62


@dataclass(frozen=True)
class ColumnProposal:
    """One proposed pair.

    Attributes
    ----------
    column : str
        Native column.
    header : str
        Header in the file.
    score : float
        From 0 to 1.
    """

    column: str
    header: str
    score: float


def propose_columns(
    frame: pd.DataFrame,
    table: str,
    chosen: Mapping[str, Sequence[str]],
    unit_ids: frozenset[str] = frozenset(),
) -> list[ColumnProposal]:
    """Propose native columns for the unknown headers of a file.

    Parameters
    ----------
    frame : DataFrame
        The file's columns as text under its own headers.
    table : str
        Name of its contract.
    chosen : mapping of str to sequence of str
        What the settings map already.
    unit_ids : frozenset of str
        Units that the units table names, by `name_key`.

    Returns
    -------
    list of ColumnProposal
        In the order of the contract; columns already there or mapped are left out.
    """
    facts = column_facts(CONTRACTS[table])
    taken = {header for headers in chosen.values() for header in headers}
    headers = [name for name in written_columns(frame) if name not in facts and name not in taken]
    wanted = [name for name in facts if name not in frame.columns and name not in chosen]
    if not headers or not wanted:
        return []
    scores = _scores(frame, headers, wanted, table, unit_ids)
    rows, places = linear_sum_assignment(-scores)
    best = float(scores[rows, places].sum())
    required = set(required_columns(CONTRACTS[table]))
    found = []
    for row, place in zip(rows.tolist(), places.tolist(), strict=True):
        enough = ENOUGH_REQUIRED if wanted[place] in required else ENOUGH
        if scores[row, place] >= enough and _loss_without(scores, row, place, best) >= TIE:
            found.append(ColumnProposal(wanted[place], headers[row], float(scores[row, place])))
    return sorted(found, key=lambda pair: wanted.index(pair.column))


def known_unit_ids(frame: pd.DataFrame, proposals: Sequence[ColumnProposal]) -> frozenset[str]:
    """Collect the unit names of a units table, by native or proposed header."""
    headers = {pair.column: pair.header for pair in proposals}
    name = headers.get("unit_id", "unit_id")
    return unit_names([frame[name]]) if name in frame.columns else frozenset()


def _scores(
    frame: pd.DataFrame,
    headers: list[str],
    wanted: list[str],
    table: str,
    unit_ids: frozenset[str],
) -> npt.NDArray[np.float64]:
    facts = column_facts(CONTRACTS[table])
    id_column = table_facts(CONTRACTS[table]).id_column
    ignored = shared_prefix(headers)
    samples = {header: sample(frame[header]) for header in headers}
    scores = np.zeros((len(headers), len(wanted)))
    for row, header in enumerate(headers):
        for place, name in enumerate(wanted):
            alike = likeness(header, name, ignored)
            fits = fit(samples[header], name, facts[name], unit_ids, name == id_column)
            scores[row, place] = _score(alike, fits, samples[header], facts[name], name)
    return scores


def _score(alike: float, fits: float, values: Values, facts: ColumnFacts, name: str) -> float:
    """Weigh words and content; content that cannot be rules a pair out."""
    if fits < 0.3 and values.filled:
        return 0.3 * alike
    telling = facts.kind in ("words", "unit") or name == "unit_id"
    if telling and fits >= 0.9 and len(values.distinct) > 1:
        # Words and units of the trade speak for themselves, if less than a name does.
        return max(_NAME_SHARE * alike + (1 - _NAME_SHARE) * fits, 0.5 + 0.3 * alike)
    return _NAME_SHARE * alike + (1 - _NAME_SHARE) * fits


def _loss_without(scores: npt.NDArray[np.float64], row: int, place: int, best: float) -> float:
    """Say how much worse everything fits when one pair is forbidden."""
    without = scores.copy()
    without[row, place] = -1.0
    rows, places = linear_sum_assignment(-without)
    return best - float(without[rows, places].sum())
