"""The fleet's own trucks on the finance page: spending by year, and which unit to convert.

Not here: types compared on new bushings (`finance_lifetime`).
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.chart_lifetime import year_drawing
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section
from pivotlife.dashboards.tables import (
    Cell,
    Column,
    Table,
    estimate,
    make_table,
    with_used_notes,
)
from pivotlife.models.conversion_verdict import (
    DOES_NOT_PAY,
    MAY_LOSE,
    MAY_PAY,
    PAYS,
    TOO_CLOSE,
    UNKNOWN,
)

#: Units shown by their best conversion, and by how near their sale is; the file has them all.
_UNITS_SHOWN: Final = 50
_NEAR_SALE: Final = 20
#: What a conversion may be booked as; anything else says that nobody has set the amount.
_FLAGS: Final = ("capital", "expense")
#: How the verdicts are told of a number of units.
_TOLD: Final[dict[str, str]] = {
    PAYS: "pays on {}",
    MAY_LOSE: "pays on average but may lose on {}",
    TOO_CLOSE: "is too close to call on {}",
    MAY_PAY: "loses on average but may pay on {}",
    DOES_NOT_PAY: "does not pay on {}",
}


def fleet_sections(inputs: PageInputs) -> tuple[Section, ...]:
    """Write the sections on the fleet's own trucks and on what all this assumes."""
    tables, money = inputs.tables, inputs.currency
    years, units = tables["fleet_cost_by_year"], tables["conversion_by_unit"]
    drawing = year_drawing(
        years,
        money,
        "fleet-years",
        "Expected spending by year, fleet kept as it is",
        "Solid: cash. Hatched: downtime. Whiskers: P10 to P90. It falls as units are sold: "
        f"their successors are not in it. n = {words.count(_units(years), 'unit')}.",
    )
    return (
        Section(
            "What this fleet will spend",
            (year_sentence(years, money),),
            (drawing,) if drawing else (),
            (year_table(years, money),),
        ),
        Section(
            "Does converting pay on this unit?",
            (
                unit_sentence(units),
                "Kept or converted at its next visit, each unit until its own sale, same luck for "
                "both. Pays, or does not pay, is said where at least nine in ten drawn futures "
                "agree; the chance that it pays stands beside. First cost is the cash of that "
                "visit. Whether it is booked as capital or expense is your accountant's rule: "
                "finance.capital_from sets the amount.",
                "The shortlist may propose another type where this table does not. It counts more "
                "simply: the axle is open and renewed anyway, every later end is paid by itself, "
                "and its chance speaks of the average truck. Here jobs share set-ups, nothing is "
                "renewed just before the sale, and the chance is one truck's. Where the two "
                "disagree, converting hangs on how this truck's later jobs are done: take it for "
                "undecided.",
            ),
            tables=(unit_table(units, money), near_sale_table(units, money)),
        ),
        Section(
            "What lifetime cost assumes",
            (
                "Year 0 is today, later money counts at the end of its year. A truck that is sold "
                "takes its bushings along: nothing is credited beyond. Trucks of one duty differ "
                "in luck only, part of which all bushings of a truck share, as much as the records "
                "show; bushings fitted later last like the first. The policy is a plain "
                "form of the shortlist's rule, which knows each pivot and costs somewhat less.",
            ),
            tables=(assumption_table(tables["cost_assumptions"]),),
        ),
    )


def year_sentence(years: pd.DataFrame, currency: str) -> str:
    """Say what the first year will cost, with its range."""
    if years.empty or not _units(years):
        return "No unit's miles and planned sale are known: nothing can be expected."
    first = years.iloc[0]
    span = words.interval(first["cash_p10"], first["cash_p90"], words.number)
    return (
        f"In the coming twelve months {words.count(_units(years), 'unit')} are expected to take "
        f"{words.money(first['cash'], currency)} in cash (P10 to P90 {span}) and, apart from that, "
        f"downtime worth {words.money(first['downtime'], currency)}. That is counted under the "
        "plain policy of lifetime cost and with grease visits; the budget for the next 24 months, "
        "above, follows the shortlist and is the one to plan with."
    )


def year_table(years: pd.DataFrame, currency: str) -> Table:
    """List the fleet's cash and downtime by year."""
    return make_table(
        "fleet-by-year",
        f"Fleet kept as it is, in {currency} and prices of each year, not discounted; "
        f"n = {words.count(_units(years), 'unit')} today.",
        (*(Column("Year"), Column("Cash", numeric=True), Column("Downtime", numeric=True)),),
        [
            (
                words.number(row["year"]),
                *(
                    estimate(
                        words.number(row[name]),
                        words.interval(row[f"{name}_p10"], row[f"{name}_p90"], words.number),
                    )
                    for name in ("cash", "downtime")
                ),
            )
            for row in years.to_dict("records")
        ],
        empty="Nothing can be expected.",
    )


def unit_sentence(units: pd.DataFrame) -> str:
    """Count the units by what is said of their best conversion."""
    verdicts = best_rows(units)["verdict"].value_counts()
    parts = [
        told.format(words.count(verdicts[verdict], "unit"))
        for verdict, told in _TOLD.items()
        if verdict in verdicts
    ]
    unknown = int(verdicts.get(UNKNOWN, 0))
    tail = f" Of {words.count(unknown, 'unit')} no sale is planned." if unknown else ""
    if not parts:
        return f"No unit could be looked at.{tail}"
    return f"The best other type {'; '.join(parts)}.{tail}"


def best_rows(units: pd.DataFrame) -> pd.DataFrame:
    """Keep each unit's best conversion, the largest saving first."""
    ordered = units.sort_values(
        ["saving", "unit_id"], ascending=[False, True], kind="stable", na_position="last"
    )
    return ordered.drop_duplicates("unit_id")


def unit_table(units: pd.DataFrame, currency: str) -> Table:
    """List each unit's best conversion."""
    rows = best_rows(units)
    shown = rows.head(_UNITS_SHOWN)
    return _table_of(
        "units-to-convert",
        f"Each unit's best other type, the most worthwhile first, in {currency}, as present "
        f"value; "
        f"{words.number(len(shown))} of {words.count(len(rows), 'unit')}, all types of all units "
        "are in conversion_by_unit.csv.",
        shown,
    )


def near_sale_table(units: pd.DataFrame, currency: str) -> Table:
    """List the units nearest to their sale: the last ones to spend money on."""
    rows = best_rows(units)
    shown = rows.sort_values("miles_left", kind="stable").head(_NEAR_SALE)
    return _table_of(
        "units-near-sale",
        "The units nearest to their sale with the best that converting would bring, in "
        f"{currency}; {words.number(len(shown))} of {words.count(len(rows), 'unit')}.",
        shown[shown["miles_left"].notna()],
    )


def _table_of(name: str, caption: str, shown: pd.DataFrame) -> Table:
    table = make_table(
        name,
        caption,
        (
            *(Column("Unit"), Column("Depot"), Column("Duty"), Column("Carries"), Column("To")),
            *(Column(label, numeric=True) for label in ("Miles left", "First cost", "Saving")),
            *(Column("Chance it pays", numeric=True), Column("Verdict"), Column("Booked as")),
        ),
        [_unit_row(row) for row in shown.to_dict("records")],
        empty="No unit is in service.",
    )
    return with_used_notes(table, "Booked as")


def _unit_row(row: dict[Any, Any]) -> tuple[str | Cell, ...]:
    span = words.interval(row["saving_p10"], row["saving_p90"], words.number)
    # What is weak about a type stands with the type; here only why a unit was not looked at.
    note = "" if words.text(row["to_type"]) else words.text(row["note"])
    return (
        *(words.text(row[key]) for key in ("unit_id", "depot", "duty", "present_type", "to_type")),
        words.life_miles(row["miles_left"], words.UNKNOWN),
        words.number(row["first_cost"], 0, "none"),
        estimate(words.number(row["saving"], 0, "none"), span),
        words.percent(row["chance_pays"], "none"),
        Cell(words.text(row["verdict"]), (note,) if note else ()),
        words.text(row["booked_as"]) if row["booked_as"] in _FLAGS else "",
    )


def assumption_table(assumptions: pd.DataFrame) -> Table:
    """List what lifetime cost rests on besides prices."""
    return make_table(
        "lifetime-assumptions",
        f"{words.count(len(assumptions), 'figure')} behind lifetime cost besides prices.",
        (
            *(Column("Duty"), Column("Figure"), Column("Value", numeric=True)),
            *(Column("Unit"), Column("Source")),
        ),
        [
            (
                words.text(row["duty"]),
                words.key(row["key"]),
                _assumed(row),
                words.text(row["unit"]),
                words.text(row["source"]),
            )
            for row in assumptions.to_dict("records")
        ],
        empty="Nothing was counted.",
    )


def _assumed(row: dict[Any, Any]) -> str:
    """Write a figure as it was set, or as finely as one worked out from records is known."""
    whole = float(row["value"]).is_integer()
    is_set = words.text(row["source"]).startswith(("settings", "default"))
    return words.price(row["value"]) if is_set or whole else words.rounded(row["value"])


def _units(years: pd.DataFrame) -> int:
    return 0 if years.empty else int(years["units"].iloc[0])
