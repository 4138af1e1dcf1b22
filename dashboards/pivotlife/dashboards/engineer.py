"""The reliability engineer's page: how long each type lasts, and on what evidence.

Not here: the tables of estimates (`comparison_tables`), the drawings themselves.
"""

from __future__ import annotations

import re
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.backtest import earlier_lists
from pivotlife.dashboards.chart_probability import probability_drawing
from pivotlife.dashboards.chart_survival import survival_drawing
from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.comparison_tables import (
    cut_by,
    cut_table,
    one_treatment,
    pooled,
    removals_table,
    sample_words,
    type_table,
)
from pivotlife.dashboards.engineer_answers import survival_answers
from pivotlife.dashboards.engineer_checks import checks_context
from pivotlife.dashboards.fair_tables import (
    balance_table,
    lube_table,
    outlast_table,
    ratio_table,
)
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.intake_tables import (
    odometer_stretches,
    profile_sentence,
    profile_table,
    suspect_kinds,
)
from pivotlife.dashboards.record_answers import LEFT_OUT, record_answers
from pivotlife.dashboards.tables import Column, Table, group_sizes, make_table
from pivotlife.dashboards.wait_table import wait_table

_MOST_REASONS: Final = 60

ASSUMPTIONS: Final = (
    (
        "A bushing counts as good up to its last good reading on record, not up to today's "
        "odometer: nobody looked in between. If bad findings are written down more faithfully than "
        "good ones, lives read somewhat too short."
    ),
    "A failure found at a visit happened somewhere between the last good evidence and that visit.",
    (
        "A bushing fitted before the records begin enters at the age of its first good evidence; "
        "one that was bad when first seen tells nothing about life and is only counted."
    ),
    (
        "Bushings of one truck are alike, so intervals come from drawing whole units where a "
        "method says so; the method is named beside each interval."
    ),
    (
        "Removals before the limit are not failures. They are not proof of health either, so each "
        "way of counting them is shown."
    ),
    (
        "Where types are compared fairly, a metal bushing that a campaign or a precaution took out "
        "counts with the ages at which its own readings say it would have reached its limit."
    ),
    (
        "A fair comparison evens out duty, salt, node, care, first or later life and the condition "
        "of the bushing before. What nobody wrote down cannot be evened out."
    ),
    "Rubber is judged by its condition. It has no play limit unless the settings give one.",
    (
        "Failure modes with enough failures are fitted together, and each is read as if it were "
        "the only one; that they are independent cannot be tested on these records."
    ),
)


def engineer_context(inputs: PageInputs) -> dict[str, Any]:
    """Prepare what the engineer template shows.

    Parameters
    ----------
    inputs : PageInputs
        One run.

    Returns
    -------
    dict
        The ten `answers`; tables `ratios`, `waits`, `balance`, `lube`, `outlast`, `types`,
        `duties`, `orders`, `removals`, `cuts`, `left_out`, `fates`, `profile`, `suspect_kinds`,
        `suspects`; drawings `curves`, `plots`, `plots_by_duty`; the sentences
        `profile_sentence` and `assumptions`; and what `checks_context` gives.
    """
    tables = inputs.tables
    comparison = tables["comparison"]
    plots, by_duty = _probability(tables["plot_points"], tables["curves"])
    return {
        "answers": (*survival_answers(tables), *record_answers(tables)),
        "waits": wait_table(tables["decidable"]),
        "ratios": ratio_table(tables["life_ratios"]),
        "balance": balance_table(tables["balance"]),
        "lube": lube_table(tables["lube_effect"]),
        "outlast": outlast_table(tables["outlast"]),
        "types": type_table(comparison),
        "removals": removals_table(comparison),
        "duties": cut_table(
            comparison, "duty", "Duty", "The fairer comparison: types within one duty."
        ),
        "orders": cut_table(
            comparison, "life_order", "Life", "Whether second lives are shorter than first."
        ),
        "cuts": _other_cuts(comparison),
        "curves": _survival(tables["curves"], one_treatment(comparison)),
        "plots": plots,
        "plots_by_duty": by_duty,
        "left_out": left_out(tables["life_counts"]),
        "fates": fates(tables["ledger"]),
        "profile_sentence": profile_sentence(tables["profile"]),
        "profile": profile_table(tables["profile"]),
        "suspect_kinds": suspect_kinds(tables["suspects"]),
        "suspects": odometer_stretches(tables["suspects"]),
        "assumptions": ASSUMPTIONS,
        **checks_context(tables),
        "earlier_lists": earlier_lists(inputs.run),
    }


def _other_cuts(comparison: pd.DataFrame) -> tuple[Table, ...]:
    return (
        cut_table(comparison, "mode", "Mode", "What the bushings die of."),
        cut_table(comparison, "node", "Node", "Whether the place in the spring matters."),
    )


def _survival(curves: pd.DataFrame, comparison: pd.DataFrame) -> tuple[Drawing, ...]:
    duties = sorted(curves["duty"].map(words.text).unique(), key=lambda duty: (duty != "all", duty))
    drawings = []
    for place, duty in enumerate(duties):
        rows = pooled(comparison) if duty == "all" else cut_by(comparison, "duty")
        rows = rows[rows["duty"] == duty]
        title = "All duties, unadjusted" if duty == "all" else duty
        drawings.append(
            survival_drawing(
                curves[curves["duty"] == duty],
                f"survival-{place}",
                f"Still good: {title}",
                "Where a curve falls to 90 %, one bushing in ten has failed. Where two bands "
                f"overlap, take the types as not told apart. {words.sentence(sample_words(rows))}."
                + _from_miles(curves[curves["duty"] == duty]),
            )
        )
    return tuple(drawing for drawing in drawings if drawing)


def _from_miles(curves: pd.DataFrame) -> str:
    """Say from which age on the records' curve speaks, where that is not from new."""
    if "from_miles" not in curves.columns:
        return ""
    steps = curves[(curves["curve"] == "records") & (curves["from_miles"] > 0)]
    starts = steps.groupby("bushing_type")["from_miles"].min()
    told = [f"{kind} {words.life_miles(miles)}" for kind, miles in starts.items()]
    if not told:
        return ""
    return f" The records speak of bushings still good at (miles): {', '.join(told)}."


def _probability(
    points: pd.DataFrame, curves: pd.DataFrame
) -> tuple[tuple[Drawing, ...], tuple[Drawing, ...]]:
    groups = {
        (words.text(duty), words.text(kind)): rows
        for (duty, kind), rows in points.groupby(["duty", "bushing_type"], sort=True)
    }
    drawings: dict[bool, list[Drawing]] = {True: [], False: []}
    for place, ((duty, kind), rows) in enumerate(groups.items()):
        same = (curves["duty"] == duty) & (curves["bushing_type"] == kind)
        drawing = probability_drawing(
            rows,
            curves[same & (curves["curve"] == "weibull")],
            f"probability-{place}",
            f"{kind}, {'all duties' if duty == 'all' else duty}",
            "Points along the line: a Weibull fits. A bend: two kinds of failure, or duties mixed. "
            + _plot_sample(rows)
            + _from_miles(curves[same]),
        )
        if drawing:
            drawings[duty == "all"].append(drawing)
    return tuple(drawings[True]), tuple(drawings[False])


def _plot_sample(rows: pd.DataFrame) -> str:
    most = words.number(rows["at_risk"].max())
    last = words.number(rows.sort_values("miles")["at_risk"].iloc[-1])
    points = words.count(len(rows), "point")
    return f"n = {points}, at most {most} bushings at risk, {last} at the last."


def left_out(life_counts: pd.DataFrame) -> Table:
    """Count, by type, the lives that speak in no fit and those that do."""
    counts = life_counts.assign(
        bushing_type=life_counts["bushing_type"].map(words.text),
        evidence=life_counts["evidence"].map(words.text),
    )
    wide = counts.pivot_table(
        index="bushing_type", columns="evidence", values="lives", aggfunc="sum", fill_value=0
    )
    others = [name for name in sorted(wide.columns) if name not in LEFT_OUT]
    order = [*LEFT_OUT, *others]
    wide = wide.reindex(columns=order, fill_value=0)
    return make_table(
        "lives-by-evidence",
        f"All {words.number(counts['lives'].sum())} lives by what ended or last witnessed them. "
        "The first three kinds are in no fit: the more of them, the less the curves rest on.",
        (
            Column("Bushing"),
            *(Column(LEFT_OUT.get(name, name.replace("-", " ")), numeric=True) for name in order),
        ),
        [
            (str(kind), *(words.number(value) for value in row))
            for kind, row in zip(wide.index, wide.to_numpy(), strict=True)
        ],
        empty="No life was found in the records.",
    )


def reason_kind(reason: str) -> str:
    """Tell a reason without the single value or place that it names: those stand in the ledger."""
    placed = re.sub(r"attributed to \S+(?:, \S+)* by ", "worked out: ", reason)
    coded = re.sub(r"\b[a-z_]+\.[a-z_]+: ", "", placed)
    twin = re.sub(r"\brepeats row \d+", "repeats another row", coded)
    return re.sub(r" '[^']*'", "", twin)


def fates(ledger: pd.DataFrame) -> Table:
    """Count the source rows by table, fate and reason."""
    told = ledger.assign(reason=ledger["reason"].map(words.text).map(reason_kind))
    groups = group_sizes(told, ["table", "fate", "reason"])
    shown, rest = groups[:_MOST_REASONS], groups[_MOST_REASONS:]
    hidden = sum(size for _, size in rest)
    more = (
        f" {words.number(hidden)} rows of rarer reasons stand in ledger.csv only." if rest else ""
    )
    return make_table(
        "rows-by-fate",
        f"Where all {words.number(len(ledger))} source rows went; rows in equal rows out.{more}",
        (Column("Table"), Column("Fate"), Column("Reason"), Column("Rows", numeric=True)),
        [
            (table, fate, reason or "none needed", words.number(size))
            for (table, fate, reason), size in shown
        ],
        empty="The ledger is empty.",
    )
