"""The page on how earlier lists did.

Not here: the scores.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.chart_calibration import calibration_drawing
from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.render import render
from pivotlife.dashboards.tables import Column, Table, estimate, make_table

_VERDICTS: Final = {
    "calibrated": "came true",
    "not calibrated": "did not come true",
    "too few": "too few to say",
}


def backtest_page(
    tables: Mapping[str, pd.DataFrame], record: Mapping[str, Any], fleet_name: str
) -> str:
    """Draw the page of a backtest.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        `backtest`, `calibration`, `backtest_costs`.
    record : mapping
        as_of, lists, sentences, verdicts, notes, currency.
    fleet_name : str

    Returns
    -------
    str
        A whole HTML document that asks for nothing outside itself.
    """
    scores = tables["backtest"]
    lists = record["lists"]
    return render(
        "backtest.html",
        {
            "fleet_name": fleet_name,
            "as_of": record["as_of"],
            "page_title": "Earlier lists",
            "doors_bar": (),
            "lists": f"{words.count(len(lists), 'list')}, {lists[0]} to {lists[-1]}",
            "sentences": tuple(record["sentences"].items()),
            "distrusted": tuple(k for k, v in record["verdicts"].items() if v == "not calibrated"),
            "found": found_table(scores),
            "scores": score_table(scores),
            "drawings": calibration_drawings(tables["calibration"]),
            "rules": rules_table(tables["backtest_costs"], str(record["currency"])),
            "notes": tuple(record["notes"]),
        },
    )


def earlier_lists(run: Mapping[str, Any]) -> tuple[str, ...]:
    """Say on the page of a run how earlier lists did; nothing where none was looked back at.

    Parameters
    ----------
    run : mapping
        The run's record; `backtest` is the record of the newest backtest, or empty.
    """
    record = run.get("backtest") or {}
    return tuple(
        f"{'All types' if kind == 'all' else words.text(kind)}: {words.text(said)}"
        for kind, said in record.get("sentences", {}).items()
    )


def found_table(scores: pd.DataFrame) -> Table:
    """Tabulate what became of the flagged bushings."""
    return make_table(
        "flagged",
        "Each bushing is counted once, however many lists named it. One renewed in good time is "
        "within its limit by design: such lines are the price of missing few. A reading within the "
        "limit under load or after greasing tells nothing.",
        (
            Column("Bushing"),
            Column("Duty"),
            Column("Flagged", numeric=True),
            Column("Worn at tear-down", numeric=True),
            Column("Worn, found otherwise", numeric=True),
            Column("Still within its limit", numeric=True),
            Column("No look that tells", numeric=True),
            Column("Worn, but left by the list", numeric=True),
            Column("Worn, sent to be measured", numeric=True),
        ),
        [
            (
                words.text(row["bushing_type"]),
                words.text(row["duty"]),
                *(
                    words.number(row[name])
                    for name in (
                        *("flagged", "worn_at_tear_down", "worn_otherwise", "needless"),
                        *("never_looked_at", "missed", "sent_to_measure"),
                    )
                ),
            )
            for row in scores.to_dict("records")
        ],
    )


def score_table(scores: pd.DataFrame) -> Table:
    """Tabulate found against forecast, Brier score and skill."""
    return make_table(
        "scores",
        "A pair is one pivot on one list. Verified pairs stand for their like; readings under load "
        "or after greasing, which hide play, verify nothing. Skill is 1 for a perfect forecast, 0 "
        "for one that only knows the average, below 0 for a worse one. Small print: 95 % intervals "
        "from drawing whole units.",
        (
            Column("Bushing"),
            Column("Duty"),
            Column("Pairs", numeric=True),
            Column("Never verified", numeric=True),
            Column("Bushings found worn", numeric=True),
            Column("Forecast worn", numeric=True),
            Column("Found worn", numeric=True),
            Column("Found over forecast", numeric=True),
            Column("Brier score", numeric=True),
            Column("Skill", numeric=True),
            Column("The chances"),
        ),
        [_score(row) for row in scores.to_dict("records")],
    )


def _score(row: dict[Any, Any]) -> tuple[Any, ...]:
    return (
        words.text(row["bushing_type"]),
        words.text(row["duty"]),
        words.number(row["pairs"]),
        words.percent(row["unverified_share"]),
        words.number(row["worn"]),
        words.percent(row["forecast"]),
        words.percent(row["found"]),
        estimate(
            words.number(row["ratio"], 2),
            words.interval(row["ratio_lower"], row["ratio_upper"], _two),
        ),
        words.number(row["brier"], 3),
        estimate(
            words.number(row["skill"], 2),
            words.interval(row["skill_lower"], row["skill_upper"], _two),
        ),
        _VERDICTS.get(words.text(row["verdict"]), words.text(row["verdict"])),
    )


def calibration_drawings(bins: pd.DataFrame) -> tuple[Drawing, ...]:
    """Draw found against forecast, a figure for each type, all duties together."""
    drawings = (
        calibration_drawing(
            rows,
            f"calibration-{place}",
            f"Found against forecast: {kind}",
            "On the dashed line chances come true; below it fewer were worn than forecast. "
            f"n = {words.count(rows['verified'].sum(), 'verified pair')} of "
            f"{words.number(rows['pairs'].sum())}; bars are 95 % intervals.",
        )
        for place, (kind, rows) in enumerate(
            bins[bins["duty"] == "all"].groupby("bushing_type", sort=True)
        )
    )
    return tuple(drawing for drawing in drawings if drawing)


def rules_table(rules: pd.DataFrame, currency: str) -> Table:
    """Tabulate what the list and simple rules cost above replacing exactly at the limit."""
    return make_table(
        "rules",
        "Above replacing each bushing exactly at its limit, on the bushings that were looked at: "
        "miles thrown away at their long-run cost, late findings at theirs. Miles that a renewed "
        "bushing would have run beyond its last look are not known and not counted, which flatters "
        "rules that renew early, the list too. Fixed miles and n-th service are tuned in "
        "hindsight, which flatters them as well. Small print: 95 % interval.",
        (
            Column("Bushing"),
            Column("Rule"),
            Column("Bushings", numeric=True),
            Column("Renewed before the limit", numeric=True),
            Column("Of these, limit never seen", numeric=True),
            Column("Found late", numeric=True),
            Column("Extra cost", numeric=True),
            Column("More than the list (below 0: cheaper)", numeric=True),
        ),
        [_rule(row, currency) for row in rules.to_dict("records")],
        empty="No bushing of these lists was looked at.",
    )


def _rule(row: dict[Any, Any], currency: str) -> tuple[Any, ...]:
    def amount(value: Any) -> str:
        return words.money(value, currency)

    is_list = row["rule"] == "the list"
    more = words.interval(row["more_lower"], row["more_upper"], amount)
    return (
        words.text(row["bushing_type"]),
        f"{words.text(row['rule'])}{_setting(row)}",
        words.number(row["bushings"]),
        words.number(row["renewed_early"]),
        words.number(row["limit_not_seen"]),
        words.number(row["found_late"]),
        amount(row["extra_cost"]),
        "itself" if is_list else estimate(amount(row["more_than_list"]), more),
    )


def _setting(row: dict[Any, Any]) -> str:
    setting = row["setting"]
    if pd.isna(setting):
        return ""
    if setting == float("inf"):
        return " (best: never)"
    if row["rule"] == "at fixed miles":
        return f" (best: {words.number(setting)})"
    return f" (best: every {words.number(setting)})"


def _two(value: Any) -> str:
    return words.number(value, 2)
