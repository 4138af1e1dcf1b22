"""How long each bushing type lasts, in one table: alone, by duty, node, life order and mode.

One row a cell; `type_cell` says what a cell claims and when it claims nothing. The rows of failure
modes with enough failures come from one fit of all modes together (`mode_cell`).

Bushings renewed in good time and those removed for unknown reasons are read both naive ways, in
rows of their own: ``censored`` (reads too long where fleets renew just before the limit) and
``counted`` as wear at removal (reads too short). Where the growth of play completed such lives
(`imputed_lives`), rows ``imputed`` say what lies between; once there are any, every cell has one,
which equals ``censored`` where the cell held nothing to complete.

Not here: whether a difference between types is real (`comparison`), and fair ratios between them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.findings import INSPECTED_MODES, SUDDEN_MODES
from pivotlife.models.imputed_lives import Completed
from pivotlife.models.lives import check_lives
from pivotlife.models.mode_cell import joint_rows
from pivotlife.models.mode_lives import lives_for_mode, removals_as_failures
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.type_cell import (
    ASSUMED_SHAPE,
    QUANTITIES,
    Study,
    cell_numbers,
    completed_numbers,
)
from pivotlife.models.weibull import WeibullFit, fit_weibull

KEYS: Final = ("bushing_type", "duty", "node", "life_order", "mode")
COLUMNS: Final = (
    *KEYS,
    *("lives", "units", "failures"),
    *(f"{name}{end}" for name in QUANTITIES for end in ("", "_lower", "_upper")),
    *("interval_method", "informative_removals", "warning"),
)


def compare_types(
    lives: pd.DataFrame,
    *,
    draws: int = 200,
    seed: int = 0,
    assumed_shape: Mapping[str, float] = ASSUMED_SHAPE,
    level: float = 0.95,
    completed: Completed | None = None,
) -> pd.DataFrame:
    """Return the table of survival by bushing type.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives, as `lives_for_mode` takes it.
    draws, seed : int
        Of the unit bootstrap.
    assumed_shape : mapping of bushing type to shape
        For the lower limits of types or cells in which nothing failed; 2 for a type not named.
    level : float
        Confidence of every interval.
    completed : Completed, optional
        The lives with the crossings of those renewed in good time drawn.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; ages in miles. "all" means pooled. Rows of each type: alone, then by
        duty, node, life order and mode; each twice where removals can be read two ways.

    Raises
    ------
    LivesError
        Lives contradict themselves or a column is missing.
    """
    study = Study(draws, seed, level, assumed_shape)
    counted, n_informative, n_unknown = removals_as_failures(lives)
    readings = [("censored", lives)]
    if n_informative + n_unknown:
        readings.append(("counted", counted))
    rows: list[dict[str, object]] = []
    complete = completed or Completed((), frozenset(), frozenset())
    for kind in sorted(lives["bushing_type"].unique()):
        of_type = {name: table[table["bushing_type"] == kind] for name, table in readings}
        joint = {name: joint_rows(table, study) for name, table in of_type.items()}
        for keys, chosen in _cells(of_type["censored"], _modes(lives)):
            cell_rows = list(_cell_rows(kind, keys, of_type, chosen, joint, study))
            rows.extend(cell_rows)
            if complete.tables:
                where = {"bushing_type": kind, **chosen}
                rows.append(_imputed_row(cell_rows[0], complete, where, study))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def fit_by_type_and_duty(
    lives: pd.DataFrame, mode: str = "any", minimum_failures: int = FEW_FAILURES
) -> dict[tuple[str, str], WeibullFit]:
    """Return the curves that decisions and drawings take.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.
    mode : str
        "any" or one failure mode.
    minimum_failures : int
        Cells with fewer are absent; the caller falls back to the type's pooled curve.

    Returns
    -------
    dict
        (bushing type, duty) to fit; the duty "all" is the type's pooled curve.
    """
    table = lives_for_mode(lives, mode)
    fits: dict[tuple[str, str], WeibullFit] = {}
    for kind, of_type in table.groupby("bushing_type", sort=True):
        cells = [("all", of_type), *of_type.groupby("duty", sort=True)]
        for duty, cell in cells:
            checked = check_lives(cell)
            if checked.n_failures < minimum_failures:
                continue
            try:
                fits[str(kind), str(duty)] = fit_weibull(checked)
            except NoMaximumError:
                continue
    return fits


def _modes(lives: pd.DataFrame) -> list[str]:
    """Return the modes worth a row: those on record, wear, and the sudden ones."""
    seen = set(lives["mode"].astype(str)) | {"wear", *SUDDEN_MODES}
    return [mode for mode in (*INSPECTED_MODES, *SUDDEN_MODES) if mode in seen]


def _cells(
    lives: pd.DataFrame, modes: list[str]
) -> Iterator[tuple[dict[str, str], dict[str, str]]]:
    """Yield the keys of each row and the column values that choose its lives."""
    pooled = {"duty": "all", "node": "all", "life_order": "all", "mode": "any"}
    yield pooled, {}
    for column in ("duty", "node", "life_order"):
        for value in sorted(set(lives[column].astype(str)) - {""}):
            yield {**pooled, column: value}, {column: value}
    for mode in modes:
        yield {**pooled, "mode": mode}, {}


def _cell_rows(
    kind: str,
    keys: dict[str, str],
    readings: Mapping[str, pd.DataFrame],
    chosen: dict[str, str],
    joint: Mapping[str, Mapping[str, Mapping[str, object]]],
    study: Study,
) -> Iterator[dict[str, object]]:
    """Yield the rows of one cell: removals censored and, where it matters, counted."""
    for reading, table in readings.items():
        cell = table
        for column, value in chosen.items():
            cell = cell[cell[column].astype(str) == value]
        n_informative, n_unknown = _removals(readings["censored"], chosen)
        if reading == "counted" and (
            n_informative + n_unknown == 0 or keys["mode"] not in ("any", "wear")
        ):
            continue
        note = _removal_note(reading, n_informative, n_unknown)
        if keys["mode"] in SUDDEN_MODES:
            note = ""
        fitted = joint[reading].get(keys["mode"])
        if fitted is None:
            row: Mapping[str, object] = cell_numbers(kind, cell, keys["mode"], note, study)
        else:
            said = "; ".join(text for text in (note, str(fitted["warning"])) if text)
            row = {**fitted, "warning": said}
        yield {"bushing_type": kind, **keys, **row, "informative_removals": reading}


def _imputed_row(
    censored: dict[str, object], complete: Completed, where: dict[str, str], study: Study
) -> dict[str, object]:
    """Return the row of one cell fitted on the completed lives."""
    mode = str(censored["mode"])
    row = {**censored, "informative_removals": "imputed"}
    if mode not in ("any", "wear"):
        return row
    cells = [_chosen(table, where) for table in complete.tables]
    n_drawn = int(cells[0]["life_id"].isin(complete.drawn).sum())
    if n_drawn == 0:
        return row
    numbers = completed_numbers(cells, mode, study)
    if not numbers:
        return row
    n_again = int(cells[0]["life_id"].isin(complete.read_again).sum())
    left, unknown = _removals(cells[0][~cells[0]["life_id"].isin(complete.drawn)], {})
    note = (
        f"{n_drawn} renewed in good time stand at the age at which their readings say that they"
        f" would have crossed, up to the last look at the pivot ({len(cells)} draws); none of them"
        " was seen to fail"
    )
    if n_again:
        note += f"; so do {n_again} that a reading found over the limit"
    others = _removal_note("imputed", left, unknown)
    return {**row, **numbers, "warning": "; ".join(filter(None, [note, others]))}


def _chosen(table: pd.DataFrame, where: dict[str, str]) -> pd.DataFrame:
    for column, value in where.items():
        table = table[table[column].astype(str) == value]
    return table


def _removals(lives: pd.DataFrame, chosen: dict[str, str]) -> tuple[int, int]:
    """Return how many removals of a cell can be read two ways: informative, unknown reason."""
    for column, value in chosen.items():
        lives = lives[lives[column].astype(str) == value]
    _, n_informative, n_unknown = removals_as_failures(lives)
    return n_informative, n_unknown


def _removal_note(reading: str, n_informative: int, n_unknown: int) -> str:
    """Return the sentence on removals that can be read two ways."""
    parts = []
    if n_informative:
        parts.append(f"{n_informative} removed in good time")
    if n_unknown:
        parts.append(f"{n_unknown} removed for an unknown reason")
    if not parts:
        return ""
    if reading == "counted":
        return f"{' and '.join(parts)} counted as worn at removal: reads too short"
    return f"{' and '.join(parts)} taken as not failed: may read too long"
