"""What a run or a backtest prints: the red list, the counts, where to look.

Not here: the pages.
"""

from __future__ import annotations

import json
import math

import pandas as pd

from pivotlife.models.safety import PRESSING
from pivotlife.pipeline.backtest import Backtest
from pivotlife.pipeline.results import RunResult
from pivotlife.pipeline.run_notes import is_pressing

HEAD_ROWS = 10
REASON_WIDTH = 110


def run_text(result: RunResult) -> str:
    """Sum a run up in a few lines."""
    counts = result.record["counts"]
    decided = ", ".join(f"{counts.get(d, 0):,} {d}" for d in PRESSING)
    lines = [
        f"as of {result.record['as_of']}: {counts['lives']:,} bushing lives,"
        f" {counts['lives_in_fit']:,} in the fits, {counts['quarantined_rows']:,} rows withheld"
    ]
    lines.append(f"pivots and units: {decided}")
    lines += [f"not enough room: {text}" for text in result.record.get("shortages", ())]
    lines += [f"note: {note}" for note in result.record.get("notes", ()) if is_pressing(note)]
    lines += [f"act today: {reason}" for reason in result.act_today]
    lines.append(f"look at {result.folder / 'index.html'}")
    return "\n".join(lines)


def run_json(result: RunResult) -> str:
    """Sum a run up for another program."""
    return json.dumps(
        {
            "folder": str(result.folder),
            "as_of": result.record["as_of"],
            "counts": result.record["counts"],
            "act_today": list(result.act_today),
        },
        ensure_ascii=False,
    )


def backtest_text(made: Backtest) -> str:
    """Say how past lists did and where to look."""
    lists = made.record["lists"]
    lines = [f"{len(lists)} lists, {lists[0]} to {lists[-1]}"]
    lines += [f"{kind}: {said}" for kind, said in made.record["sentences"].items()]
    lines.append(f"look at {made.folder / 'backtest.html'}")
    return "\n".join(lines)


def backtest_json(made: Backtest) -> str:
    """Sum a backtest up for another program."""
    told = {name: made.record[name] for name in ("as_of", "lists", "verdicts", "sentences")}
    return json.dumps({"folder": str(made.folder), **told}, ensure_ascii=False)


def demo_text(result: RunResult) -> str:
    """Show the head of the shortlist, the comparison by type and where to look."""
    return "\n\n".join(
        [
            "Shortlist, first lines (invented fleet):\n" + _shortlist_head(result),
            "Bushing types, all duties together and not adjusted for duty (invented fleet):\n"
            + _by_type(result),
            run_text(result),
        ]
    )


def _shortlist_head(result: RunResult) -> str:
    head = result.tables["shortlist"].head(HEAD_ROWS)
    return "\n".join(
        f"{row['rank']:>3}  {row['pivot_id'] or row['unit_id']:32} {row['decision']:8}"
        f" {_short(row['reason'])}"
        for row in head.to_dict("records")
    )


def _by_type(result: RunResult) -> str:
    table = result.tables["comparison"]
    ways = table["informative_removals"]
    pooled = table[
        table["duty"].eq("all")
        & table["node"].eq("all")
        & table["life_order"].eq("all")
        & table["mode"].eq("any")
        & ways.eq("imputed" if ways.eq("imputed").any() else "censored")
    ]
    head = f"{'type':14} {'lives':>6} {'failures':>8} {'shape':>6}   B10 in miles (95 % limits)"
    rows = [
        f"{row.bushing_type:14} {row.lives:>6.0f} {row.failures:>8.0f} {_number(row.shape, 2):>6}"
        f"   {_number(row.b10)} ({_number(row.b10_lower)} to {_number(row.b10_upper)})"
        for row in pooled.itertuples()
    ]
    return "\n".join([head, *rows])


def _number(value: object, digits: int = 0) -> str:
    number = float(pd.to_numeric(pd.Series([value])).iloc[0])
    if math.isnan(number):
        return "unknown"
    return "no limit" if math.isinf(number) else f"{number:,.{digits}f}"


def _short(reason: object) -> str:
    text = str(reason)
    return text if len(text) <= REASON_WIDTH else text[: REASON_WIDTH - 3].rstrip() + "..."
