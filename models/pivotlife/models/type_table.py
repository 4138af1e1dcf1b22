"""How long each bushing type lasts, in one table: alone, by duty, node, life order and mode.

One row a cell; `type_cell` says what a cell claims and when it claims nothing. The rows of failure
modes with enough failures come from one fit of all modes together (`mode_cell`).

Bushings renewed in good time and those removed for unknown reasons are read both naive ways, in
rows of their own: ``censored`` (reads too long where fleets renew just before the limit) and
``counted`` as wear at removal (reads too short).

Not here: whether a difference between types is real (`comparison`), and fair ratios between them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import pandas as pd

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.findings import INSPECTED_MODES, SUDDEN_MODES
from pivotlife.models.lives import check_lives
from pivotlife.models.mode_cell import joint_rows
from pivotlife.models.mode_lives import lives_for_mode, removals_as_failures
from pivotlife.models.no_failures import FEW_FAILURES
from pivotlife.models.type_cell import ASSUMED_SHAPE, QUANTITIES, Study, cell_numbers
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
    for kind in sorted(lives["bushing_type"].unique()):
        of_type = {name: table[table["bushing_type"] == kind] for name, table in readings}
        joint = {name: joint_rows(table, study) for name, table in of_type.items()}
        for keys, chosen in _cells(of_type["censored"], _modes(lives)):
            rows.extend(_cell_rows(kind, keys, of_type, chosen, joint, study))
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
