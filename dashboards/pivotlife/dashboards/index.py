"""The first page: what must happen today, then the ways to the three other pages.

Not here: anything that the three pages say in full.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.comparison_tables import one_treatment, pooled
from pivotlife.dashboards.fair_tables import fair_verdicts
from pivotlife.dashboards.finance import cost_headline, price_banner
from pivotlife.dashboards.fleet import parked_lines
from pivotlife.dashboards.fleet_plan import shortage_groups
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.lines import gather_jobs, read_lines
from pivotlife.dashboards.tables import Column, Table, make_table
from pivotlife.models.fair_verdict import NOT_YET

NOT_BUILT: Final[tuple[str, ...]] = ()

ASSUMED: Final = (
    "Records are taken as written and as corrected by hand; the ledger names every correction.",
    "A pivot counts as good only up to its last good reading, and no reading never means good.",
    "A finding that demands action stands until that bushing is replaced, whatever was read later.",
)

_FILES: Final[dict[str, str]] = {
    "shortlist.csv": "every pivot in service, its decision and its reason",
    "shortlist.xlsx": "the same for a spreadsheet",
    "changes.csv": "what moved since the last run, and why",
    "growth.csv": "play now and later, for each pivot",
    "comparison.csv": "lives of each type, every cut that was fitted",
    "fit_check.csv": "whether a Weibull curve fits, by type and duty",
    "missed_by_play.csv": "failures that free play did not announce",
    "settled_readings.csv": "loads nobody wrote down, and inspectors who read high or low",
    "life_ratios.csv": "types compared fairly: unadjusted, adjusted and weighted",
    "balance.csv": "how unlike the types' trucks were, before and after weighting",
    "lube_effect.csv": "what missed lube services cost, by type",
    "outlast.csv": "the chance that one type outlasts another",
    "lifetime_cost.csv": "what a truck takes until its sale, by type, duty and year",
    "lifetime_cost.xlsx": "the same with live formulas: change a price, see the totals move",
    "conversion_by_unit.csv": "whether converting pays, unit by unit",
    "decidable.csv": "when each comparison will be decided, and what it excludes already",
    "budget.csv": "expected spend by month and depot, with bands",
    "kit_demand.csv": "kits by month and quarter, and the stock to keep",
    "warranty_claims.csv": "bushings that failed inside their kit's warranty",
    "spend_against_forecast.csv": "last year's forecast against what was spent",
    "lives.csv": "every bushing life the records tell of",
    "ledger.csv": "where each source row went",
    "quarantine.csv": "withheld rows, word for word, with their faults",
    "run.json": "the run itself: inputs, versions, counts",
}
#: Counts whose names say too little by themselves.
_COUNTS: Final[dict[str, str]] = {
    "quarantined_rows": "withheld rows",
    "lives": "bushing lives",
    "lives_in_fit": "bushing lives in the fits",
    "park": "lines to park a unit",
    "replace": "pivots to replace",
    "measure": "pivots or units to measure",
    "leave": "pivots left alone",
}


@dataclass(frozen=True)
class Door:
    """One of the three pages, with its headline facts."""

    file: str
    title: str
    asks: str
    facts: tuple[str, ...]


def index_context(inputs: PageInputs) -> dict[str, Any]:
    """Prepare what the first page shows.

    Parameters
    ----------
    inputs : PageInputs
        One run.

    Returns
    -------
    dict
        `shortages` (groups), `parked` (lines), `must` and `withheld` (sentences), `doors`,
        `freshness` and `counts` (tables), `notes`, `assumed`, `not_built`, `files`.
    """
    tables = inputs.tables
    lines = read_lines(tables["shortlist"], tables["growth"], inputs.currency)
    return {
        "shortages": shortage_groups(inputs),
        "parked": parked_lines(lines),
        "parked_count": words.count(len({line.unit for line in parked_lines(lines)}), "unit"),
        "must": must_sentence(tables["shortlist"]),
        "withheld": withheld_sentence(tables["quarantine"], tables["ledger"]),
        "doors": _doors(inputs),
        "freshness": freshness(tables["shortlist"]),
        "counts": run_counts(inputs.run),
        "notes": tuple(str(note) for note in inputs.run.get("notes", ())),
        "assumed": ASSUMED,
        "not_built": NOT_BUILT,
        "files": (*_FILES.items(), *_beside(inputs.run)),
    }


def _beside(run: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Name what lies beside the pages when earlier lists were held against what happened."""
    if not run.get("backtest"):
        return ()
    return (
        ("backtest.html", "how earlier lists did"),
        ("backtest.csv", "the same by type and duty"),
        ("calibration.csv", "found worn against forecast"),
    )


def must_sentence(shortlist: pd.DataFrame) -> str:
    """Count the mandatory lines that do not park their unit."""
    must = shortlist["mandatory"].map(words.is_yes) & (shortlist["decision"] != "park")
    units = shortlist.loc[must, "unit_id"].nunique()
    if not units:
        return "No other line is mandatory."
    return (
        f"{words.count(must.sum(), 'mandatory line')} on {words.count(units, 'unit')} "
        "for the coming visit."
    )


def withheld_sentence(quarantine: pd.DataFrame, ledger: pd.DataFrame) -> str:
    """Count the withheld rows, and those that moved a decision all the same."""
    acted = int((quarantine["acted_on"].map(words.text) != "").sum())
    return (
        f"{words.number(len(quarantine))} of {words.count(len(ledger), 'source row')} withheld as "
        f"faulty; {words.number(acted)} of them still heard by the safety rules."
    )


def _doors(inputs: PageInputs) -> tuple[Door, ...]:
    tables = inputs.tables
    return (
        Door(
            "fleet.html",
            "Fleet manager",
            "Which trucks, which pivots, when, and why?",
            _fleet_facts(inputs),
        ),
        Door(
            "engineer.html",
            "Reliability engineer",
            "Which type lasts, on what evidence, and what was left out?",
            (*_verdicts(tables["life_ratios"]), *_type_facts(tables["comparison"])),
        ),
        Door(
            "finance.html",
            "Finance",
            "What will visits, types and conversions cost, and from which prices?",
            (
                f"Coming visits: {cost_headline(tables['planned_cost'], inputs.currency)}",
                *price_banner(tables["prices"], "on the finance page"),
            ),
        ),
    )


def _fleet_facts(inputs: PageInputs) -> tuple[str, ...]:
    tables = inputs.tables
    decisions = tables["shortlist"]["decision"].value_counts()
    jobs = gather_jobs(read_lines(tables["shortlist"], tables["growth"], inputs.currency))
    visits = [job.visit for job in jobs if job.visit[:1].isdigit()]
    return (
        (
            f"{words.number(decisions.get('replace', 0))} to replace, "
            f"{words.number(decisions.get('measure', 0))} to measure, "
            f"{words.number(decisions.get('leave', 0))} left alone."
        ),
        f"{words.count(len(jobs), 'unit visit')} with something to renew or to measure"
        + (f", the first on {min(visits)}." if visits else "."),
    )


def _type_facts(comparison: pd.DataFrame) -> tuple[str, ...]:
    rows = pooled(one_treatment(comparison)).to_dict("records")
    facts = tuple(_type_fact(row) for row in rows)
    unfair = (
        ("These ages mix all duties, unadjusted, and are no comparison of types.",) if facts else ()
    )
    return (*facts, *unfair) or ("No type could be fitted on these records.",)


def _verdicts(ratios: pd.DataFrame) -> tuple[str, ...]:
    """Give each verdict without its grounds; those stand on the engineer's page."""
    told = (said.split(";")[0].removesuffix(".") for said in fair_verdicts(ratios))
    return tuple(
        f"{said[: said.index(NOT_YET)]}{NOT_YET}." if NOT_YET in said else f"{said}."
        for said in told
    )


def _type_fact(row: Mapping[Any, Any]) -> str:
    missing = words.TOO_FEW if pd.isna(row["shape"]) else words.NOT_REACHED
    band = words.life_range(row["b10_lower"], row["b10_upper"])
    age = words.life_miles(row["b10"], missing) + ("" if pd.isna(row["b10"]) else " miles")
    return (
        f"{words.sentence(row['bushing_type'])}: one in ten has failed by {age}"
        f"{f' ({band})' if band else ''}, {words.count(row['failures'], 'failure')}."
    )


def freshness(shortlist: pd.DataFrame) -> Table:
    """Say how old the readings are that the decisions rest on, by depot."""
    dates = pd.to_datetime(shortlist["last_reading_date"], errors="coerce")
    rows = shortlist.assign(date=dates, depot=shortlist["depot"].map(words.text))
    rows = rows[rows["pivot_id"].map(words.text) != ""]
    return make_table(
        "freshness",
        f"Newest and oldest last reading of {words.count(len(rows), 'pivot')} in service: a depot "
        "whose newest reading is old sends in no readings, or they are not coming through.",
        (
            Column("Depot"),
            Column("Pivots", numeric=True),
            Column("Never read", numeric=True),
            Column("Newest reading"),
            Column("Oldest last reading"),
        ),
        [
            (
                str(depot) or words.UNKNOWN,
                words.number(len(group)),
                words.number(group["date"].isna().sum()),
                words.day(group["date"].max(), "none"),
                words.day(group["date"].min(), "none"),
            )
            for depot, group in rows.groupby("depot", sort=True)
        ],
        empty="No pivot is in service.",
    )


def run_counts(run: Mapping[str, Any]) -> Table:
    """List the run's own counts and marks."""
    marks = {key: str(run[key]) for key in ("seed", "settings_file") if key in run}
    pairs = [*_flat(run.get("counts", {})), *marks.items(), *_flat(run.get("versions", {}))]
    return make_table(
        "run",
        "Rows read, pivots by what is to be done, and the versions that worked it out: the same "
        "inputs, settings and versions give the same pages.",
        (Column("What"), Column("Value", numeric=True)),
        [(_COUNTS.get(key, str(key).replace("_", " ")), _mark(value)) for key, value in pairs],
        empty="The run left no counts.",
    )


def _flat(tree: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in tree.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{above}{key} ")
        else:
            yield f"{above}{key}", value


def _mark(value: Any) -> str:
    is_count = isinstance(value, int) and not isinstance(value, bool)
    return words.number(value) if is_count else words.text(value)
