"""The engineer's tables of fitted lives: by type, by duty, and every other cut that was fitted.

Estimates are written to the thousand miles; an estimate without enough failures is words.

Not here: curves (`engineer`), any fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import Cell, Column, Table, estimate, make_table

#: How removals before the limit were treated, best first, and how the page says it.
TREATMENTS: Final[dict[str, str]] = {
    "imputed": "weighed by their readings",
    "censored": "as still good when removed",
    "counted": "as failures",
}
_ALL: Final = frozenset({"all", "any", ""})
_CUTS: Final = ("duty", "node", "life_order", "mode")
_ESTIMATES: Final = (
    Column("Units", numeric=True),
    Column("Lives", numeric=True),
    Column("Failures", numeric=True),
    Column("Shape", numeric=True),
    Column("Scale, miles", numeric=True),
    Column("B10, miles", numeric=True),
    Column("B50, miles", numeric=True),
    Column("Interval by"),
    Column("Warning"),
)


def one_treatment(comparison: pd.DataFrame) -> pd.DataFrame:
    """Keep the rows of the best treatment of early removals that was fitted."""
    treated = comparison["informative_removals"].map(words.text)
    present = [name for name in TREATMENTS if (treated == name).any()]
    return comparison[treated == present[0]] if present else comparison


def pooled(comparison: pd.DataFrame) -> pd.DataFrame:
    """Keep the rows that speak of a whole bushing type, by no cut."""
    return comparison[_uncut(comparison, _CUTS)].sort_values("bushing_type")


def cut_by(comparison: pd.DataFrame, cut: str) -> pd.DataFrame:
    """Keep the rows of one cut (duty, node, life_order or mode), its classes side by side."""
    others = tuple(column for column in _CUTS if column != cut)
    own = ~comparison[cut].map(words.text).isin(_ALL)
    return comparison[own & _uncut(comparison, others)].sort_values([cut, "bushing_type"])


def _uncut(comparison: pd.DataFrame, columns: tuple[str, ...]) -> pd.Series[bool]:
    return comparison[list(columns)].map(words.text).isin(_ALL).all(axis="columns")


def sample_words(rows: pd.DataFrame) -> str:
    """Say how many lives and failures stand behind each type of some rows."""
    if rows.empty:
        return "n unknown"
    parts = [_failures_of_lives(row) for row in rows.to_dict("records")]
    return f"failures of lives: {', '.join(parts)}"


def _failures_of_lives(row: Mapping[Any, Any]) -> str:
    kind, failures = words.text(row["bushing_type"]), words.number(row["failures"])
    return f"{kind} {failures} of {words.number(row['lives'])}"


def type_table(comparison: pd.DataFrame) -> Table:
    """Tabulate each bushing type as a whole."""
    rows = pooled(one_treatment(comparison))
    return make_table(
        "types",
        "All duties together, unadjusted: duty mix not removed. A type that serves in hard duty "
        "looks worse here than it is; compare types by duty, below. "
        f"n = {words.number(rows['lives'].sum())} lives.",
        (Column("Bushing"), *_ESTIMATES),
        [(words.text(row["bushing_type"]), *_estimates(row)) for row in rows.to_dict("records")],
        empty="No type has been fitted.",
    )


def cut_table(comparison: pd.DataFrame, cut: str, heading: str, caption: str) -> Table:
    """Tabulate one cut.

    Parameters
    ----------
    comparison : DataFrame
        All fitted rows.
    cut : str
        duty, node, life_order or mode.
    heading : str
        Heading of the class column.
    caption : str
        What to read from the table; the number of lives is added.
    """
    rows = cut_by(one_treatment(comparison), cut)
    lives = "lives, each counted once for every mode" if cut == "mode" else "lives"
    return make_table(
        f"by-{cut.replace('_', '-')}",
        f"{caption} n = {words.number(rows['lives'].sum())} {lives}.",
        (Column(heading), Column("Bushing"), *_ESTIMATES),
        [
            (words.text(row[cut]), words.text(row["bushing_type"]), *_estimates(row))
            for row in rows.to_dict("records")
        ],
        empty="This cut has not been fitted.",
    )


def removals_table(comparison: pd.DataFrame) -> Table:
    """Set the treatments of early removals side by side."""
    rows = pooled(comparison)
    return make_table(
        "early-removals",
        "Bushings taken out before they failed (preventive, campaign), counted in each way "
        "that was fitted. The truth lies between: called still good they flatter a type, called "
        f"failures they wrong it. n = {words.number(len(rows))} fits.",
        (Column("Bushing"), Column("Early removals taken"), *_ESTIMATES),
        [
            (
                words.text(row["bushing_type"]),
                _treatment(words.text(row["informative_removals"])),
                *_estimates(row),
            )
            for row in rows.to_dict("records")
        ],
        empty="No type has been fitted.",
    )


def _treatment(name: str) -> str:
    return TREATMENTS.get(name, name or words.UNKNOWN)


def _estimates(row: Mapping[Any, Any]) -> tuple[str | Cell, ...]:
    few = pd.isna(row["shape"]) and pd.isna(row["scale"])
    missing = words.TOO_FEW if few else words.NOT_REACHED
    return (
        words.number(row["units"]),
        words.number(row["lives"]),
        words.number(row["failures"]),
        _decimal(row, "shape", missing),
        *(_miles(row, name, missing) for name in ("scale", "b10", "b50")),
        words.text(row["interval_method"]) or "none",
        words.text(row["warning"]) or "none",
    )


def _decimal(row: Mapping[Any, Any], name: str, missing: str) -> Cell:
    return estimate(
        words.number(row[name], 2, missing),
        words.interval(row[f"{name}_lower"], row[f"{name}_upper"], _two_decimals),
    )


def _miles(row: Mapping[Any, Any], name: str, missing: str) -> Cell:
    return estimate(
        words.life_miles(row[name], missing),
        words.life_range(row[f"{name}_lower"], row[f"{name}_upper"]),
    )


def _two_decimals(value: Any) -> str:
    return words.number(value, 2)
