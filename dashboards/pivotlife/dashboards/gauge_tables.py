"""How good the gauges are, as a sentence and a table.

Not here: the split of the spread itself.
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.tables import Column, Table, estimate, make_table
from pivotlife.models.growth_sheets import OF_INSPECTOR, SILENT_LOAD

_NAMES: Final = {
    "repeatability": "same inspector, same pivot again (repeatability)",
    "reproducibility": "between inspectors (reproducibility)",
    "interaction": "inspectors differ from pivot to pivot (interaction)",
    "part_variation": "between pivots",
    "gauge_rr": "the gauge as a whole",
    "total_variation": "one reading of any pivot",
}


def gauge_sentences(gauge: pd.DataFrame) -> tuple[str, ...]:
    """Say in plain words what a single reading is worth, and where no study tells."""
    chosen = gauge[gauge["chosen"].map(words.is_yes).astype(bool)]
    whole = chosen[(chosen["source"] == "study") & (chosen["quantity"] == "gauge_rr")]
    sentences = [
        "A single reading, whoever took it, is typically off by "
        f"{words.play(row['standard_deviation_mm'])}: one standard deviation; one in twenty is off "
        f"by more than twice that. The gauge tells "
        f"{words.count(row['distinct_categories'], 'group')} of pivots apart (five or more are "
        "wanted; common practice, no source)."
        for row in whole.to_dict("records")
    ]
    failed = gauge[(gauge["source"] == "study") & (gauge["quantity"] == "")]
    sentences += [f"The study says nothing: {text}." for text in failed["warning"].map(words.text)]
    if not (gauge["source"] == "study").any():
        sentences.append(
            "No gauge study is among the records (table gauge_study): ten pivots, three inspectors "
            "and three tries each would tell how far a reading can be trusted."
        )
    if not (gauge["source"] != "study").any():
        sentences.append("No reading is marked as a repeat, so the daily records tell nothing.")
    return tuple(sentences)


def settled_sentences(settled: pd.DataFrame) -> tuple[str, ...]:
    """Say which loads were inferred and how far apart the inspectors read."""
    sentences = []
    for row in settled[settled["settled"] == SILENT_LOAD].to_dict("records"):
        sheets = words.count(row["sheets"], "inspection sheet")
        sentences.append(
            f"{sheets} did not say whether the joint was loaded; going by the other readings of the"
            f" same pivots {words.number(row['taken_as_loaded'])} of them were, and their play is"
            " taken as a loaded joint's when its growth is fitted."
        )
    people = settled[settled["settled"] == OF_INSPECTOR].sort_values("difference_mm")
    if len(people) > 1:
        low, high = people.iloc[0], people.iloc[-1]
        sentences.append(
            f"Of {words.number(len(people))} inspectors {words.text(high['inspector'])} reads"
            f" highest ({_signed(high['difference_mm'])}), {words.text(low['inspector'])} lowest"
            f" ({_signed(low['difference_mm'])}, both against the others on the same bushings);"
            " such differences are taken off before growth is fitted, never before a reading is"
            " held against its limit."
        )
    return tuple(sentences)


def _signed(mm: float) -> str:
    return f"{mm:+.2f} mm".replace("-", "\N{MINUS SIGN}")


def gauge_table(gauge: pd.DataFrame) -> Table:
    """Tabulate the spread of the readings by its sources."""
    rows = gauge[gauge["quantity"] != ""]
    return make_table(
        "gauges",
        "Standard deviations of readings, by where they come from; both versions of a study, the "
        f"one its test asks for marked. n = {words.number(rows['readings'].max(), 0, 'no')} "
        "readings.",
        (
            Column("From"),
            Column("Spread"),
            Column("Version"),
            Column("Inspector, tool"),
            Column("Standard deviation, mm", numeric=True),
            Column("% of total variation", numeric=True),
            Column("% of the limit (6 sd)", numeric=True),
            Column("Note"),
        ),
        [_row(row) for row in rows.to_dict("records")],
        empty="Neither a study nor repeats are on record.",
    )


def _row(row: dict[Any, Any]) -> tuple[Any, ...]:
    version = words.text(row["version"])
    mark = " (chosen)" if version and words.is_yes(row["chosen"]) else ""
    who = ", ".join(
        part for part in (words.text(row["inspector"]), words.text(row["tool"])) if part
    )
    return (
        words.text(row["source"]),
        _NAMES.get(words.text(row["quantity"]), words.text(row["quantity"])),
        f"{version}{mark}" or "none",
        who or "all",
        estimate(
            words.number(row["standard_deviation_mm"], 3),
            words.interval(row["lower_mm"], row["upper_mm"], _three),
        ),
        words.number(row["percent_of_total_variation"], 0, "no study"),
        words.number(row["percent_of_tolerance"], 0, "no limit"),
        words.text(row["warning"]) or "none",
    )


def _three(value: Any) -> str:
    return words.number(value, 3)
