"""The ten questions of the engineer's page, each answered in a sentence or one for each type.

Every answer names how much stands behind it, the 95 % interval, what follows, and what speaks
against it; the tables and figures below it are the evidence. Questions on survival: here; those on
the state of the records: `record_answers`.

Not here: any estimate; the tables themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.check_tables import early_warnings, fit_sentences
from pivotlife.dashboards.comparison_tables import cut_by, one_treatment, pooled
from pivotlife.dashboards.fair_tables import fair_verdicts
from pivotlife.models.no_failures import FEW_FAILURES

Tables = Mapping[str, pd.DataFrame]
_PAIR: Final = ("numerator_type", "denominator_type")


@dataclass(frozen=True)
class Answer:
    """One question with its answer.

    Attributes
    ----------
    anchor, question : str
    sentences : tuple of str
        The answer; one sentence, or one for each type, duty or pair.
    doubt : str
        What speaks against it.
    """

    anchor: str
    question: str
    sentences: tuple[str, ...]
    doubt: str


def survival_answers(tables: Tables) -> tuple[Answer, ...]:
    """Answer what the fitted lives and the fair comparison tell: questions 1 to 6."""
    return (
        longest_in_duty(tables),
        real_or_not(tables),
        b10_by_type(tables),
        wear_out_or_early(tables),
        does_it_fit(tables),
        missed_lube(tables),
    )


def longest_in_duty(tables: Tables) -> Answer:
    """Name the type with the highest B10 in each duty, and whether that is told apart."""
    rows = cut_by(one_treatment(tables["comparison"]), "duty")
    few = rows["b10"].isna() | (rows["failures"] < FEW_FAILURES)
    ratios = _adjusted(tables["life_ratios"])
    sentences = [
        _longest(str(duty), own.sort_values("b10", ascending=False), ratios)
        for duty, own in rows[~few].groupby("duty", sort=True)
    ]
    return Answer(
        "longest",
        "Which type lasts longest in this duty?",
        tuple(sentences) or ("No type has failures enough in any duty.",),
        "Trucks of one duty still differ in salt and care; where the fair comparison gives no "
        f"verdict, the order of these ages is no proof. {_too_few(rows[few])}".strip(),
    )


def real_or_not(tables: Tables) -> Answer:
    """Give the fair verdicts, what the unadjusted figures read, and when the open ones close."""
    unadjusted = _ratios(tables["life_ratios"], "pooled")
    waits = {
        (words.text(row["numerator_type"]), words.text(row["denominator_type"])): row
        for row in tables["decidable"].to_dict("records")
        if words.text(row["duty"]) == "all"
    }
    adjusted = [row for row in _adjusted(tables["life_ratios"]) if row["duty"] == "all"]
    said = []
    for row, verdict in zip(adjusted, fair_verdicts(tables["life_ratios"]), strict=True):
        pair = tuple(words.text(row[name]) for name in _PAIR)
        parts = [verdict]
        if pd.notna(row["ratio"]) and "times as high" not in verdict:
            parts.append(_reading(row))
        if pair in unadjusted:
            parts.append(
                f"unadjusted it reads {words.number(unadjusted[pair], 2)}, part of the difference "
                "may be who got which type"
            )
        if pair in waits and words.text(waits[pair]["state"]) != "decided":
            parts.append(words.text(waits[pair]["sentence"]))
        said.append(words.sentences("; ".join(parts)))
    return Answer(
        "real",
        "Is it real, or who got which type?",
        tuple(said) or ("Nothing to compare: the records hold fewer than two bushing types.",),
        "A fair comparison evens out what was written down; where the adjusted and the weighted "
        "ratio part, trust neither.",
    )


def b10_by_type(tables: Tables) -> Answer:
    """Give B10 of each type as a whole."""
    rows = pooled(one_treatment(tables["comparison"]))
    return Answer(
        "b10",
        "By which age has one bushing in ten failed (B10)?",
        tuple(
            f"{words.sentence(words.text(row['bushing_type']))}: {_b10(row)}."
            for row in rows.to_dict("records")
        )
        or ("No type has been fitted.",),
        "All duties together and unadjusted: a type that serves in hard duty looks worse than it "
        "is. Bushings taken out early can be counted in more than one way; the tables show each.",
    )


def wear_out_or_early(tables: Tables) -> Answer:
    """Say of each type whether its bushings wear out, fail by chance or fail young."""
    rows = pooled(one_treatment(tables["comparison"]))
    said = [
        f"{words.sentence(words.text(row['bushing_type']))}: {_ageing(row)}."
        for row in rows.to_dict("records")
    ]
    missed = early_warnings(tables["early_failures"])
    return Answer(
        "ageing",
        "Do they wear out, or fail young?",
        tuple(said) or ("No type has been fitted.",),
        "Mixed duties pull a shape towards 1, and badly fitted bushings pull it below what wear "
        f"would give. {words.sentence(missed[0])}"
        + (f" {words.count(len(missed) - 1, 'more such line')} below." if len(missed) > 1 else ""),
    )


def does_it_fit(tables: Tables) -> Answer:
    """Say of each type whether the records speak against its curve."""
    return Answer(
        "fit",
        "Does a Weibull curve fit?",
        fit_sentences(tables["fit_check"]) or ("No curve was checked.",),
        "A curve that is not refuted is not proven, least of all beyond the last bushing seen; "
        "with few failures the check sees little. In place of an interval it has a p-value: how "
        "often a true Weibull curve would look as bent.",
    )


def missed_lube(tables: Tables) -> Answer:
    """Say of each type what one more missed service does to its life."""
    said = [_lube(row) for row in tables["lube_effect"].to_dict("records")]
    return Answer(
        "lube",
        "What does missed lube cost?",
        tuple(said) or ("No effect of grease could be estimated.",),
        "Trucks whose services are missed are driven otherwise too, and part of a count out of few "
        "services is luck: the effect is of care on record, not of grease alone.",
    )


def _longest(duty: str, rows: pd.DataFrame, ratios: list[dict[Any, Any]]) -> str:
    first, *others = rows.to_dict("records")
    start = (
        f"{words.sentence(duty)}: {words.text(first['bushing_type'])} reads longest, {_b10(first)}"
    )
    if not others:
        return f"{start}; no other type has a curve there."
    second = others[0]
    start += f"; then {words.text(second['bushing_type'])}, {_b10(second)}"
    names = {words.text(row["bushing_type"]) for row in (first, second)}
    fair = next(
        (r for r in ratios if r["duty"] == duty and {r[name] for name in _PAIR} == names), None
    )
    if fair is None:
        return f"{start}; the two were not compared fairly."
    of = " / ".join(words.text(fair[name]) for name in _PAIR)
    verdict = words.sentences(f"Compared fairly ({of}): {words.text(fair['verdict'])}")
    return f"{start}. {verdict}"


def _reading(row: Mapping[Any, Any]) -> str:
    """Give the adjusted ratio where its verdict does not."""
    limits = words.interval(
        row["ratio_lower"], row["ratio_upper"], lambda value: words.number(value, 2)
    )
    first, second = (words.number(row[f"{side}_failures"]) for side in ("numerator", "denominator"))
    return (
        f"adjusted it reads {words.number(row['ratio'], 2)} (95 % interval {limits}; {first} and "
        f"{second} failures)"
    )


def _too_few(rows: pd.DataFrame) -> str:
    """Name the types that are left out of a duty's order."""
    told = [
        f"{words.text(row['bushing_type'])} in {words.text(row['duty'])} duty "
        f"({words.count(row['failures'], 'failure')})"
        for row in rows.to_dict("records")
    ]
    return f"Left out for too few failures: {', '.join(told)}." if told else ""


def _b10(row: Mapping[Any, Any]) -> str:
    behind = (
        f"{words.count(row['failures'], 'failure')} of {words.count(row['lives'], 'life', 'lives')}"
    )
    if pd.isna(row["b10"]):
        limits = words.life_range(row["b10_lower"], row["b10_upper"])
        return f"B10 {words.TOO_FEW} to give ({behind}; limits {limits})"
    limits = words.life_range(row["b10_lower"], row["b10_upper"])
    return f"B10 {words.life_miles(row['b10'])} miles (95 % interval {limits}; {behind})"


def _ageing(row: Mapping[Any, Any]) -> str:
    behind = words.count(row["failures"], "failure")
    if pd.isna(row["shape"]):
        return f"{words.TOO_FEW} to tell ({behind})"
    low, high = row["shape_lower"], row["shape_upper"]
    verdict = (
        "they wear out"
        if low > 1.0
        else "they fail young more than old"
        if high < 1.0
        else "wear-out is not told from failing by chance"
    )
    limits = words.interval(low, high, lambda value: words.number(value, 2))
    return (
        f"{verdict}: shape {words.number(row['shape'], 2)} (95 % interval {limits}; {behind}); "
        "above 1 is wear-out"
    )


def _lube(row: Mapping[Any, Any]) -> str:
    kind = words.sentence(words.text(row["bushing_type"]))
    behind = words.count(row["failures"], "failure")
    name = "time_ratio_per_missed_service"
    if pd.isna(row[name]):
        return f"{kind}: {words.TOO_FEW} to tell ({behind})."
    low, high = row[f"{name}_lower"], row[f"{name}_upper"]
    verdict = (
        "an effect that is not told from none"
        if low <= 1.0 <= high
        else "which shortens life"
        if high < 1.0
        else "which goes with longer life"
    )
    note = words.text(row["note"])
    return (
        f"{kind}: one more service missed multiplies life by {words.number(row[name], 3)} (95 % "
        f"interval {words.number(low, 3)} to {words.number(high, 3)}; {behind}), {verdict}"
        f"{f'; it {note}' if note else ''}."
    )


def _adjusted(ratios: pd.DataFrame) -> list[dict[Any, Any]]:
    """Return the adjusted rows of B10 in the order in which verdicts are given."""
    chosen = (ratios["method"] == "adjusted") & (ratios["estimand"].map(words.text) == "b10")
    return ratios[chosen].to_dict("records")


def _ratios(ratios: pd.DataFrame, method: str) -> dict[tuple[str, ...], float]:
    """Return the ratios of B10 over all duties by pair."""
    chosen = ratios[
        (ratios["method"] == method)
        & (ratios["duty"] == "all")
        & (ratios["estimand"].map(words.text) == "b10")
    ]
    return {
        tuple(words.text(row[name]) for name in _PAIR): row["ratio"]
        for row in chosen.to_dict("records")
        if pd.notna(row["ratio"])
    }
