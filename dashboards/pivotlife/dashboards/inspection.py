"""The printable inspection sheet: one table a unit, what was read last, and blanks.

Not here: which units come in, the spreadsheet to fill in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.render import render


@dataclass(frozen=True)
class UnitRows:
    """One unit and its pivots: place, bushing, last reading with its limit."""

    unit: str
    visit: str
    rows: tuple[tuple[str, str, str], ...]


def inspection_page(
    rows: pd.DataFrame, depot: str, fleet_name: str, day: dt.date, findings: Sequence[str]
) -> str:
    """Draw the sheet of one depot.

    Parameters
    ----------
    rows : DataFrame, one row per pivot
        unit_id, visit_date, axle, side, node, bushing_type, last_reading_date,
        last_free_play_mm, limit_mm (millimetres).
    depot, fleet_name : str
    day : date
        Today.
    findings : sequence of str
        The words a finding may be.

    Returns
    -------
    str
        A whole HTML document that asks for nothing outside itself.
    """
    units = tuple(
        UnitRows(
            words.text(unit),
            words.day(own["visit_date"].iloc[0]),
            tuple(_row(row) for row in own.to_dict("records")),
        )
        for unit, own in rows.groupby("unit_id", sort=False)
    )
    context = {
        "fleet_name": fleet_name,
        "as_of": day.isoformat(),
        "depot": depot,
        "units": units,
        "findings": ", ".join(findings),
    }
    return render("inspection.html", context)


def _row(row: Mapping[Any, Any]) -> tuple[str, str, str]:
    place = f"axle {words.number(row['axle'], 0, '?')} {words.text(row['side'])}"
    limit = "no play limit" if pd.isna(row["limit_mm"]) else f"limit {row['limit_mm']:g} mm"
    date = words.day(row["last_reading_date"], "")
    read = f"{words.play(row['last_free_play_mm'])}{', ' if date else ''}{date}; {limit}"
    return f"{place} {words.text(row['node'])}", words.text(row["bushing_type"]), read
