"""Lifetime cost as a spreadsheet whose money is live: change a price, see every total move.

`Assumptions` holds every figure in a named cell, `Quantities` the mean counts of one truck by
type, duty and year, `By year` a formula for each amount, `Results` the sums and savings. The
formulas are made from the same list of cost lines as everything else; their values are written
beside them, so that a viewer that does not calculate shows the run's own. Spreads are not live:
they stand in cost_by_type.csv.

Not here: counting (`models.lifetime_cost`), the plain workbook of a table (`workbook`).
"""

from __future__ import annotations

import datetime as dt
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from pivotlife.models.cost_lines import (
    CASH,
    COST_LINES,
    COUNTS,
    DOWNTIME,
    ONLY_COUNTED,
    CostLine,
    line_price,
    line_weights,
)
from pivotlife.models.lifetime_cost import DutyCost, Lifetime, Money
from pivotlife.pipeline.workbook import harmless

LINES: Final = tuple(line for line in COST_LINES if line.kind != ONLY_COUNTED)
_CASH_LINES: Final = tuple(line for line in LINES if line.kind == CASH)
_RATES: Final = ("discount_rate", "price_escalation")
_KEYS: Final = ("duty", "bushing_type", "year")
_FIRST: Final = len(_KEYS)
_RESULTS: Final = (
    *("duty", "bushing_type", "compared_with", "cash", "downtime", "saved_in_cash"),
    *("saved_in_downtime", "holding_miles", "cash_per_1000_miles", "trucks", "cash_all_trucks"),
)


@dataclass(frozen=True)
class _Row:
    """One type, duty and year."""

    duty: str
    kind: str
    year: int
    counts: np.ndarray


def cost_workbook(made: Lifetime, prices: pd.DataFrame, day: dt.date) -> bytes:
    """Write the workbook.

    Parameters
    ----------
    made : Lifetime
    prices : DataFrame
        key, value, unit, source, date, is_default of every price.
    day : date
        The day of the run.

    Returns
    -------
    bytes
        An XLSX file; equal input gives equal bytes.
    """
    rows = [
        _Row(cost.work.duty, kind, year, counts)
        for cost in made.costs
        for kind, by_year in zip(cost.types, cost.counts.mean(axis=1), strict=True)
        for year, counts in enumerate(by_year)
    ]
    target = io.BytesIO()
    with xlsxwriter.Workbook(target, {"in_memory": True, "strings_to_urls": False}) as book:
        book.set_properties(
            {"title": "Lifetime cost", "created": dt.datetime.combine(day, dt.time())}
        )
        looks = {
            "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True}),
            "input": book.add_format({"bg_color": "#fff6d6", "border": 1}),
            "money": book.add_format({"num_format": "#,##0.00"}),
            "count": book.add_format({"num_format": "#,##0.000"}),
        }
        _assumptions(book, looks, prices, made.money)
        _quantities(book, looks, rows)
        _by_year(book, looks, rows, made.money)
        _results(book, looks, rows, made)
    return target.getvalue()


def cell_name(key: str) -> str:
    """Name of the cell that holds a figure: dots and dashes become underscores."""
    return re.sub(r"[^A-Za-z0-9]+", "_", key)


def _sheet(book: Any, looks: Mapping[str, Any], name: str, heads: Sequence[str], top: int) -> Any:
    sheet = book.add_worksheet(name)
    for place, head in enumerate(heads):
        sheet.write_string(top, place, head.replace("_", " "), looks["head"])
    sheet.freeze_panes(top + 1, 0)
    sheet.set_column(0, len(heads) - 1, 15)
    return sheet


def _assumptions(book: Any, looks: Mapping[str, Any], prices: pd.DataFrame, money: Money) -> None:
    heads = ("figure", "value", "unit", "source", "date", "whose")
    sheet = _sheet(book, looks, "Assumptions", heads, 2)
    sheet.write_string(0, 0, "Change a coloured cell: every amount in this workbook follows.")
    told = [
        (
            row["key"],
            row["value"],
            row["unit"],
            row["source"],
            row["date"],
            "invented default" if row["is_default"] else "yours",
        )
        for row in prices.to_dict("records")
    ]
    told += [(name, getattr(money, name), "per year", "settings", "", "") for name in _RATES]
    for number, (key, value, *words) in enumerate(told, start=3):
        sheet.write_string(number, 0, key)
        sheet.write_number(number, 1, float(value), looks["input"])
        for place, word in enumerate(words, start=2):
            sheet.write_string(number, place, harmless(str(word)))
        book.define_name(cell_name(key), f"=Assumptions!$B${number + 1}")
    sheet.set_column(0, 0, 34)
    sheet.set_column(2, 3, 30)


def _quantities(book: Any, looks: Mapping[str, Any], rows: Sequence[_Row]) -> None:
    sheet = _sheet(book, looks, "Quantities", (*_KEYS, *COUNTS), 0)
    for number, row in enumerate(rows, start=1):
        _keys(sheet, number, row)
        for place, count in enumerate(row.counts, start=_FIRST):
            sheet.write_number(number, place, float(count), looks["count"])


def _keys(sheet: Any, number: int, row: _Row) -> None:
    sheet.write_string(number, 0, row.duty)
    sheet.write_string(number, 1, row.kind)
    sheet.write_number(number, 2, row.year)


def _by_year(book: Any, looks: Mapping[str, Any], rows: Sequence[_Row], money: Money) -> None:
    names = [line.quantity for line in _CASH_LINES]
    heads = (*_KEYS, "price growth", "discount", *names, "cash", "downtime")
    sheet = _sheet(book, looks, "By year", heads, 0)
    for number, row in enumerate(rows, start=1):
        _keys(sheet, number, row)
        year = xl_rowcol_to_cell(number, 2)
        growth = (1.0 + money.price_escalation) ** row.year
        discount = (1.0 + money.discount_rate) ** -row.year
        sheet.write_formula(number, 3, f"=(1+price_escalation)^{year}", None, growth)
        sheet.write_formula(number, 4, f"=(1+discount_rate)^-{year}", None, discount)
        factor = f"*{xl_rowcol_to_cell(number, 3)}*{xl_rowcol_to_cell(number, 4)}"
        paid = 0.0
        for place, line in enumerate((*_CASH_LINES, None, *LINES[len(_CASH_LINES) :]), start=5):
            if line is None:
                ends = [xl_rowcol_to_cell(number, end) for end in (5, place - 1)]
                sheet.write_formula(
                    number, place, f"=SUM({ends[0]}:{ends[1]})", looks["money"], paid
                )
                continue
            value = growth * discount * _amount(line, row, money)
            paid += value
            formula = f"={line_formula(line, row.kind, number)}{factor}"
            sheet.write_formula(number, place, formula, looks["money"], value)


def line_formula(line: CostLine, kind: str, number: int) -> str:
    """Write quantity x price of a line on a row of the sheet of quantities."""
    parts = []
    for term in line.terms:
        count = xl_rowcol_to_cell(number, _FIRST + COUNTS.index(term.count))
        parts.append("*".join([f"Quantities!{count}", *map(cell_name, term.figures)]))
    price = [cell_name(key.replace("{type}", kind)) for key in line.price]
    return "*".join([f"({'+'.join(parts)})", *price])


def _amount(line: CostLine, row: _Row, money: Money) -> float:
    weights = line_weights(line, money.figures, row.kind)
    return float(row.counts @ weights) * line_price(line, money.figures, row.kind)


def _results(book: Any, looks: Mapping[str, Any], rows: Sequence[_Row], made: Lifetime) -> None:
    sheet = _sheet(book, looks, "Results", _RESULTS, 2)
    sheet.write_string(
        0, 0, "One truck with one steer axle until its sale, worth today; downtime is no cash."
    )
    last = len(rows) + 1
    columns = {kind: 5 + len(_CASH_LINES) + n for n, kind in enumerate((CASH, DOWNTIME))}
    number = 3
    for cost in made.costs:
        usual = number + cost.types.index(cost.work.reference_type)
        for place, kind in enumerate(cost.types):
            _keys_of(sheet, number, cost, kind)
            value = {name: float(cost.amounts(made.money, name)[place].mean()) for name in columns}
            whole = {
                name: float(
                    cost.amounts(made.money, name)[
                        cost.types.index(cost.work.reference_type)
                    ].mean()
                )
                for name in columns
            }
            for at, name in ((3, CASH), (4, DOWNTIME)):
                letter = xl_col_to_name(columns[name])
                where = f"'By year'!{letter}$2:{letter}${last}"
                same = (f"'By year'!${x}$2:${x}${last},{x}{number + 1}" for x in "AB")
                formula = f"=SUMIFS({where},{','.join(same)})"
                sheet.write_formula(number, at, formula, looks["money"], value[name])
                own, other = (xl_rowcol_to_cell(row, at) for row in (number, usual))
                saved = whole[name] - value[name]
                sheet.write_formula(number, at + 2, f"={other}-{own}", looks["money"], saved)
            _per_mile(sheet, number, cost, value[CASH], looks)
            number += 1


def _keys_of(sheet: Any, number: int, cost: DutyCost, kind: str) -> None:
    for place, word in enumerate((cost.work.duty, kind, cost.work.reference_type)):
        sheet.write_string(number, place, word)
    sheet.write_number(number, 7, cost.work.horizon_miles)
    sheet.write_number(number, 9, cost.work.trucks)


def _per_mile(
    sheet: Any, number: int, cost: DutyCost, cash: float, looks: Mapping[str, Any]
) -> None:
    work = cost.work
    cells = [xl_rowcol_to_cell(number, place) for place in (3, 7, 9)]
    value = 1000.0 * cash / work.horizon_miles
    sheet.write_formula(number, 8, f"=1000*{cells[0]}/{cells[1]}", looks["money"], value)
    whole = cash * work.trucks
    sheet.write_formula(number, 10, f"={cells[0]}*{cells[2]}", looks["money"], whole)
