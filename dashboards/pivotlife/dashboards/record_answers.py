"""Answers of the engineer's page on the records themselves: questions 7 to 10.

What play missed, how good the gauges are, whether second lives are shorter, what was dropped.

Not here: answers on survival (`engineer_answers`), any estimate.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.comparison_tables import cut_by, one_treatment
from pivotlife.dashboards.engineer_answers import Answer, Tables
from pivotlife.dashboards.gauge_tables import gauge_sentences, settled_sentences

#: Why a life is in no fit, in the order in which the page counts them.
LEFT_OUT: Final[dict[str, str]] = {
    "prevalent": "Already bad when first seen",
    "none-after-entry": "Never seen again after entry",
    "unknown-age": "Age unknown",
}


def record_answers(tables: Tables) -> tuple[Answer, ...]:
    """Answer questions 7 to 10."""
    return (
        missed_by_play(tables),
        gauges(tables),
        second_lives(tables),
        dropped(tables),
    )


def missed_by_play(tables: Tables) -> Answer:
    """Say of each type which failures a reading of play did not announce."""
    rows = tables["missed_by_play"]
    told = rows[rows["share_missed"].notna()]
    said = [
        f"{words.sentence(words.text(kind))}: {_missed(own)}."
        for kind, own in told.groupby("bushing_type", sort=True)
    ]
    silent = sorted({words.text(kind) for kind in rows["bushing_type"]} - set(told["bushing_type"]))
    if silent:
        failures = rows[rows["bushing_type"].isin(silent)]["failures"].sum()
        said.append(
            f"{words.sentence(' and '.join(silent))}: not judged, no limit of play or no reading "
            f"near the failure ({words.count(failures, 'failure')})."
        )
    return Answer(
        "missed",
        "What did free play miss?",
        tuple(said) or ("No failure is on record.",),
        "Only failures with a reading shortly before them can be judged; seizure, splits and "
        "breaks do not show as play, and a reading under the limit is no word on these.",
    )


def gauges(tables: Tables) -> Answer:
    """Say what a single reading is worth."""
    gauge = tables["gauge"]
    chosen = gauge[gauge["chosen"].map(words.is_yes).astype(bool)]
    whole = chosen[(chosen["source"] == "study") & (chosen["quantity"] == "gauge_rr")]
    sizes = tuple(
        f"That rests on {words.count(row['readings'], 'reading')} of the study; 95 % interval "
        f"{words.interval(row['lower_mm'], row['upper_mm'], _three)} mm."
        for row in whole.to_dict("records")
    )
    first, *others = gauge_sentences(gauge) or ("No gauge is on record.",)
    others += settled_sentences(tables["settled_readings"])
    return Answer(
        "gauges",
        "How good are our gauges?",
        (first, *sizes, *others),
        "A study is done on a bench day by people who know that they are watched; readings in the "
        "yard are no better.",
    )


def second_lives(tables: Tables) -> Answer:
    """Say of each type whether later lives are told from first ones."""
    rows = cut_by(one_treatment(tables["comparison"]), "life_order")
    said = [
        sentence
        for kind, own in rows.groupby("bushing_type", sort=True)
        if (sentence := _second(words.text(kind), own))
    ]
    return Answer(
        "second",
        "Are second lives shorter?",
        tuple(said) or ("No type has been fitted on first and on later lives.",),
        "Later lives ran on older trucks, in worn bores and in the duty that wore out the first "
        "bushing soonest; duty mix is not evened out here.",
    )


def dropped(tables: Tables) -> Answer:
    """Say how many lives and rows take no part, and why."""
    counts = tables["life_counts"].groupby("evidence")["lives"].sum()
    out = {name: int(counts.get(name, 0)) for name in LEFT_OUT}
    total, left = int(counts.sum()), sum(out.values())
    why = ", ".join(
        f"{label.lower()} {words.number(out[name])}" for name, label in LEFT_OUT.items()
    )
    withheld, rows = len(tables["quarantine"]), len(tables["ledger"])
    share = f" ({words.percent(left / total)})" if total else ""
    return Answer(
        "dropped",
        "What was dropped?",
        (
            f"{words.number(left)} of {words.count(total, 'life', 'lives')}{share} take no part in "
            f"a fit: {why}; {words.number(withheld)} of {words.number(rows)} source rows are "
            "withheld, each with its reason.",
        ),
        "These are counts, not estimates. Bushings already bad when first seen were the "
        "short-lived ones; they are left out because those that had gone before the records "
        "began are missing too.",
    )


def _missed(rows: pd.DataFrame) -> str:
    parts = [
        f"{words.text(row['mode'])} {words.number(row['missed'])} of "
        f"{words.number(row['with_reading'])} "
        f"({words.counted_share(row['missed'], row['with_reading'])}, 95 % interval "
        f"{words.percent_band(row['share_missed_lower'], row['share_missed_upper'])})"
        for row in rows.sort_values("share_missed", ascending=False).to_dict("records")
    ]
    missed, read = rows["missed"].sum(), rows["with_reading"].sum()
    hidden = sorted(words.text(mode) for mode in rows.loc[rows["share_missed_lower"] > 0.5, "mode"])
    verdict = (
        f"it does not announce {' and '.join(hidden)}"
        if hidden
        else "no mode on record hides from it"
    )
    return (
        f"play missed {words.number(missed)} of {words.count(read, 'failure')} with a reading: "
        f"{', '.join(parts)}; {verdict}"
    )


def _second(kind: str, rows: pd.DataFrame) -> str:
    by_order = {words.text(row["life_order"]): row for row in rows.to_dict("records")}
    first, later = by_order.get("first"), by_order.get("later")
    if first is None or later is None:
        only = first or later
        which = "first" if first else "later"
        return (
            f"{words.sentence(kind)}: {which} lives only ({_size(only)}), so nothing to compare."
            if only
            else ""
        )
    if pd.isna(first["b10"]) or pd.isna(later["b10"]):
        return (
            f"{words.sentence(kind)}: {words.TOO_FEW} to compare ({_size(first)}; {_size(later)})."
        )
    apart = later["b10_upper"] < first["b10_lower"] or first["b10_upper"] < later["b10_lower"]
    shorter = later["b10"] < first["b10"]
    verdict = (
        f"later lives read {'shorter' if shorter else 'longer'}, beyond what chance would do"
        if apart
        else "the two intervals overlap, so take them as not told apart"
    )
    both = f"first lives {_life(first)}, later lives {_life(later)}"
    return f"{words.sentence(kind)}: {both}; {verdict}."


def _life(row: Mapping[Any, Any]) -> str:
    limits = words.life_range(row["b10_lower"], row["b10_upper"])
    return f"B10 {words.life_miles(row['b10'])} miles ({limits}; {_size(row)})"


def _size(row: Mapping[Any, Any]) -> str:
    return (
        f"{words.count(row['failures'], 'failure')} of {words.count(row['lives'], 'life', 'lives')}"
    )


def _three(value: Any) -> str:
    return words.number(value, 3)
