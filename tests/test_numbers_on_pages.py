"""Numbers on the pages are the numbers of the CSV files beside them.

Each is looked up or added up here from the published files alone, written the way the pages write
it, and searched in the page's text.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pandas as pd
import pytest

from pivotlife.pipeline.results import RunResult

Tables = dict[str, pd.DataFrame]


@pytest.fixture(scope="module")
def files(small_run: RunResult) -> Tables:
    return {
        file.stem: pd.read_csv(file, keep_default_na=False, na_values={})
        for file in small_run.folder.glob("*.csv")
    }


def page_text(result: RunResult, name: str) -> str:
    html = (result.folder / f"{name}.html").read_text(encoding="utf-8")
    html = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", html, flags=re.DOTALL)
    plain = re.sub(r"<[^>]+>", " ", html)
    return re.sub(r"[\s\u00a0]+", " ", plain)


def pooled(files: Tables, kind: str) -> pd.Series:
    table = files["comparison"]
    return table[
        (table[["duty", "node", "life_order"]] == "all").all(axis=1)
        & (table["mode"] == "any")
        & (table["bushing_type"] == kind)
        & (table["informative_removals"] == "censored")
    ].iloc[0]


def thousands(miles: object) -> str:
    return f"{round(float(str(miles)), -3):,.0f}"


def b10(files: Tables) -> str:
    row = pooled(files, "rubber-bonded")
    low, high = thousands(row["b10_lower"]), thousands(row["b10_upper"])
    return f"{thousands(row['b10'])} miles ({low} to {high}), {row['failures']} failures"


def shape(files: Tables) -> str:
    row = pooled(files, "threaded")
    shapes = [float(row[name]) for name in ("shape", "shape_lower", "shape_upper")]
    return "{:.2f} {:.2f} to {:.2f}".format(*shapes)


def decisions(files: Tables) -> str:
    lines = files["shortlist"]["decision"].value_counts()
    return f"{lines['replace']:,} to replace, {lines['measure']:,} to measure, {lines['leave']:,}"


def withheld(files: Tables) -> str:
    return f"{len(files['quarantine']):,} of {len(files['ledger']):,} source rows"


def cash(files: Tables) -> str:
    return f"USD {files['planned_cost']['cash'].astype(float).sum():,.0f} in cash"


def labour(files: Tables) -> str:
    return f"{files['planned_cost']['labour_hours'].astype(float).sum():,.1f} labour hours"


def downtime(files: Tables) -> str:
    return f"downtime worth USD {files['planned_cost']['downtime'].astype(float).sum():,.0f}"


def year_ahead(files: Tables) -> str:
    rows = files["budget"].set_index(["month", "depot", "item"])
    expected = float(rows.loc[("12 months", "all", "cash"), "expected"])
    # The sentence says three digits; the table beside it every dollar.
    return f"about USD {float(f'{expected:.3g}'):,.0f} in cash; in 8 of 10 such years it would be"


def default_prices(files: Tables) -> str:
    prices = files["prices"]
    return f"{(prices['is_default'].astype(str).str.lower() == 'true').sum()} of {len(prices)}"


def shop_rate(files: Tables) -> str:
    row = files["prices"].set_index("key").loc["shop_rate"]
    return f"{float(row['value']):.0f} {row['unit']}"


def first_play(files: Tables) -> str:
    lines = files["shortlist"]
    read = lines[(lines["decision"] == "replace") & (lines["last_free_play_mm"] != "")].iloc[0]
    millimetres = float(read["last_free_play_mm"])
    return f"{millimetres:.2f} mm ({millimetres / 25.4:.3f} in)"


def lives_in_fit(files: Tables) -> str:
    in_fit = files["lives"]["in_fit"].astype(str).str.lower() == "true"
    return f"n = {in_fit.sum():,} lives"


def missed_by_play(files: Tables) -> str:
    failures = files["missed_by_play"]["failures"].astype(int).sum()
    return f"n = {failures:,} failures; the share is of those"


def gauge_spread(files: Tables) -> str:
    rows = files["gauge"].set_index(["quantity", "chosen"])
    spread = float(rows.loc[("gauge_rr", True), "standard_deviation_mm"])
    return f"typically off by {spread:.2f} mm ({spread / 25.4:.3f} in)"


@pytest.mark.parametrize(
    ("page", "number"),
    [
        ("index", b10),
        ("index", decisions),
        ("index", withheld),
        ("engineer", shape),
        ("engineer", lives_in_fit),
        ("engineer", missed_by_play),
        ("engineer", gauge_spread),
        ("finance", cash),
        ("finance", labour),
        ("finance", downtime),
        ("finance", year_ahead),
        ("finance", default_prices),
        ("finance", shop_rate),
        ("fleet", first_play),
    ],
    ids=lambda value: value if isinstance(value, str) else value.__name__,
)
def test_number_is_recomputed(
    small_run: RunResult, files: Tables, page: str, number: Callable[[Tables], str]
) -> None:
    assert number(files) in page_text(small_run, page)
