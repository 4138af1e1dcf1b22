"""The engineer's tables of types compared fairly: verdicts, ratios side by side, balance, grease.

Not here: any estimate; curves and tables of each type by itself (`comparison_tables`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import Cell, Column, Table, estimate, make_table
from pivotlife.models.fair_verdict import NOT_YET

_METHODS: Final = ("pooled", "adjusted", "weighted")
_KEY: Final = ["numerator_type", "denominator_type", "duty", "estimand"]
_ALL: Final = "all"
#: Differences above this many standard deviations are too large for a verdict.
_UNLIKE: Final = 0.2
#: A limit of a ratio beyond these says only that there is none.
_SMALLEST, _LARGEST = 0.01, 100.0


def fair_verdicts(ratios: pd.DataFrame) -> tuple[str, ...]:
    """Give the verdict on each pair of types over the whole fleet, by B10.

    Parameters
    ----------
    ratios : DataFrame
        The table `life_ratios`.
    """
    rows = ratios[
        (ratios["method"] == "adjusted")
        & (ratios["duty"] == _ALL)
        & (ratios["estimand"].map(words.text) == "b10")
    ]
    return tuple(_sentence(row) for row in rows.to_dict("records"))


def ratio_table(ratios: pd.DataFrame) -> Table:
    """Set the three ways of comparing side by side."""
    found = {
        (*(words.text(row[name]) for name in _KEY), words.text(row["method"])): row
        for row in ratios.to_dict("records")
        if words.text(row["method"]) in _METHODS
    }
    keys = list(dict.fromkeys(key[:-1] for key in found))
    keys.sort(key=lambda key: (key[0], key[1], key[2] != _ALL, key[2], key[3]))
    return make_table(
        "life-ratios",
        "How many times as high the first type's age is as the second's, with its 95 % interval. "
        "The effective number says how many lives are left to compare after weighting.",
        (
            Column("First / second"),
            Column("Duty"),
            Column("Age"),
            Column("Unadjusted", numeric=True),
            Column("Adjusted", numeric=True),
            Column("Weighted", numeric=True),
            Column("Failures", numeric=True),
            Column("Effective number", numeric=True),
            Column("Verdict"),
        ),
        [_ratio_row(key, [found.get((*key, method)) for method in _METHODS]) for key in keys],
        empty="No two types could be compared.",
    )


def balance_table(balance: pd.DataFrame) -> Table:
    """Say how unlike the types' lives were when they were fitted."""
    rows = balance[balance["duty"].map(words.text) == _ALL]
    return make_table(
        "balance",
        "How unlike the two types' lives were in what was known at fitting, in standard "
        "deviations, "
        f"before and after weighting; beyond {_UNLIKE:.1f} after weighting there is no verdict. "
        "Single duties stand in balance.csv.",
        (
            Column("First / second"),
            Column("Known at fitting"),
            Column("Before", numeric=True),
            Column("After", numeric=True),
        ),
        [
            (
                _pair(row),
                words.text(row["covariate"]),
                _signed(row["difference_before"]),
                _signed(row["difference_after"]),
            )
            for row in rows.to_dict("records")
        ],
        empty="Nothing was weighted.",
    )


def outlast_table(outlast: pd.DataFrame) -> Table:
    """Say how likely a bushing of one type outlasts one of the other."""
    return make_table(
        "outlast",
        "Two bushings of different type in the same place: the chance that the first lasts longer, "
        "that the second does, or that both are still good where the records of one of them end.",
        (
            Column("First / second"),
            Column("Duty"),
            Column("First lasts longer", numeric=True),
            Column("Second lasts longer", numeric=True),
            Column("Both still good", numeric=True),
            Column("Up to, miles", numeric=True),
        ),
        [
            (
                _pair(row),
                words.text(row["duty"]),
                *(_chance(row, side) for side in ("numerator", "denominator")),
                words.percent(row["chance_undecided"]),
                words.life_miles(row["until_miles"]),
            )
            for row in outlast.to_dict("records")
        ],
        empty="No two types could be compared.",
    )


def lube_table(effect: pd.DataFrame) -> Table:
    """Say what a missed lube service costs."""
    return make_table(
        "lube-effect",
        "What grease does, from the adjusted model: life is multiplied by this. A factor whose "
        "interval holds 1 is not told from none.",
        (
            Column("Bushing"),
            Column("Failures", numeric=True),
            Column("10 points more lube compliance", numeric=True),
            Column("One more service missed", numeric=True),
            Column("Services due in a typical life", numeric=True),
            Column("Note"),
        ),
        [
            (
                words.text(row["bushing_type"]),
                words.number(row["failures"]),
                _factor(row, "time_ratio_per_10_points"),
                _factor(row, "time_ratio_per_missed_service"),
                words.number(row["services_due"]),
                words.text(row["note"]),
            )
            for row in effect.to_dict("records")
        ],
        empty="No effect of grease could be estimated.",
    )


def _ratio_row(key: tuple[str, ...], rows: list[dict[Any, Any] | None]) -> tuple[str | Cell, ...]:
    known = [row for row in rows if row is not None]
    fair = rows[1] or rows[2] or known[0]
    weighted = rows[2]
    return (
        f"{key[0]} / {key[1]}",
        key[2],
        key[3].upper(),
        *(_ratio(row) for row in rows),
        f"{words.number(fair['numerator_failures'])} / "
        f"{words.number(fair['denominator_failures'])}",
        words.number(weighted["effective_sample_size"]) if weighted else words.UNKNOWN,
        words.sentence(words.text(fair["verdict"])),
    )


def _ratio(row: dict[Any, Any] | None) -> Cell:
    if row is None or pd.isna(row["ratio"]) or not _SMALLEST < row["ratio"] < _LARGEST:
        return Cell("not told")
    return estimate(f"{row['ratio']:.2f}", _limits(row["ratio_lower"], row["ratio_upper"]))


def _limits(lower: float, upper: float) -> str:
    if lower < _SMALLEST and upper > _LARGEST:
        return words.NO_LIMIT
    low = f"{lower:.2f}" if lower >= _SMALLEST else words.NO_LIMIT
    return f"{low} to {f'{upper:.2f}' if upper <= _LARGEST else words.NO_LIMIT}"


def _factor(row: Mapping[Any, Any], name: str) -> Cell:
    if pd.isna(row[name]):
        return Cell(words.TOO_FEW)
    return estimate(
        f"{row[name]:.3f}",
        f"{row[f'{name}_lower']:.3f} to {row[f'{name}_upper']:.3f}",
    )


def _chance(row: Mapping[Any, Any], side: str) -> Cell:
    band = words.percent_band(row[f"chance_{side}_lower"], row[f"chance_{side}_upper"])
    return estimate(words.percent(row[f"chance_{side}"]), band)


def _pair(row: Mapping[Any, Any]) -> str:
    return f"{words.text(row['numerator_type'])} / {words.text(row['denominator_type'])}"


def _signed(value: Any) -> str:
    if pd.isna(value):
        return words.UNKNOWN
    return f"{value:+.2f}" if abs(value) >= 0.005 else "0.00"


def _sentence(row: Mapping[Any, Any]) -> str:
    said = words.text(row["verdict"])
    if said.startswith(NOT_YET):
        return f"{words.sentence(_pair(row))}: {said}"
    return words.sentence(said)
