"""What the records hold: rows, dates, gaps, doubts, and what each further table would add.

Every line counts something that a reader can find again in the ledger, the quarantine or the
listing of suspect values.

Not here: how `check` prints it (`profile_text`), the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from pivotlife.data.contracts.registry import CONTRACTS
from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.judge import Judged
from pivotlife.pipeline.known_rows import EVENT_DATE
from pivotlife.pipeline.raw_table import RawTable
from pivotlife.pipeline.suspect_kinds import ODOMETER_KINDS
from pivotlife.pipeline.true_miles import TrueMiles

PROFILE_COLUMNS: Final = ["topic", "item", "count", "share", "value", "unit", "detail"]
NAN: Final = float("nan")

#: What each optional table adds where it is handed in, and what its absence costs.
ADDS: Final = {
    "lube": "how grease care changes life, and which units miss it",
    "odometer": "true miles between visits, so that fewer rows need interpolation",
    "meters": "replaced meters as known facts instead of suspicions",
    "visits": "visit days as planned instead of by service interval",
    "kits": "the kit to stage for each pivot",
    "capacity": "which work fits into the shop's hours",
    "gauge_study": "how far two inspectors may differ on one pivot",
    "corrections": "single cells put right, with a reason and a name",
}
#: Upper ends of the classes of readings per pivot.
_CLASSES: Final = {"none": 0, "1": 1, "2 to 3": 3, "4 to 7": 7, "8 or more": np.inf}
_MOST_INSPECTORS: Final = 10
_YEAR_DAYS: Final = 365
_POSITIONED: Final = ("readings", "repairs")


class Line(NamedTuple):
    """One line of the profile."""

    topic: str
    item: str
    many: float = NAN
    share: float = NAN
    value: float = NAN
    unit: str = ""
    detail: str = ""


def profile_table(
    raw: Mapping[str, RawTable],
    judged: Judged,
    placed: TrueMiles,
    histories: Histories,
    suspects: pd.DataFrame,
    day: pd.Timestamp,
) -> pd.DataFrame:
    """Count what the records hold.

    Parameters
    ----------
    raw : mapping of table name to RawTable
        As handed in.
    judged, placed, histories
        What was made of it.
    suspects : DataFrame
        `table, unit_id, kind, excluded`.
    day : Timestamp
        The day from which gaps are counted.

    Returns
    -------
    DataFrame
        `PROFILE_COLUMNS`: `count` rows or things, `share` of those that could be, `value` a
        quantity in `unit`; NaN where a line has none.
    """
    lines = [
        *_rows(raw, judged),
        *_units_and_pivots(judged, histories),
        *_positions(judged),
        *_withheld(raw, judged),
        *_readings_per_pivot(histories),
        *_inspectors(judged.tables.some("readings", "inspector")),
        *_gaps(histories.in_service, day),
        *_odometers(placed, suspects),
        *_suspects(suspects),
        *_optional(raw),
    ]
    return pd.DataFrame(lines, columns=PROFILE_COLUMNS)


def _share(part: float, whole: float) -> float:
    return part / whole if whole else NAN


def _rows(raw: Mapping[str, RawTable], judged: Judged) -> Iterator[Line]:
    withheld = judged.quarantine["table"].value_counts()
    repeated = judged.duplicates["table"].value_counts()
    for name, table in raw.items():
        if name not in judged.tables:
            continue
        date = EVENT_DATE.get(name, "visit_date")
        dates = [date] if date in CONTRACTS[name].columns else []
        good, rows = judged.tables.some(name, "row_number", *dates), len(table.frame)
        said = f"{withheld.get(name, 0):,} withheld, {repeated.get(name, 0):,} repeated"
        if table.path.name != f"{name}.csv":
            said = f"{table.path.name}: {said}"
        days = good[date].dropna() if dates else pd.Series(dtype=object)
        if len(days):
            said += f", {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}"
        yield Line("rows", name, rows, _share(len(good), rows), detail=said)


def _looks(readings: pd.DataFrame) -> pd.DataFrame:
    """Keep the readings that say something: a play or a finding."""
    return readings[readings["free_play_mm"].notna() | readings["finding"].ne("")]


def _units_and_pivots(judged: Judged, histories: Histories) -> Iterator[Line]:
    units = pd.Index(judged.tables["units"]["unit_id"].unique())
    pivots = pd.Index(histories.lives["pivot_id"].unique())
    looks = _looks(histories.readings)
    readings = judged.tables.some("readings", "unit_id", "free_play_mm", "finding")
    for topic, names, seen in (
        ("units", units, _looks(readings)["unit_id"]),
        ("pivots", pivots, looks["pivot_id"]),
    ):
        read = int(names.isin(seen).sum())
        for item, count in (("with readings", read), ("without readings", len(names) - read)):
            yield Line(topic, item, count, _share(count, len(names)))


def _positions(judged: Judged) -> Iterator[Line]:
    for name in _POSITIONED:
        rows = judged.tables[name]
        placed = int(rows["pivot_id"].ne("").sum())
        yield Line("full position", name, placed, _share(placed, len(rows)))


def _withheld(raw: Mapping[str, RawTable], judged: Judged) -> Iterator[Line]:
    told = judged.quarantine
    codes = told["reasons"].astype(str).str.findall(r"(?:^|; )([a-z_]+\.[a-z_]+): ")
    each = told.assign(code=codes).explode("code").dropna(subset=["code"])
    sizes = each.groupby(["table", "code"], as_index=False).agg(rows=("code", "size"))
    ordered = sizes.sort_values("rows", ascending=False, kind="stable")
    for table, code, rows in ordered.itertuples(index=False, name=None):
        yield Line("withheld", f"{table}: {code}", rows, _share(rows, len(raw[table].frame)))


def _readings_per_pivot(histories: Histories) -> Iterator[Line]:
    pivots = histories.lives["pivot_id"].drop_duplicates()
    looks = _looks(histories.readings)["pivot_id"].value_counts()
    many = pivots.map(looks).fillna(0).to_numpy(dtype=float)
    below = -1.0
    for item, most in _CLASSES.items():
        count = int(((many > below) & (many <= most)).sum())
        yield Line("readings per pivot", item, count, _share(count, len(many)))
        below = most
    if len(many):
        yield Line("readings per pivot", "median", value=float(np.median(many)), unit="readings")


def _inspectors(readings: pd.DataFrame) -> Iterator[Line]:
    named = readings.loc[readings["inspector"] != "", "inspector"].value_counts()
    yield Line("inspectors", "names", len(named))
    for name, count in named.head(_MOST_INSPECTORS).items():
        yield Line("inspectors", str(name), count, _share(count, len(readings)))
    rest = int(named.iloc[_MOST_INSPECTORS:].sum())
    if rest:
        yield Line("inspectors", "all others", rest, _share(rest, len(readings)))
    nameless = len(readings) - int(named.sum())
    yield Line("inspectors", "no name", nameless, _share(nameless, len(readings)))


def _gaps(in_service: pd.DataFrame, day: pd.Timestamp) -> Iterator[Line]:
    topic = "since the last reading"
    age = (day - in_service["last_reading_date"]).dt.days
    known = age.dropna().to_numpy(dtype=float)
    pivots = len(in_service)
    if len(known):
        for item, share in (("half within", 0.5), ("nine in ten within", 0.9), ("longest", 1.0)):
            days = float(np.quantile(known, share))
            yield Line(topic, item, value=days, unit="days")
    long, never = int((known > _YEAR_DAYS).sum()), pivots - len(known)
    yield Line(topic, "more than a year ago", long, _share(long, pivots))
    yield Line(topic, "not read since fitted", never, _share(never, pivots))


def _odometers(placed: TrueMiles, suspects: pd.DataFrame) -> Iterator[Line]:
    values = placed.points[placed.points["odometer_miles"].notna()]
    kept = int(values["mark"].eq("kept").sum())
    yield Line("odometers", "believed", kept, _share(kept, len(values)))
    odd = suspects[suspects["kind"].isin(ODOMETER_KINDS)]
    yield from _by_kind("odometers", odd, len(values))


def _suspects(suspects: pd.DataFrame) -> Iterator[Line]:
    yield from _by_kind("suspect values", suspects[~suspects["kind"].isin(ODOMETER_KINDS)], 0)


def _by_kind(topic: str, rows: pd.DataFrame, of: int) -> Iterator[Line]:
    for kind, own in sorted(rows.groupby("kind"), key=lambda group: -len(group[1])):
        out = int(own["excluded"].eq("yes").sum())
        units = own.loc[own["unit_id"] != "", "unit_id"].nunique()
        said = f"{units:,} {'unit' if units == 1 else 'units'}"
        said += f", {out:,} left out" if out else ""
        yield Line(topic, str(kind), len(own), _share(len(own), of), detail=said)


def _optional(raw: Mapping[str, RawTable]) -> Iterator[Line]:
    for name, adds in ADDS.items():
        here = name in raw and len(raw[name].frame) > 0
        words = "adds" if here else "would add"
        count = len(raw[name].frame) if here else 0
        yield Line("optional tables", name, count, detail=f"{words} {adds}")
