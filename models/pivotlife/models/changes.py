"""What changed on the shortlist since the last run, and the one thing that changed it.

Both runs are compared as they were published, text against text, so that a line moves only when a
figure in a file does. A line is `in` when it asks for something and did not before, `out` when it
no longer does, `moved` when it asks for something else, at another planned visit, or was put off
or taken up again. Its cause is the first of these that differs between the runs:

override    the pivot's override began, changed or ended
limit       the pivot's limit
reading     rows of readings or repairs of the pivot, or of its unit without a position
correction  the same through the corrections table; or the unit's or pivot's own row
visit       the day of its planned visits
price       a price
settings    another setting
fit         the curve of its bushing type
visit       the miles expected at the visit, the day of the run, room in the shop

Not here: reading the last run, the list itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

CHANGE_COLUMNS: Final = (
    *("unit_id", "pivot_id", "change", "decision_before", "decision_now", "cause", "detail"),
)
BASIS_COLUMNS: Final = (
    *("unit_id", "pivot_id", "records", "own_rows", "override", "visit_source"),
    *("next_visit_date", "next_visit_odometer_miles"),
)
_KEYS: Final = ["unit_id", "pivot_id"]
#: Settings that have a cause of their own, or cannot move a line.
_NOT_SETTINGS: Final = ("costs", "limits", "overrides", "publish", "schedule", "guard")
_PLANNED: Final = "visits table"


@dataclass(frozen=True)
class Snapshot:
    """One run as published; every cell of its tables is text.

    Attributes
    ----------
    as_of, version : str
        Its day, and the program's version.
    lines : DataFrame
        `shortlist.csv`.
    basis : DataFrame
        `BASIS_COLUMNS`: what each line rests on; records and own_rows are marks (hashes) of the
        rows behind it.
    prices : DataFrame
        key, value.
    curves : DataFrame
        `comparison.csv`.
    settings : mapping of dotted key to text
    inputs : mapping of table to mark
    """

    as_of: str
    version: str
    lines: pd.DataFrame
    basis: pd.DataFrame
    prices: pd.DataFrame
    curves: pd.DataFrame
    settings: Mapping[str, str]
    inputs: Mapping[str, str]


def compare_runs(before: Snapshot, now: Snapshot) -> pd.DataFrame:
    """List the lines that changed, each with its cause.

    Parameters
    ----------
    before, now : Snapshot

    Returns
    -------
    DataFrame
        `CHANGE_COLUMNS`, in the order of the new list, lines that are gone last. Empty when
        nothing moved.
    """
    both = _joined(before, now)
    both = both[both["change"] != ""]
    world = _world(before, now)
    rows = [_row(line, world) for line in both.to_dict("records")]
    return pd.DataFrame(rows, columns=list(CHANGE_COLUMNS), dtype=object)


def _joined(before: Snapshot, now: Snapshot) -> pd.DataFrame:
    """Put both runs' lines side by side and name the kind of change."""
    tables = [
        run.lines.merge(run.basis, on=_KEYS, how="left").assign(place=range(len(run.lines)))
        for run in (before, now)
    ]
    both = tables[0].merge(tables[1], on=_KEYS, how="outer", suffixes=("_before", "_now"))
    texts = both.columns[~both.columns.str.startswith("place")]
    both = both.fillna(dict.fromkeys(texts, ""))
    both = both.sort_values(["place_now", "place_before"], kind="stable", na_position="last")
    listed = {end: ~both[f"decision{end}"].isin(["", "leave"]) for end in ("_before", "_now")}
    planned = (both["visit_source_now"] == _PLANNED) | (both["visit_source_before"] == _PLANNED)
    differs = pd.concat(
        [both[f"{name}_before"] != both[f"{name}_now"] for name in ("decision", "mandatory")]
        + [both["postponed_before"].eq("yes") != both["postponed_now"].eq("yes")]
        + [planned & (both["visit_date_before"] != both["visit_date_now"])],
        axis=1,
    ).any(axis=1)
    both["change"] = ""
    both["change"] = both["change"].mask(listed["_before"] & listed["_now"] & differs, "moved")
    both["change"] = both["change"].mask(~listed["_before"] & listed["_now"], "in")
    both["change"] = both["change"].mask(listed["_before"] & ~listed["_now"], "out")
    return both


@dataclass(frozen=True)
class _World:
    """What differs between the runs for every line alike, as sentences; "" = nothing."""

    prices: str
    settings: str
    curves: Mapping[str, str]
    capacity: bool
    corrections: bool
    day: str
    version: str


def _world(before: Snapshot, now: Snapshot) -> _World:
    def moved(name: str) -> bool:
        return before.inputs.get(name) != now.inputs.get(name)

    later = (
        "" if before.as_of == now.as_of else f"the run stands on {now.as_of}, was {before.as_of}"
    )
    other = "" if before.version == now.version else f"program {now.version}, was {before.version}"
    prices = [
        dict(zip(run.prices["key"], run.prices["value"], strict=True)) for run in (before, now)
    ]
    settings = [
        {k: v for k, v in run.settings.items() if k.split(".")[0] not in _NOT_SETTINGS}
        for run in (before, now)
    ]
    currency = [{"currency": run.settings.get("costs.currency", "")} for run in (before, now)]
    return _World(
        prices=_differences(prices[0] | currency[0], prices[1] | currency[1]),
        settings=_differences(*settings),
        curves=_curve_moves(before.curves, now.curves),
        capacity=moved("capacity"),
        corrections=moved("corrections"),
        day=later,
        version=other,
    )


def _differences(before: Mapping[str, str], now: Mapping[str, str]) -> str:
    keys = sorted(k for k in {*before, *now} if before.get(k) != now.get(k))
    return "; ".join(f"{k} {now.get(k, 'unset')}, was {before.get(k, 'unset')}" for k in keys)


def _curve_moves(before: pd.DataFrame, now: pd.DataFrame) -> dict[str, str]:
    """Say by bushing type whether the curves that decisions rest on differ."""
    whole = ["node", "life_order"]
    named = ["bushing_type", "duty", "lives", "failures", "shape", "scale"]
    told = []
    for table in (before, now):
        rows = table[(table[whole] == "all").all(axis=1) & (table["mode"] == "any")]
        told.append(
            {
                k: tuple(g[named].itertuples(index=False, name=None))
                for k, g in rows.groupby("bushing_type")
            }
        )
    kinds = {str(k) for k in {*told[0], *told[1]} if told[0].get(k) != told[1].get(k)}
    return {kind: f"the curve of {kind} bushings moved" for kind in kinds}


def _row(line: Mapping[Any, Any], world: _World) -> tuple[str, ...]:
    causes = _own_causes(line, world) + _shared_causes(line, world)
    cause, detail = causes[0]
    # A setting or price that differs for all is named beside a cause of the line's own.
    also = ", ".join(dict.fromkeys(name for name, _ in causes[1:] if name != cause))
    return (
        str(line["unit_id"]),
        str(line["pivot_id"]),
        str(line["change"]),
        str(line["decision_before"]) or "none",
        str(line["decision_now"]) or "none",
        cause,
        _put_off(line) + detail + (f" (also: {also})" if also else ""),
    )


def _put_off(line: Mapping[Any, Any]) -> str:
    before, now = line["postponed_before"] == "yes", line["postponed_now"] == "yes"
    if before == now:
        return ""
    return "put off; " if now else "no longer put off; "


def _own_causes(line: Mapping[Any, Any], world: _World) -> list[tuple[str, str]]:
    """Name what differs for this line alone."""
    causes = []
    if _moved(line, "override"):
        causes.append(("override", _told(line, "override", "override")))
    if _moved(line, "limit_mm") and line["bushing_type_before"] == line["bushing_type_now"]:
        causes.append(("limit", _told(line, "limit_mm", "limit in mm")))
    if _moved(line, "records"):
        causes.append(("correction" if world.corrections else "reading", _rows_behind(line)))
    if _moved(line, "own_rows"):
        causes.append(("correction", "the unit's own row, or the pivot's, changed"))
    if _moved_plan(line):
        causes.append(("visit", _told(line, "visit_date", "visit")))
    return causes


def _shared_causes(line: Mapping[Any, Any], world: _World) -> list[tuple[str, str]]:
    """Name what differs for every line; the last one always stands."""
    causes = []
    if world.prices:
        causes.append(("price", world.prices))
    if world.settings:
        causes.append(("settings", world.settings))
    kinds = (line["bushing_type_now"], line["bushing_type_before"])
    curve = next((world.curves[kind] for kind in kinds if kind in world.curves), "")
    if curve:
        chance = _told(line, "chance_over_by_next_visit", "chance by the visit after next")
        causes.append(("fit", f"{curve}; {chance}"))
    if causes:
        return causes
    if world.version:
        return [("settings", world.version)]
    if _moved(line, "visit_odometer_miles") or _moved(line, "next_visit_odometer_miles"):
        return [("visit", _told(line, "visit_odometer_miles", "miles at the visit"))]
    if world.day:
        return [("visit", world.day)]
    room = "bay hours changed" if world.capacity else "room in the shop went to other work"
    return [("visit", room)]


def _moved(line: Mapping[Any, Any], name: str) -> bool:
    return bool(line[f"{name}_before"] != line[f"{name}_now"])


def _moved_plan(line: Mapping[Any, Any]) -> bool:
    planned = _PLANNED in (line["visit_source_before"], line["visit_source_now"])
    return planned and (_moved(line, "visit_date") or _moved(line, "next_visit_date"))


def _told(line: Mapping[Any, Any], name: str, label: str) -> str:
    before, now = line[f"{name}_before"] or "none", line[f"{name}_now"] or "none"
    return f"{label} {now}" + ("" if before == now else f", was {before}")


def _rows_behind(line: Mapping[Any, Any]) -> str:
    if _moved(line, "last_free_play_mm") or _moved(line, "last_reading_date"):
        plays = [
            f"{line[f'last_free_play_mm{end}'] or 'no play'} mm on "
            f"{line[f'last_reading_date{end}'] or 'no day'}"
            for end in ("_now", "_before")
        ]
        return f"last reading {plays[0]}, was {plays[1]}"
    if _moved(line, "source_rows"):
        return _told(line, "source_rows", "rows behind the line")
    return "readings or repairs of this pivot or unit changed"
