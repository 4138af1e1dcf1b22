"""The run before this one, as it was published, ready to be compared.

A run that is missing, was made by a version that kept less, or stands on a later day is not
compared with: the list of changes is then empty and says why.

Not here: the comparison (`models.changes`).
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from pivotlife.models.changes import CHANGE_COLUMNS, Snapshot, compare_runs
from pivotlife.pipeline.publish import LATEST, csv_text

_TABLES = {
    "lines": "shortlist",
    "basis": "line_basis",
    "prices": "prices",
    "curves": "comparison",
}


def changes_since(
    out: Path, made: Mapping[str, pd.DataFrame], record: Mapping[str, Any]
) -> tuple[pd.DataFrame, str]:
    """Compare this run with the latest one in a folder of runs.

    Parameters
    ----------
    out : Path
        Folder of the runs.
    made : mapping of DataFrame
        This run's tables, before they are published.
    record : mapping
        This run's `run.json`.

    Returns
    -------
    changes : DataFrame
        `models.changes.CHANGE_COLUMNS`.
    note : str
        A sentence: what was compared, or why nothing was.
    """
    nothing = pd.DataFrame(columns=list(CHANGE_COLUMNS))
    folder = out / LATEST
    if not folder.exists():
        return nothing, "There is no earlier run to compare with."
    before = _published(folder)
    if before is None:
        return nothing, "The last run cannot be compared with: it kept less than this one needs."
    if before.as_of > str(record["as_of"]):
        return nothing, f"The last run stands on {before.as_of}, a later day: nothing is compared."
    tables = {name: _as_published(made[stem]) for name, stem in _TABLES.items()}
    changes = compare_runs(before, _snapshot(tables, record))
    told = f"{len(changes)} lines changed" if len(changes) else "Nothing changed"
    return changes, f"{told} since the run of {before.as_of}."


def _published(folder: Path) -> Snapshot | None:
    try:
        record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        tables = {
            name: _read((folder / f"{stem}.csv").read_text(encoding="utf-8"))
            for name, stem in _TABLES.items()
        }
        return _snapshot(tables, record)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _snapshot(tables: Mapping[str, pd.DataFrame], record: Mapping[str, Any]) -> Snapshot:
    marks = {str(one["table"]): str(one["sha256"]) for one in record["inputs"]}
    corrected = {str(one["table"]): one.get("corrections", 0) for one in record["inputs"]}
    marks.setdefault("corrections", json.dumps(corrected))
    return Snapshot(
        as_of=str(record["as_of"]),
        version=str(record["versions"]["pivotlife"]),
        settings=dict(_flat(record["settings"])),
        inputs=marks,
        **tables,
    )


def _flat(tree: Mapping[str, Any], above: str = "") -> list[tuple[str, str]]:
    pairs: list[tuple[str, str]] = []
    for key, value in tree.items():
        if isinstance(value, Mapping):
            pairs += _flat(value, f"{above}{key}.")
        else:
            pairs.append((f"{above}{key}", json.dumps(value)))
    return pairs


def _as_published(table: pd.DataFrame) -> pd.DataFrame:
    return _read(csv_text(table))


def _read(text: str) -> pd.DataFrame:
    return pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
