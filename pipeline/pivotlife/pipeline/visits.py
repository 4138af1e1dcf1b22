"""The next two visits of every unit in the fleet, and the miles it will have by then.

A planned visit comes from the visits table; where none is planned, the unit is expected when its
service interval is over. Miles ahead grow at the rate of the unit's last year; their spread is
that of the unit's own past: the miles between two believed odometers scatter around the rate
with a variance that grows with the days between, and the rate itself is not exactly known.

Not here: bay hours, and what is done at the visit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.known_rows import in_fleet, known_at
from pivotlife.pipeline.odometer_points import day_number
from pivotlife.pipeline.settings import Settings

Floats = npt.NDArray[np.float64]

#: Days of the past that tell a unit's rate, and the least they must span.
RATE_WINDOW_DAYS: Final = 365.0
RATE_SPAN_DAYS: Final = 60.0
#: Odometer pairs before a unit has a spread of its own.
SPREAD_PAIRS: Final = 5

_STOPS: Final = {
    "readings": "reading_date",
    "repairs": "repair_date",
    "lube": "lube_date",
    "visits": "visit_date",
}


def next_visits(
    tables: Mapping[str, pd.DataFrame],
    points: pd.DataFrame,
    settings: Settings,
    as_of: pd.Timestamp,
) -> pd.DataFrame:
    """Say when and at how many miles each unit comes next, and the time after that.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables with true miles.
    points : DataFrame
        Odometer points (`TrueMiles.points`).
    settings : Settings
        Service interval of each duty.
    as_of : Timestamp
        Today; a visit planned for today is the next one.

    Returns
    -------
    DataFrame, one row per unit in the fleet
        `unit_id, depot, duty, miles_now` (true miles today), `miles_per_day, visit_date,
        visit_miles, visit_sd_miles, next_visit_date, next_visit_miles, next_visit_sd_miles,
        visit_source`: `visits table`, `interval`, or `no miles record` (miles NaN).
    """
    known, _ = known_at(tables, as_of)
    units = known["units"].drop_duplicates("unit_id")
    units = units[in_fleet(units, as_of)].reset_index(drop=True)
    today = float(as_of.to_datetime64().astype("datetime64[D]").astype(np.int64))
    pace = _pace(points, units, settings, today)
    interval = units["duty"].map(
        {str(duty): value.pm_miles for duty, value in settings.intervals.items()}
    )
    every = np.asarray(interval.to_numpy(), dtype=np.float64)
    planned = _planned(known["visits"], units["unit_id"], today)
    last = _last_stop_miles(known, units["unit_id"], as_of)
    due = np.where(np.isnan(last), pace["now"] + every, last + every)
    # A unit past its interval is expected tomorrow.
    wait = np.maximum(np.ceil((due - pace["now"]) / pace["rate"]), 1.0)
    first = np.where(np.isnan(planned[0]), today + wait, planned[0])
    second = np.where(np.isnan(planned[1]), first + np.ceil(every / pace["rate"]), planned[1])
    source = np.where(np.isnan(planned[0]), "interval", "visits table")
    return _table(units, pace, source, (first, second), today)


def _table(
    units: pd.DataFrame,
    pace: dict[str, Floats],
    source: npt.NDArray[np.str_],
    days: tuple[Floats, Floats],
    today: float,
) -> pd.DataFrame:
    no_miles = np.isnan(pace["now"])
    miles, spread = zip(*(_ahead(pace, day - today) for day in days), strict=True)
    return pd.DataFrame(
        {
            "unit_id": units["unit_id"],
            "depot": units["depot"],
            "duty": units["duty"],
            "miles_now": pace["now"],
            "miles_per_day": np.where(no_miles, np.nan, pace["rate"]),
            "visit_date": _dates(days[0]),
            "visit_miles": miles[0],
            "visit_sd_miles": spread[0],
            "next_visit_date": _dates(days[1]),
            "next_visit_miles": miles[1],
            "next_visit_sd_miles": spread[1],
            "visit_source": np.where(no_miles, "no miles record", source),
        }
    )


def _planned(visits: pd.DataFrame, unit_ids: pd.Series, today: float) -> tuple[Floats, Floats]:
    """Days of the first and second planned visit from today on; NaN where there is none."""
    rows = pd.DataFrame({"unit_id": visits["unit_id"], "day": day_number(visits["visit_date"])})
    rows = rows[rows["day"] >= today].drop_duplicates().sort_values("day")
    turn = rows.groupby("unit_id").cumcount()
    days = [rows[turn == n].set_index("unit_id")["day"].reindex(unit_ids) for n in (0, 1)]
    return days[0].to_numpy(dtype=np.float64), days[1].to_numpy(dtype=np.float64)


def _last_stop_miles(
    known: Mapping[str, pd.DataFrame], unit_ids: pd.Series, as_of: pd.Timestamp
) -> Floats:
    stops = [
        known[name].loc[known[name][date].lt(as_of), ["unit_id", "true_miles"]]
        for name, date in _STOPS.items()
    ]
    last = pd.concat(stops, ignore_index=True).groupby("unit_id")["true_miles"].max()
    return np.asarray(last.reindex(unit_ids).to_numpy(), dtype=np.float64)


def _pace(
    points: pd.DataFrame, units: pd.DataFrame, settings: Settings, today: float
) -> dict[str, Floats]:
    """Miles now, rate, variance per day and days that the rate rests on, by unit."""
    kept = points[(points["mark"] == "kept") & points["unit_id"].isin(units["unit_id"])]
    track = pd.DataFrame(
        {"unit_id": kept["unit_id"], "day": day_number(kept["date"]), "miles": kept["true_miles"]}
    )
    track = track[track["day"] <= today]
    track = track.groupby(["unit_id", "day"])["miles"].max().reset_index()
    whole = _rate(track)
    end = track.groupby("unit_id")["day"].transform("max")
    recent = _rate(track[track["day"] >= end - RATE_WINDOW_DAYS])
    frame = pd.DataFrame(index=units["unit_id"])
    frame["duty"] = units["duty"].to_numpy()
    frame["rate"] = recent["rate"].fillna(whole["rate"]).reindex(frame.index)
    frame["span"] = recent["span"].where(recent["rate"].notna(), whole["span"])
    usual = frame.groupby("duty")["rate"].transform("median")
    frame["rate"] = frame["rate"].where(frame["rate"] > 0.0, usual).fillna(_middle(frame["rate"]))
    # Without any rate in the fleet a unit is taken to drive one service interval in 90 days.
    interval = frame["duty"].map({str(d): v.pm_miles for d, v in settings.intervals.items()})
    frame["rate"] = frame["rate"].fillna(interval / 90.0)
    frame["variance"] = _variance(track, frame)
    last = track.drop_duplicates("unit_id", keep="last").set_index("unit_id").reindex(frame.index)
    frame["since"] = today - last["day"]
    frame["now"] = last["miles"] + frame["rate"] * frame["since"]
    names = ("now", "rate", "variance", "since", "span")
    return {name: np.asarray(frame[name].to_numpy(), dtype=np.float64) for name in names}


def _rate(track: pd.DataFrame) -> pd.DataFrame:
    """Miles a day between the first and last value; NaN where they span too few days."""
    ends = track.groupby("unit_id").agg(
        first=("day", "first"), last=("day", "last"), low=("miles", "first"), high=("miles", "last")
    )
    span = ends["last"] - ends["first"]
    rate = (ends["high"] - ends["low"]) / span.where(span >= RATE_SPAN_DAYS)
    return pd.DataFrame({"rate": rate, "span": span})


def _middle(values: pd.Series) -> float:
    """Median of the values there are; NaN without any."""
    known = values.dropna()
    return float(known.median()) if len(known) else float("nan")


def _variance(track: pd.DataFrame, frame: pd.DataFrame) -> pd.Series:
    """Variance of a unit's miles around its rate, per day; its duty's where it has few pairs."""
    by_unit = track.groupby("unit_id")
    step, days = by_unit["miles"].diff(), by_unit["day"].diff()
    end = by_unit["day"].transform("max")
    rate = track["unit_id"].map(frame["rate"])
    scatter = ((step - rate * days) ** 2 / days).where(track["day"] > end - RATE_WINDOW_DAYS)
    grouped = scatter.groupby(track["unit_id"])
    own = grouped.mean().where(grouped.count() >= SPREAD_PAIRS).reindex(frame.index)
    usual = own.groupby(frame["duty"]).transform("median")
    # One day's miles, squared, stands in where nobody has a spread.
    return own.fillna(usual).fillna(_middle(own)).fillna(frame["rate"] ** 2)


def _ahead(pace: dict[str, Floats], days: Floats) -> tuple[Floats, Floats]:
    """Miles after some days and their standard deviation, the days without odometer included."""
    miles = pace["now"] + pace["rate"] * days
    unseen = days + pace["since"]
    span = np.fmax(pace["span"], RATE_SPAN_DAYS)
    variance = pace["variance"] * (unseen + unseen**2 / span)
    return miles, np.sqrt(variance) + 0.0 * miles


def _dates(days: Floats) -> npt.NDArray[np.datetime64]:
    known = np.isfinite(days)
    whole = np.where(known, days, 0.0).astype(np.int64).astype("datetime64[D]")
    dates = whole.astype("datetime64[ns]")
    dates[~known] = np.datetime64("NaT")
    return dates
