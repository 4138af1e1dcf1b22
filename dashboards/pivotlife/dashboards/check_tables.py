"""The engineer's checks in tables and sentences: fits, early failures, other readings of records.

Not here: the probability plots (`engineer`), any estimate.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import (
    Cell,
    Column,
    Table,
    estimate,
    make_table,
    with_used_notes,
)

#: p-values below this are said to speak against a curve.
_REFUTED: Final = 0.05
_USUAL: Final = "last good on record"
_NOT_EARLY: Final = "early failures not counted"
_BENT: Final = (
    "; that lies beyond the interval: early failures bend this curve, look at how these bushings "
    "were fitted"
)
_LAWS: Final = {"weibull": "Weibull"}
_CUTS: Final = {"all": "whole type", "mode": "mode", "depot": "shop"}


def fit_sentences(fit_check: pd.DataFrame) -> tuple[str, ...]:
    """Say of each type as a whole whether the records speak against its Weibull curve."""
    whole = fit_check[fit_check["duty"] == "all"]
    return tuple(_fit_sentence(row, fit_check) for row in whole.to_dict("records"))


def _fit_sentence(row: Mapping[Any, Any], fit_check: pd.DataFrame) -> str:
    kind = words.text(row["bushing_type"])
    start = f"{words.sentence(kind)} ({words.count(row['failures'], 'failure')})"
    if pd.isna(row["p_value"]):
        return f"{start}: {words.text(row['warning']) or 'not checked'}."
    own = fit_check[(fit_check["bushing_type"] == kind) & (fit_check["duty"] != "all")]
    refuted = [words.text(duty) for duty in own.loc[own["p_value"] < _REFUTED, "duty"]]
    if row["p_value"] < _REFUTED:
        verdict = (
            f"the records speak against one Weibull curve for all duties (p = "
            f"{_p(row['p_value'])}); mixed duties bend a curve, so look at each duty"
        )
    else:
        verdict = (
            f"nothing speaks against a Weibull curve (p = {_p(row['p_value'])}), which is no proof "
            "of it"
        )
    duties = f"within a duty it does not fit {' and '.join(refuted)}" if refuted else ""
    return "; ".join(part for part in (f"{start}: {verdict}", duties) if part) + "."


def fit_table(fit_check: pd.DataFrame) -> Table:
    """Tabulate the likelihood-ratio test and AIC by type and duty."""
    return make_table(
        "fit-check",
        "Weibull against the curve of the records without a law (likelihood ratio; p-value from "
        "lives drawn anew at the same visits, units kept together), and against two other laws by "
        f"AIC: the smallest fits best, a difference below 2 says little. n = "
        f"{words.count(len(fit_check), 'curve')}.",
        (
            Column("Bushing"),
            Column("Duty"),
            Column("Lives", numeric=True),
            Column("Failures", numeric=True),
            Column("p-value", numeric=True),
            Column("Draws", numeric=True),
            Column("AIC Weibull", numeric=True),
            Column("AIC lognormal", numeric=True),
            Column("AIC exponential", numeric=True),
            Column("Best by AIC"),
            Column("Note"),
        ),
        [_fit_row(row) for row in fit_check.to_dict("records")],
        empty="No curve was checked.",
    )


def _fit_row(row: Mapping[Any, Any]) -> tuple[str | Cell, ...]:
    return (
        words.text(row["bushing_type"]),
        words.text(row["duty"]),
        words.number(row["lives"]),
        words.number(row["failures"]),
        _p(row["p_value"]),
        words.number(row["draws"]),
        *(
            words.number(row[f"aic_{law}"], 1, "not fitted")
            for law in ("weibull", "lognormal", "exponential")
        ),
        _LAWS.get(words.text(row["best_by_aic"]), words.text(row["best_by_aic"]) or "not fitted"),
        words.text(row["warning"]) or "none",
    )


def _p(value: Any) -> str:
    return words.number(value, 2 if pd.isna(value) or value >= 0.1 else 3, "not tested")


def early_table(early: pd.DataFrame) -> Table:
    """Tabulate failures of the first miles beside what the curves expect."""
    miles = words.number(early["first_miles"].max() if len(early) else 60_000)
    table = make_table(
        "early-failures",
        f"Failures of the first {miles} miles, found there or likely to have happened there, "
        "beside what the fitted curves of each duty expect. Many more than expected: bad fittings, "
        "which a Weibull curve has no room for. No more: no proof, for a curve bends to early "
        f"failures where few bushings have grown old. n = {words.count(len(early), 'row')}.",
        (
            Column("Bushing"),
            Column("By"),
            Column("Which"),
            Column("Lives watched there", numeric=True),
            Column("Failures", numeric=True),
            Column("Expected", numeric=True),
            Column("Chance of such a difference", numeric=True),
            Column("Note"),
        ),
        [
            (
                words.text(row["bushing_type"]),
                _CUTS.get(words.text(row["cut"]), words.text(row["cut"])),
                words.text(row["value"]),
                words.number(row["lives"]),
                words.number(row["observed"], 1),
                words.number(row["expected"], 1),
                words.percent(row["chance"]),
                words.text(row["warning"]) or "none",
            )
            for row in early.to_dict("records")
        ],
        empty="No type has a fitted curve to compare with.",
    )
    return with_used_notes(table, "Note")


def early_warnings(early: pd.DataFrame) -> tuple[str, ...]:
    """Say where the fitted curves miss early failures; one sentence when they do not."""
    missed = early[early["warning"].map(words.text) != ""]
    if missed.empty:
        return ("The fitted curves account for the early failures on record.",)
    return tuple(
        f"{words.text(row['bushing_type'])}, {_CUTS.get(words.text(row['cut']), '')} "
        f"{words.text(row['value'])}: {words.number(row['observed'], 1)} early failures where the "
        f"fitted curve expects {words.number(row['expected'], 1)}: {words.text(row['warning'])}."
        for row in missed.to_dict("records")
    )


def early_effect(sensitivity: pd.DataFrame) -> tuple[str, ...]:
    """Set B10 with and without the early failures side by side, a sentence for each type."""
    usual = sensitivity[sensitivity["assumption"] == _USUAL]
    later = sensitivity[sensitivity["assumption"] == _NOT_EARLY]
    both = usual.merge(later, on="bushing_type", suffixes=("", "_later"))
    return tuple(
        f"{words.sentence(row['bushing_type'])}, B10 in miles: "
        f"{words.life_miles(row['b10'], words.TOO_FEW)} with its early failures, "
        f"{words.life_miles(row['b10_later'], words.TOO_FEW)} without"
        f"{_BENT if row['b10_later'] > row['b10_upper'] else ''}."
        for row in both.to_dict("records")
    )


def sensitivity_table(sensitivity: pd.DataFrame) -> Table:
    """Set B10 of each type under other readings of the records side by side."""
    return make_table(
        "sensitivity",
        "B10 of each type, all duties together, under other readings of the same records. Where a "
        "verdict would change with the reading, the records do not carry it. Bushings taken out "
        "before they failed count as still good here, in every row. "
        f"n = {words.count(len(sensitivity), 'fit')}.",
        (
            Column("Bushing"),
            Column("Records read as"),
            Column("B10, miles", numeric=True),
            Column("Rests on"),
        ),
        [
            (
                words.text(row["bushing_type"]),
                words.text(row["assumption"]),
                estimate(
                    words.life_miles(row["b10"], words.TOO_FEW),
                    words.life_range(row["b10_lower"], row["b10_upper"]),
                ),
                words.text(row["note"]),
            )
            for row in sensitivity.to_dict("records")
        ],
        empty="No type has been fitted.",
    )
