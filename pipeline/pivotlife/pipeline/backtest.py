"""Past lists held against what happened: `pivotlife backtest SETTINGS`.

A list is made for a day of each past month, from what was known that day (`past_rows`), by the
stages of a run (`backtest_standing`). What happened afterwards is taken from what is known today.
Lists younger than three months are left out: most of their visits are not over yet. The growth
laws are fitted anew with every third list and serve the two after it.

The result is published like a run, in `OUT/backtest/`, with a `latest` of its own.

Not here: what later runs make of it (`backtest_trust`).
"""

from __future__ import annotations

import datetime as dt
import json
import platform
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards.backtest import backtest_page
from pivotlife.models.backtest_calibration import calibration_bins
from pivotlife.models.backtest_counts import backtest_table
from pivotlife.models.backtest_pairs import pair_up
from pivotlife.models.backtest_rules import RulePrices, compare_rules
from pivotlife.models.backtest_weights import with_weights
from pivotlife.models.decision_costs import (
    CostItems,
    late_cost,
    late_cost_per_mile_over,
    planned_cost,
)
from pivotlife.pipeline import stages
from pivotlife.pipeline.backtest_looks import looks, renewals
from pivotlife.pipeline.backtest_standing import Standing, stand_on
from pivotlife.pipeline.backtest_trust import FOLDER
from pivotlife.pipeline.decision_inputs import cost_items
from pivotlife.pipeline.errors import SourceError
from pivotlife.pipeline.past_rows import PastRows, past_intake, rows_of_export, rows_of_store
from pivotlife.pipeline.prices import price_table
from pivotlife.pipeline.progress import Progress
from pivotlife.pipeline.publish import locked, publish
from pivotlife.pipeline.results import LIBRARIES, input_record
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.work import Intake

#: Months between today and the youngest list.
YOUNGEST_MONTHS: Final = 3
#: Lists from one fit of the growth laws to the next.
LISTS_PER_FIT: Final = 3
TABLES: Final = ("backtest", "calibration", "backtest_costs", "backtest_pairs")
NOTES: Final = (
    "What happened is read from today's records, corrections applied. Limits, intervals and prices"
    " are today's for every list; overrides are not read.",
    "A pair is one pivot on one list. It is verified by a tear-down, a failure or a reading by its"
    " visit, which counts until half way to the one after. Verified pairs stand for their like by"
    " the inverse of their chance of having been looked at. That worn and sound pivots alike were"
    " looked at for other reasons is an assumption.",
    "Costs beside simple rules leave out partners of a job and the set-ups they save, and credit no"
    " reading that a list asked for.",
    "A reading has its own error; a bushing near its limit may be called worn or sound by chance."
    " One under load or after greasing hides play: within the limit it proves nothing, over it the"
    " bushing counts as found worn but not in the shares. Where load or grease is not written down,"
    " the reading is taken to be plain; if it was not, worn metal bushings are more than found.",
)


@dataclass(frozen=True)
class Backtest:
    """A published backtest: its folder, its tables by file stem, its record."""

    folder: Path
    tables: dict[str, pd.DataFrame]
    record: dict[str, Any]


def backtest(
    settings: Settings,
    day: dt.date,
    *,
    months: int = 12,
    out: Path | None = None,
    quiet: bool = False,
    past: PastRows | None = None,
) -> Backtest:
    """Make past lists, look at what happened, publish the result.

    Parameters
    ----------
    settings : Settings
    day : date
        Today: nothing dated or entered later is used.
    months : int
        How many past lists, one a month.
    out : Path, optional
        Folder of the runs; the settings' own when left out.
    quiet : bool
        Say nothing on standard error.
    past : PastRows, optional
        Where the rows of past days come from; today's sources cut back when left out.

    Returns
    -------
    Backtest

    Raises
    ------
    SourceError
        When a source cannot be read, the folder cannot be used, or the records are too young.
    """
    progress = Progress(stages=months + 2, quiet=quiet)
    target = (out or settings.out_folder).resolve() / FOLDER
    with locked(target):
        intake = stages.read(settings, progress, day)
        days = list_days(intake, day, months)
        source, begins = past or rows_of_export(intake.raw), None
        if past is None:
            source, begins = rows_of_store(settings, source)
        standings = past_lists(source, settings, days, progress)
        with progress.stage("looking at what happened"):
            tables = judge_lists(standings, intake, settings, day)
            record = _record(intake, tables, settings, day, days, begins)
            fleet = settings.publish.fleet_name
            files: dict[str, pd.DataFrame | str | bytes] = {
                f"{name}.csv": tables[name] for name in TABLES
            }
            files["backtest.html"] = backtest_page(tables, record, fleet)
            files["backtest.json"] = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
            return Backtest(publish(files, target, day.isoformat()), tables, record)


def list_days(intake: Intake, day: dt.date, months: int) -> list[dt.date]:
    """Choose the days of the past lists: the same day of each month, oldest first.

    Raises
    ------
    SourceError
        When even the youngest of them lies before the first reading.
    """
    today = pd.Timestamp(day)
    days = [
        (today - pd.DateOffset(months=back)).date()
        for back in range(months + YOUNGEST_MONTHS - 1, YOUNGEST_MONTHS - 1, -1)
    ]
    first = intake.judged.tables.some("readings", "reading_date")["reading_date"].min()
    usable = [one for one in days if pd.notna(first) and pd.Timestamp(one) > first]
    if not usable:
        began = "there is none" if pd.isna(first) else f"the first is of {first:%Y-%m-%d}"
        raise SourceError(
            f"no past list can be made: the youngest would stand on {days[-1]}, before any reading"
            f" ({began}); run the backtest when the records are older, or name a later --as-of"
        )
    return usable


def past_lists(
    source: PastRows, settings: Settings, days: list[dt.date], progress: Progress
) -> list[Standing]:
    """Make the lists of past days, oldest first."""
    made: list[Standing] = []
    for place, one in enumerate(days):
        with progress.stage(f"the list of {one}"):
            laws = made[-1].laws if place % LISTS_PER_FIT else None
            made.append(stand_on(one, past_intake(source, one), settings, laws))
    return made


def judge_lists(
    standings: list[Standing], intake: Intake, settings: Settings, day: dt.date
) -> dict[str, pd.DataFrame]:
    """Put outcomes beside the forecasts of past lists and score them.

    Returns
    -------
    dict of DataFrame
        `TABLES`.

    Raises
    ------
    SourceError
        When no pivot stood on any of the lists.
    """
    forecasts = pd.concat([one.forecasts for one in standings], ignore_index=True)
    if forecasts.empty:
        raise SourceError(
            f"no pivot was in service on any of the {len(standings)} past lists; look at the dates"
            " of the units table"
        )
    today = stages.build(intake, settings, day, Progress(stages.COUNT, quiet=True))
    pairs = pair_up(forecasts, looks(today), renewals(today), pd.Timestamp(day))
    pairs = with_weights(pairs)
    draws, seed = settings.survival.bootstrap_draws, settings.random.seed
    prices = rule_prices(cost_items(settings.costs), standings[-1].rates, settings)
    return {
        "backtest": backtest_table(pairs, draws=draws, seed=seed),
        "calibration": calibration_bins(pairs, draws=draws, seed=seed),
        "backtest_costs": compare_rules(pairs, prices, draws=draws, seed=seed),
        "backtest_pairs": pairs,
    }


def rule_prices(
    costs: CostItems, rates: Mapping[tuple[str, str], float], settings: Settings
) -> RulePrices:
    """Say what early and late cost: today's prices, and what a mile of a life is worth."""
    late = {kind: late_cost(costs, kind, 0.0) - planned_cost(costs, kind) for kind in costs.parts}
    return RulePrices(
        per_mile=rates,
        late=late,
        per_mile_over=late_cost_per_mile_over(costs),
        service_miles={str(duty): gap.pm_miles for duty, gap in settings.intervals.items()},
    )


def _record(
    intake: Intake,
    tables: Mapping[str, pd.DataFrame],
    settings: Settings,
    day: dt.date,
    days: list[dt.date],
    begins: dt.date | None,
) -> dict[str, Any]:
    table = tables["backtest"]
    types = table[(table["duty"] == "all") & (table["bushing_type"] != "all")]
    return {
        "as_of": day.isoformat(),
        "lists": [one.isoformat() for one in days],
        "settings_file": settings.file.name,
        "settings_sha256": settings.digest,
        "seed": settings.random.seed,
        "currency": settings.costs.currency,
        "inputs": input_record(intake),
        "verdicts": dict(zip(types["bushing_type"], types["verdict"], strict=True)),
        "sentences": {
            str(row["bushing_type"]): str(row["sentence"])
            for row in table[table["duty"] == "all"].to_dict("records")
        },
        "notes": [_rows_note(days, begins), *NOTES, *late_prices(settings, days[0])],
        "versions": {"python": platform.python_version(), **{n: version(n) for n in LIBRARIES}},
    }


def _rows_note(days: list[dt.date], begins: dt.date | None) -> str:
    stored = 0 if begins is None else sum(day >= begins for day in days)
    text = f"{stored} of {len(days)} lists rest on the rows that the store kept by their day."
    if stored == len(days):
        return text
    return (
        f"{text} The others rest on today's rows, as far as they were dated and typed in by then"
        " and as they were first written: corrections carry no day. Visits planned then are not"
        " known: those lists expect a unit at its service interval."
    )


def late_prices(settings: Settings, first: dt.date) -> list[str]:
    """Say how many of the user's own prices are younger than the oldest list."""
    prices = price_table(settings.costs)
    own = prices[~prices["is_default"]]
    later = int(pd.to_datetime(own["date"]).gt(pd.Timestamp(first)).sum())
    if not later:
        return []
    return [
        f"Of the {len(own)} prices you have set, {later} carry a day after the oldest list; no"
        " older ones are kept, so the lists and their costs use them."
    ]
