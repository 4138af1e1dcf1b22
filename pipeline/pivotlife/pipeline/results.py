"""What a run publishes: the tables by file name, the run's record, the pages.

Not here: computing any of it (`stages`), writing to disk (`publish`).
"""

from __future__ import annotations

import datetime as dt
import json
import platform
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from pivotlife.dashboards.engineer import reason_kind
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.pages import build_pages
from pivotlife.models.decision_costs import CostItems, cost_lines
from pivotlife.pipeline.backtest_trust import newest_backtest
from pivotlife.pipeline.budget_work import BUDGET_TABLES
from pivotlife.pipeline.engineer_checks import CHECK_TABLES
from pivotlife.pipeline.fingerprint import table_hash
from pivotlife.pipeline.ledger import whole_quarantine
from pivotlife.pipeline.lifetime import COST_TABLES
from pivotlife.pipeline.prices import price_table
from pivotlife.pipeline.publish import LATEST, publish
from pivotlife.pipeline.run_notes import notes
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.trial_inputs import decidable_table
from pivotlife.pipeline.work import Intake, Work
from pivotlife.pipeline.workbook import workbook_bytes

LIBRARIES = ("pivotlife", "numpy", "scipy", "pandas", "lifelines", "scikit-learn", "matplotlib")
#: Tables of a run by the stem of their file.
CSV_TABLES = (
    *("shortlist", "growth", "comparison", "curves", "plot_points", "lives", "life_counts"),
    *("life_ratios", "balance", "lube_effect", "outlast", "decidable"),
    *("ledger", "quarantine", "suspects", "prices", "cost_items", "planned_cost"),
    *("kit_matches", "kits_to_stage", "hours_by_week", "inspection_gaps", "lube_compliance"),
    *("repeat_repairs", "changes", "line_basis"),
    *CHECK_TABLES,
    *BUDGET_TABLES,
    "profile",
    *COST_TABLES,
    "long_run_cost",
)
COST_ITEM_COLUMNS = ["bushing_type", "case", "item", "quantity", "unit", "price", "amount"]


@dataclass(frozen=True)
class RunResult:
    """A published run.

    Parameters
    ----------
    folder : Path
        Where it lies.
    tables : dict of DataFrame
        What its CSV files hold, by the stem of the file.
    record : dict
        What `run.json` holds.
    act_today : tuple of str
        Why a person must act today; empty when nobody must.
    """

    folder: Path
    tables: dict[str, pd.DataFrame]
    record: dict[str, Any]
    act_today: tuple[str, ...]


def run_tables(work: Work, settings: Settings) -> dict[str, pd.DataFrame]:
    """Collect the tables of a run by the stem of their file."""
    records, survival, decisions = work.records, work.survival, work.decisions
    fleet = work.fleet
    lives = records.histories.lives
    counts = lives.groupby(["bushing_type", "evidence"]).size().rename("lives").reset_index()
    gaps = {str(d): interval.pm_miles for d, interval in settings.intervals.items()}
    return {
        "shortlist": fleet.shortlist,
        "growth": decisions.growth,
        "comparison": survival.comparison,
        "curves": survival.curves.curves,
        "plot_points": survival.curves.points,
        "life_ratios": survival.fair.ratios,
        "balance": survival.fair.balance,
        "lube_effect": survival.fair.lube_effect,
        "outlast": survival.fair.outlast,
        "decidable": decidable_table(records, survival.fits, survival.fair),
        "lives": lives,
        "life_counts": counts,
        **survival.checks,
        "ledger": records.ledger,
        "quarantine": whole_quarantine(
            work.intake.raw, work.intake.judged, records.placed.unplaced, acted_on(decisions.orders)
        ),
        "suspects": records.suspects,
        "prices": price_table(settings.costs),
        "cost_items": itemised(decisions.costs, sum(gaps.values()) / len(gaps) / 2),
        "planned_cost": fleet.planned_cost,
        "kit_matches": fleet.kit_matches,
        "kits_to_stage": fleet.kits_to_stage,
        "hours_by_week": fleet.hours_by_week,
        "inspection_gaps": fleet.inspection_gaps,
        "lube_compliance": fleet.lube_compliance,
        "repeat_repairs": fleet.repeat_repairs,
        "unit_sizes": fleet.unit_sizes,
        "long_run_cost": decisions.long_run,
        **work.costing.tables,
    }


def acted_on(orders: pd.DataFrame) -> dict[str, str]:
    """Map every source row behind a standing order to what it ordered."""
    named: dict[str, str] = {}
    for order in orders.itertuples():
        target = str(order.pivot_id) or str(order.unit_id)
        for row in str(order.source_rows).split(";"):
            named[row] = f"{order.decision} {target} ({order.rule})"
    return named


def itemised(costs: CostItems, miles_over: float) -> pd.DataFrame:
    """List what a planned, a late and a roadside replacement cost, line by line."""
    cases = {"planned": "planned", "late": "late", "road": "roadside"}
    rows = [
        (kind, cases[line.outcome], line.item, line.quantity, line.unit, line.price, line.amount)
        for kind in costs.parts
        for line in cost_lines(costs, kind, miles_over)
    ]
    return pd.DataFrame(rows, columns=COST_ITEM_COLUMNS)


def run_record(
    intake: Intake,
    made: Mapping[str, pd.DataFrame],
    settings: Settings,
    day: dt.date,
    seconds: Mapping[str, float],
) -> dict[str, Any]:
    """Say what was run, on which inputs, with which versions, and how long it took."""
    decisions = made["shortlist"]["decision"].value_counts()
    return {
        "as_of": day.isoformat(),
        "settings_file": settings.file.name,
        "settings_sha256": settings.digest,
        # Sources and store may name a server: only what steers the results is told.
        "settings": settings.model_dump(mode="json", by_alias=True, exclude={"sources", "store"}),
        "store_batch": intake.batch,
        "seed": settings.random.seed,
        "currency": settings.costs.currency,
        "inputs": input_record(intake),
        "counts": {
            **{f"{name}_rows": len(table.frame) for name, table in intake.raw.items()},
            "quarantined_rows": len(made["quarantine"]),
            "lives": len(made["lives"]),
            "lives_in_fit": int(made["lives"]["in_fit"].sum()),
            **{str(name): int(count) for name, count in decisions.items()},
        },
        "notes": notes(intake, made, settings, day),
        "versions": {"python": platform.python_version(), **{n: version(n) for n in LIBRARIES}},
        "stages": [{"stage": name, "seconds": spent} for name, spent in seconds.items()],
    }


def input_record(intake: Intake) -> list[dict[str, Any]]:
    """Name every source with its rows and a hash of its cells."""
    return [
        {
            "table": name,
            "file": table.path.name,
            "corrections": len(table.corrections),
            "rows": len(table.frame),
            "sha256": table_hash(table),
        }
        for name, table in intake.raw.items()
    ]


def already_published(settings: Settings, intake: Intake, day: dt.date) -> Path | None:
    """Return the latest run's folder when it already answers the same question.

    The same day, settings, inputs, backtest and program version: running again would change
    nothing.
    """
    folder = settings.out_folder / LATEST
    try:
        record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        same = (
            record["as_of"] == day.isoformat()
            and record["settings_sha256"] == settings.digest
            and record["inputs"] == input_record(intake)
            and record["backtest"] == dict(newest_backtest(settings.out_folder, day).record)
            and record["versions"]["pivotlife"] == version("pivotlife")
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return folder.resolve() if same else None


def publish_all(
    made: dict[str, pd.DataFrame],
    record: dict[str, Any],
    settings: Settings,
    day: dt.date,
    out: Path,
    beside: Mapping[str, bytes] | None = None,
) -> RunResult:
    """Draw the pages and swap the run's folder in, with what else belongs beside them."""
    inputs = PageInputs(as_of=day, tables=made, run=record, fleet_name=settings.publish.fleet_name)
    files: dict[str, pd.DataFrame | str | bytes] = dict(build_pages(inputs))
    files |= {f"{name}.csv": made[name] for name in CSV_TABLES}
    files["shortlist.xlsx"] = workbook_bytes(made["shortlist"], "shortlist", day)
    files["run.json"] = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
    files |= beside or {}
    folder = publish(files, out, day.isoformat())
    return RunResult(folder, made, record, _act_today(made, settings, record))


def _act_today(
    made: Mapping[str, pd.DataFrame], settings: Settings, record: Mapping[str, Any]
) -> tuple[str, ...]:
    reasons = []
    parked = made["shortlist"].loc[made["shortlist"]["decision"] == "park", "unit_id"].nunique()
    if parked:
        reasons.append(f"{parked} unit(s) to park")
    rows = sum(count for name, count in record["counts"].items() if name.endswith("_rows"))
    share = len(made["quarantine"]) / max(1, rows - len(made["quarantine"]))
    if share > settings.guard.quarantine_share:
        told = made["quarantine"]["reasons"].map(str).map(reason_kind).value_counts()
        reasons.append(
            f"{100 * share:.1f} % of the rows are withheld, guard.quarantine_share allows"
            f" {100 * settings.guard.quarantine_share:g} %; quarantine.csv says why, most often:"
            f" {told.index[0]} ({told.iloc[0]:,} rows)"
        )
    return tuple(reasons)
