"""Histories: from judged, placed rows to bushing lives and what is in service today.

The stages in order: leave out what was not known on the day; spans from pivots and repairs;
readings into spans; evidence; removals; bounds; what stands around a life; the fate of each row.

Not here: what each stage decides, which its own module says.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final, get_args

import numpy as np
import pandas as pd

from pivotlife.models.findings import FAILURE_FINDINGS
from pivotlife.pipeline import life_context, row_fates
from pivotlife.pipeline.in_service import in_service
from pivotlife.pipeline.known_rows import fates, known_at
from pivotlife.pipeline.life_bounds import bound_lives
from pivotlife.pipeline.life_readings import (
    find_spans,
    first_and_last,
    flag_readings,
    reading_keys,
    stops,
)
from pivotlife.pipeline.life_removals import judge_removals
from pivotlife.pipeline.life_spans import (
    END,
    Renewal,
    first_spans,
    spans_frame,
)
from pivotlife.pipeline.limits import with_limits
from pivotlife.pipeline.missing_places import hear_remarks, known_pivots, place_readings
from pivotlife.pipeline.repair_jobs import Note, read_repairs, repair_lines
from pivotlife.pipeline.repair_places import PHASES, PlayRecord
from pivotlife.pipeline.settings import BushingType, Settings
from pivotlife.pipeline.unit_records import lube_compliance, planned_stops, unit_records

LIFE_COLUMNS: Final = [
    "life_id", "pivot_id", "unit_id", "axle", "side", "node", "bushing_type",
    "fitted_odometer_miles", "removed_odometer_miles", "entry_miles", "lower_miles",
    "upper_miles", "in_fit", "evidence", "mode", "informative", "removed_reason",
    "last_good_miles", "first_evidence_miles", "last_seen_miles", "last_visit_miles",
    "records_begin_miles", "duty", "road_salt", "life_order", "lube_compliance",
    "condition_at_fitting", "source_rows",
]  # fmt: skip
_POSITION: Final = ["unit_id", "pivot_id", "axle", "side", "node"]
_SCRATCH: Final = ["span", "day", "mode_rank", "heard"]


@dataclass(frozen=True)
class Histories:
    """What the records say of every bushing.

    Attributes
    ----------
    lives : DataFrame
        One row per bushing and pivot, columns `LIFE_COLUMNS` (`lives.csv`).
    readings : DataFrame
        Judged readings that belong to a life, with `life_id, age_miles, limit_mm, limit_source,
        is_over, is_bad, is_good, is_suspect, contradicts`.
    in_service : DataFrame
        The pivots of the fleet today (`in_service.in_service`).
    renewals : DataFrame
        `unit_id, pivot_id, date, action, source_row, certain`: which pivots each repair renewed;
        `certain` is False where that was only inferred.
    fates : DataFrame
        `table, row_number, row_id, fate, reason, file` of every row handed in.
    """

    lives: pd.DataFrame
    readings: pd.DataFrame
    in_service: pd.DataFrame
    renewals: pd.DataFrame
    fates: pd.DataFrame


def build_histories(
    tables: Mapping[str, pd.DataFrame], settings: Settings, as_of: pd.Timestamp
) -> Histories:
    """Build the lives of all bushings from what was known on a day.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables with true miles (`true_miles`).
    settings : Settings
        Limits, lubrication intervals, the age from which a zero is suspect.
    as_of : Timestamp
        Rows dated or entered later are not used.

    Returns
    -------
    Histories

    Raises
    ------
    SettingsError
        When a limit's unit is unreadable.
    """
    known, later = known_at(tables, as_of)
    units = known["units"].drop_duplicates("unit_id").set_index("unit_id")
    known, strangers = row_fates.drop_strangers(known, units)
    records = unit_records(known, as_of)
    pivots = known_pivots(known)
    known |= {name: hear_remarks(known[name], pivots) for name in ("readings", "repairs")}
    spans, renewals, notes, pivot_fates = _spans(known, records, settings)
    keys = reading_keys(known["readings"])
    readings = place_readings(known["readings"], pivots, spans, keys)
    found = find_spans(spans, readings["pivot_id"], keys)
    readings = readings.assign(span=found)
    belonging = readings[found >= 0].reset_index(drop=True)
    flagged = flag_readings(belonging, spans, settings.judge.zero_suspect_miles)
    spans, lives, flagged = _lives(known, spans, flagged, records, settings)
    return Histories(
        lives=lives[LIFE_COLUMNS],
        readings=flagged.assign(life_id=lives["life_id"].to_numpy()[flagged["span"]]).drop(
            columns=_SCRATCH
        ),
        in_service=in_service(spans, lives, flagged, records),
        renewals=renewals,
        fates=pd.concat(
            [
                later,
                *strangers,
                *row_fates.context_fates(known),
                pivot_fates,
                row_fates.repair_fates(known["repairs"], notes),
                row_fates.reading_fates(readings, flagged),
            ],
            ignore_index=True,
        ),
    )


def _spans(
    known: Mapping[str, pd.DataFrame], records: pd.DataFrame, settings: Settings
) -> tuple[pd.DataFrame, pd.DataFrame, dict[int, Note], pd.DataFrame]:
    """Spans with limits and unit facts, renewals, notes on repairs, fates of the pivots table."""
    pivots, readings, repairs = known["pivots"], known["readings"], known["repairs"]
    twice = pivots["pivot_id"].duplicated()
    declared = pivots[~twice]
    others = pd.concat([readings[_POSITION], repairs[_POSITION]])
    extra = others[(others["pivot_id"] != "") & ~others["pivot_id"].isin(declared["pivot_id"])]
    extra = extra.drop_duplicates("pivot_id")
    limit_of = _limit_of(pd.concat([declared[_POSITION], extra]), known["units"], settings)
    spans, renewals, notes = read_repairs(
        first_spans(declared, extra),
        repair_lines(repairs, known["kits"]),
        _play_records(readings),
        limit_of,
    )
    frame = with_limits(spans_frame(spans), known["units"], settings)
    unit = records.reindex(frame["unit_id"]).reset_index(drop=True)
    frame["is_open"] = frame["end_key"] == END
    gone = frame["is_open"] & unit["left"]
    frame["records_begin_miles"] = unit["records_begin_miles"].to_numpy()
    frame["records_begin_day"] = unit["records_begin_day"].to_numpy()
    left_key = (unit["left_day"] + 1).fillna(0).astype(np.int64) * PHASES - 1
    frame["end_key"] = frame["end_key"].mask(gone, left_key)
    frame["removed_miles"] = frame["removed_miles"].mask(gone, unit["last_seen_miles"])
    reason = unit["left_reason"].where(unit["left_reason"] != "", "sale")
    frame["removed_reason"] = frame["removed_reason"].mask(gone, reason)
    pivot_fates = pd.concat(
        [
            fates(declared, "pivots", "life", "what was in place when records begin"),
            fates(pivots[twice], "pivots", "not-needed", row_fates.SECOND_PIVOT_ROW),
        ],
        ignore_index=True,
    )
    return frame, _renewals(renewals, repairs), notes, pivot_fates


def _renewals(renewals: list[Renewal], repairs: pd.DataFrame) -> pd.DataFrame:
    rows = repairs.loc[[renewal.line_index for renewal in renewals]].reset_index(drop=True)
    return pd.DataFrame(
        {
            "unit_id": rows["unit_id"],
            "pivot_id": pd.Series([renewal.pivot_id for renewal in renewals], dtype=object),
            "date": rows["repair_date"],
            "action": rows["action"],
            "source_row": rows["source_row"],
            "certain": np.array([renewal.certain for renewal in renewals], dtype=bool),
        }
    )


def _limit_of(
    places: pd.DataFrame, units: pd.DataFrame, settings: Settings
) -> Callable[[str, str], float]:
    """Look up the limit of a pivot for any bushing type."""
    limits: dict[tuple[str, str], float] = {}
    for kind in get_args(BushingType):
        limit = with_limits(places.assign(bushing_type=kind), units, settings)["limit_mm"]
        limits |= zip([(pivot, kind) for pivot in places["pivot_id"]], limit.to_list(), strict=True)
    return lambda pivot, kind: limits.get((pivot, kind), float("nan"))


def _play_records(readings: pd.DataFrame) -> Callable[[str], PlayRecord]:
    """Look up what was read at a pivot; built only for the pivots asked for."""
    keys = reading_keys(readings)
    play = readings["free_play_mm"].to_numpy(dtype=float)
    bad = readings["finding"].isin(FAILURE_FINDINGS).to_numpy()
    places = readings.groupby("pivot_id").indices

    @cache
    def record(pivot_id: str) -> PlayRecord:
        rows = np.asarray(places.get(pivot_id, ()), dtype=np.int64)
        rows = rows[np.argsort(keys[rows], kind="stable")]
        return PlayRecord(keys[rows].tolist(), play[rows].tolist(), bad[rows].tolist())

    return record


def _lives(
    known: Mapping[str, pd.DataFrame],
    spans: pd.DataFrame,
    flagged: pd.DataFrame,
    records: pd.DataFrame,
    settings: Settings,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Judge every span; returns spans, lives and readings row for row with their verdicts."""
    seen = stops(flagged)
    summary = first_and_last(seen, len(spans), spans["records_begin_day"])
    removals = judge_removals(spans, known["repairs"], seen)
    on_day = pd.MultiIndex.from_arrays([spans["unit_id"], removals["end_day"].astype(float)])
    stop = on_day.isin(planned_stops(known))
    bounds = bound_lives(spans, summary, removals, stop)
    flagged = flagged.assign(
        contradicts=flagged["is_good"]
        & (flagged["day"] > summary["bad_day"].to_numpy()[flagged["span"]])
    )
    lives = spans.assign(
        **{str(name): values for name, values in bounds.items()},
        **life_context.ages(spans, records),
        life_id=spans["pivot_id"] + "#" + spans["number"].astype(str),
        axle=spans["axle"].astype(np.int64),
        fitted_odometer_miles=spans["fitted_miles"],
        removed_odometer_miles=spans["removed_miles"],
        duty=spans["unit_id"].map(records["duty"]),
        road_salt=spans["unit_id"].map(records["road_salt"]),
        life_order=life_context.life_order(spans),
        condition_at_fitting=life_context.condition_at_fitting(
            spans, flagged, removals["teardown_mm"]
        ),
        source_rows=life_context.source_rows(spans, flagged),
    )
    lives["lube_compliance"] = lube_compliance(lives, known["lube"], records, settings)
    return spans, lives, flagged
