"""The finance page: what the shortlist will cost, when, where, and from which prices.

Cash and downtime are never added into one figure: downtime is work not done, no invoice.

Further parts come from the modules in `SECTION_MAKERS`, in that order.

Not here: what those parts say.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.chart_cost import cost_drawing
from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.finance_budget import budget_sections
from pivotlife.dashboards.finance_fleet import fleet_sections
from pivotlife.dashboards.finance_lifetime import lifetime_sections
from pivotlife.dashboards.finance_long_run import long_run_sections
from pivotlife.dashboards.finance_questions import PRICES, questions
from pivotlife.dashboards.finance_what_if import what_if_sections
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section, anchor
from pivotlife.dashboards.tables import Cell, Column, Table, make_table, sums

_CASES: Final[dict[str, str]] = {
    "planned": "Planned",
    "late": "Found late",
    "roadside": "At the roadside",
    "road": "At the roadside",
}
_AMOUNTS: Final = (
    *("pivots", "labour_hours", "parts", "labour", "alignment", "cash", "downtime_days"),
    "downtime",
)
_KINDS: Final = ("a unit to park", "mandatory work", "work by choice", "not on the shortlist")
#: Each gives sections of the page, shown after the planned visits in this order.
SECTION_MAKERS: Final[tuple[Callable[[PageInputs], tuple[Section, ...]], ...]] = (
    budget_sections,
    lifetime_sections,
    fleet_sections,
    what_if_sections,
    long_run_sections,
)
_NUMBERS: Final = tuple(
    Column(label, numeric=True)
    for label in (
        *("Visits", "Pivots", "Hours", "Parts", "Labour", "Alignment", "Cash"),
        *("Days off the road", "Downtime"),
    )
)


def finance_context(inputs: PageInputs) -> dict[str, Any]:
    """Prepare what the finance template shows.

    Parameters
    ----------
    inputs : PageInputs
        One run.

    Returns
    -------
    dict
        `banner` (sentences about invented prices), `questions`, `drawings`, `sections` (of the
        other modules), and the tables `by_month`, `by_kind`, `items` (one per bushing type),
        `prices`.
    """
    planned, money = inputs.tables["planned_cost"], inputs.currency
    sections = tuple(section for make in SECTION_MAKERS for section in make(inputs))
    return {
        "questions": questions([*(section.heading for section in sections), PRICES]),
        "price_anchor": anchor(PRICES),
        "price_heading": PRICES,
        "banner": price_banner(inputs.tables["prices"]),
        "headline": cost_headline(planned, money),
        "drawings": _drawings(planned, money),
        "sections": sections,
        "by_month": by_month(planned, money),
        "by_kind": by_kind(planned, inputs.tables["shortlist"], money),
        "items": items_by_type(inputs.tables["cost_items"], money),
        "prices": price_table(inputs.tables["prices"]),
    }


def price_banner(prices: pd.DataFrame, where: str = "on this page") -> tuple[str, ...]:
    """Warn, in one sentence, when amounts rest on invented prices; nothing otherwise."""
    invented = int(prices["is_default"].map(words.is_yes).sum())
    if not invented:
        return ()
    return (
        (
            f"{invented} of {words.count(len(prices), 'price')} are invented defaults of this "
            f"program, not yours. Every amount {where} is only as good as they are: put your own "
            "figures, with source and date, into the settings file."
        ),
    )


def cost_headline(planned: pd.DataFrame, currency: str) -> str:
    """Say the whole planned cost in one sentence, cash apart from downtime."""
    total = planned[["cash", "downtime", "labour_hours"]].sum(skipna=False)
    if planned.empty:
        return "No work is planned at the coming visits."
    visits = words.count(len(planned), "visit")
    return (
        f"{visits} with renewals: {words.money(total['cash'], currency)} in cash, "
        f"{words.number(total['labour_hours'], 1)} labour hours; apart from that, downtime "
        f"worth {words.money(total['downtime'], currency)}."
    )


def by_month(planned: pd.DataFrame, currency: str) -> Table:
    """Add up the planned visits by month and depot."""
    rows = planned.assign(
        month=planned["visit_date"].map(words.month), depot=planned["depot"].map(words.text)
    )
    return _cost_table(
        "cost-by-month",
        f"Planned cost by month and depot, {words.count(len(planned), 'visit')}. Amounts in "
        f"{currency}; read cash for the budget, downtime for planning around the truck.",
        rows,
        {"month": "Month", "depot": "Depot"},
    )


def by_kind(planned: pd.DataFrame, shortlist: pd.DataFrame, currency: str) -> Table:
    """Add up the planned visits by the gravest line that each unit has."""
    must = shortlist["mandatory"].map(words.is_yes)
    parked = set(shortlist.loc[shortlist["decision"] == "park", "unit_id"].map(words.text))
    forced = set(shortlist.loc[must, "unit_id"].map(words.text))
    listed = set(shortlist.loc[shortlist["decision"] != "leave", "unit_id"].map(words.text))
    units = planned["unit_id"].map(words.text)
    kind = np.select(
        [units.isin(parked), units.isin(forced), units.isin(listed)], _KINDS[:3], _KINDS[3]
    )
    return _cost_table(
        "cost-by-kind",
        f"The same visits by why the truck is opened, in {currency}. A visit counts under its "
        "gravest line, because set-ups are shared and cannot be split by line.",
        planned.assign(kind=pd.Categorical(kind, categories=_KINDS, ordered=True)),
        {"kind": "Opened for"},
    )


def _cost_table(name: str, caption: str, rows: pd.DataFrame, by: dict[str, str]) -> Table:
    groups = sums(rows, list(by), _AMOUNTS)
    whole = sums(rows.assign(whole="all"), ["whole"], _AMOUNTS)
    return make_table(
        name,
        caption,
        (*(Column(label) for label in by.values()), *_NUMBERS),
        [(*(row[key] for key in by), *_amounts(row)) for row in groups.to_dict("records")],
        footer=[
            ("Total", *([""] * (len(by) - 1)), *_amounts(row)) for row in whole.to_dict("records")
        ],
        empty="No work is planned at the coming visits.",
    )


def _amounts(row: dict[object, object]) -> tuple[str, ...]:
    return (
        words.number(row["rows"]),
        words.number(row["pivots"]),
        words.number(row["labour_hours"], 1),
        words.number(row["parts"]),
        words.number(row["labour"]),
        words.number(row["alignment"]),
        words.number(row["cash"]),
        words.number(row["downtime_days"], 2),
        words.number(row["downtime"]),
    )


def _drawings(planned: pd.DataFrame, currency: str) -> tuple[Drawing, ...]:
    rows = planned.assign(month=planned["visit_date"].map(words.month))
    drawing = cost_drawing(
        sums(rows, ["month"], ("cash", "downtime")),
        currency,
        "cost-months",
        "Planned cost by month",
        f"Solid bars are money to be paid, hatched bars are time off the road priced at your daily "
        f"figure; the two are never added. n = {words.count(len(planned), 'visit')}.",
    )
    return (drawing,) if drawing else ()


def items_by_type(items: pd.DataFrame, currency: str) -> tuple[Table, ...]:
    """Lay out, for each bushing type, what one pivot costs planned, found late, at the roadside."""
    types = sorted(items["bushing_type"].map(words.text).unique())
    return tuple(
        _items_table(place, kind, items[items["bushing_type"] == kind], currency)
        for place, kind in enumerate(types)
    )


def _items_table(place: int, kind: str, items: pd.DataFrame, currency: str) -> Table:
    given = set(items["case"])
    cases = [*(case for case in _CASES if case in given), *sorted(given - set(_CASES))]
    names = list(dict.fromkeys(items["item"]))
    amounts = items.groupby(["item", "case"])["amount"].sum(min_count=1).to_dict()
    totals = items.groupby("case")["amount"].sum(min_count=1)
    has_total = any(words.text(name).lower() == "total" for name in names)
    sum_line = ("Sum", *(words.number(totals.get(case), 0, "none") for case in cases))
    return make_table(
        f"items-{place}",
        f"{kind}: one pivot, item by item, in {currency}. n = {words.count(len(names), 'item')}.",
        (Column("Item"), *(Column(_CASES.get(case, case), numeric=True) for case in cases)),
        [
            (name, *(words.number(amounts.get((name, case)), 0, "none") for case in cases))
            for name in names
        ],
        footer=() if has_total else (sum_line,),
        empty="No cost item was given.",
    )


def price_table(prices: pd.DataFrame) -> Table:
    """List every price with its origin and day."""
    return make_table(
        "prices",
        f"{words.count(len(prices), 'price')} behind every amount, with origin and day. Small "
        "print is the key below [costs] in the settings file: change it there and run again.",
        (
            Column("Price"),
            Column("Value", numeric=True),
            Column("Unit"),
            Column("Source"),
            Column("Date"),
            Column("Whose"),
        ),
        [
            (
                Cell(words.key(row["key"]), (words.text(row["key"]),)),
                words.price(row["value"]),
                words.text(row["unit"]),
                words.text(row["source"]),
                words.day(row["date"]),
                "invented default" if words.is_yes(row["is_default"]) else "yours",
            )
            for row in prices.to_dict("records")
        ],
        empty="No price was given.",
    )
