"""Lifetime cost on the finance page: types, savings, what moves them, the fleet, its units.

Every figure carries its spread; cash and downtime stand apart; amounts are those of the tables.

Not here: the fields to try prices with (`finance_what_if`), planned visits (`finance`).
"""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.chart_lifetime import late_drawing, tornado_drawing, type_drawing
from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section
from pivotlife.dashboards.tables import Cell, Column, Table, estimate, make_table

#: Bars of one tornado figure, and rows of each comparison in its table.
_BARS: Final = 7
_NO_COST: Final = "No type's lifetime cost could be counted: no duty has units with known miles."


def lifetime_sections(inputs: PageInputs) -> tuple[Section, ...]:
    """Write the sections on types: cost, saving, break-even, drivers, late finds.

    Parameters
    ----------
    inputs : PageInputs
        One run.
    """
    tables, money = inputs.tables, inputs.currency
    types = tables["cost_by_type"]
    return (
        Section(
            "What one truck costs until it is sold, by bushing type",
            (
                "One truck with six new bushings today, driven until the sale that is usual in its "
                "duty. Amounts are present values. The bars' whiskers hold eight trucks in ten: "
                "luck on the road and doubt about the lives together.",
                *rate_banner(tables["cost_assumptions"]),
            ),
            _drawn(
                type_drawing(
                    types,
                    money,
                    "lifetime-types",
                    "Lifetime cost by type and duty",
                    "Solid: cash. Hatched: downtime, which is no cash. Whiskers: P10 to P90 of one "
                    f"truck. {_drawn_trucks(types)}.",
                )
            ),
            (type_table(types, money), per_1000_table(types, money)),
        ),
        Section(
            "What a type saves: cash, and downtime avoided",
            (*saving_sentences(types, money), _APART),
            tables=(saving_table(types, money),),
        ),
        Section(
            "Where the comparison turns round",
            ("All else held, as are the policies. A break-even far from today's figure is safe.",),
            tables=(break_even_table(tables["cost_break_even"], money),),
        ),
        Section(
            "What moves the saving most",
            (
                "Each figure is moved by itself: prices, hours and holding miles by a quarter, "
                "rates by points, lives between the ends of what the records allow. The life ratio "
                "evened out over duty, salt, node and care is the fairest doubt of them.",
            ),
            tornado_drawings(tables["cost_tornado"], money),
            (tornado_table(tables["cost_tornado"]),),
        ),
        Section(
            "If late finds were dearer or cheaper",
            (
                "What an unplanned end costs more than a planned job: tyres worn over the limit, "
                "longer downtime, the breakdown it may bring.",
            ),
            late_drawings(tables["cost_of_late"], money),
            (late_table(tables["cost_of_late"]),),
        ),
    )


_APART: Final = (
    "Cash saved is money that stays in the till. Downtime avoided is time a truck can work, priced "
    "at the daily figure: it becomes money only where the truck is needed. Never add the two up in "
    "a budget."
)


def rate_banner(assumptions: pd.DataFrame) -> tuple[str, ...]:
    """Name the rates that are still defaults."""
    left = assumptions.loc[assumptions["source"].str.startswith("default"), "key"].map(words.key)
    if left.empty:
        return ()
    return (f"Still defaults of this program, set yours under [finance]: {', '.join(left)}.",)


def saving_sentences(types: pd.DataFrame, currency: str) -> tuple[str, ...]:
    """Say for each duty what the best other type would bring, with its chance."""
    told = []
    for duty, rows in types.groupby("duty", sort=False):
        others = rows[rows["bushing_type"] != rows["reference_type"]]
        if others.empty:
            continue
        best = others.sort_values("saving", ascending=False).iloc[0]
        told.append(
            f"{words.sentence(duty)}: against {best['reference_type']}, which most pivots carry, "
            f"the best other type is {best['bushing_type']}. A truck's cash over "
            f"{words.life_miles(best['holding_miles'])} miles is "
            f"{_less(best['cash_saved'], currency)}, its downtime "
            f"{_less(best['downtime_saved'], currency)}; weighed together "
            f"{_less(best['saving'], currency)} (saving P10 to P90 {_span(best, 'saving')}). The "
            "chance that it is cheaper on the average truck is "
            f"{words.percent(best['chance_cheaper'])}."
        )
    return tuple(told) or (_NO_COST,)


def type_table(types: pd.DataFrame, currency: str) -> Table:
    """List cash and downtime by type and duty."""
    return make_table(
        "lifetime-by-type",
        f"Cost of one truck by type and duty in {currency}, mean with P10 to P90; "
        f"{_drawn_trucks(types)}. Policy: when bushings are renewed.",
        (
            *(Column("Duty"), Column("Type"), Column("Miles held", numeric=True)),
            *(Column(label, numeric=True) for label in ("Cash", "Cash a year", "Downtime")),
            Column("Policy and remarks"),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                words.life_miles(row["holding_miles"]),
                estimate(words.number(row["cash"]), _span(row, "cash")),
                words.number(row["cash_per_year"]),
                estimate(words.number(row["downtime"]), _span(row, "downtime")),
                Cell(words.text(row["policy"]), tuple(filter(None, [words.text(row["note"])]))),
            )
            for row in types.to_dict("records")
        ],
        empty=_NO_COST,
    )


def per_1000_table(types: pd.DataFrame, currency: str) -> Table:
    """List the cost of 1,000 miles by what it goes for."""
    names = ("parts", "labour", "lube", "other", "downtime")
    return make_table(
        "cost-per-1000",
        f"Cost of 1,000 miles by type and duty in {currency}, as present value. Other: "
        "alignments, tyres, roadside, tow. Downtime is no cash.",
        (
            *(Column("Duty"), Column("Type")),
            *(Column(name.capitalize(), numeric=True) for name in names),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                *(words.number(row[f"{name}_per_1000"], 2) for name in names),
            )
            for row in types.to_dict("records")
        ],
        empty=_NO_COST,
    )


def saving_table(types: pd.DataFrame, currency: str) -> Table:
    """List what each type saves against the one that most pivots carry."""
    rows = types[types["bushing_type"] != types["reference_type"]]
    return make_table(
        "savings",
        f"Saving of one truck against the duty's usual type in {currency}, same luck for both; "
        f"n = {words.count(len(rows), 'comparison')}. Below zero: dearer.",
        (
            *(Column("Duty"), Column("Type"), Column("Against")),
            *(Column(label, numeric=True) for label in ("Cash saved", "Downtime avoided")),
            *(Column(label, numeric=True) for label in ("Both, P10 to P90", "Cheaper: average")),
            *(Column(label, numeric=True) for label in ("Cheaper: one truck", "Paid back")),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                words.text(row["reference_type"]),
                words.number(row["cash_saved"]),
                words.number(row["downtime_saved"]),
                estimate(words.number(row["saving"]), _span(row, "saving")),
                words.percent(row["chance_cheaper"]),
                words.percent(row["chance_cheaper_one_truck"]),
                _payback(row["payback_year"]),
            )
            for row in rows.to_dict("records")
        ],
        empty=_NO_COST,
    )


def break_even_table(table: pd.DataFrame, currency: str) -> Table:
    """List the figures at which two types cost the same."""
    return make_table(
        "break-even",
        "Figures at which a type costs as much as the duty's usual one; "
        f"n = {words.count(len(table), 'figure')}.",
        (
            *(Column("Duty"), Column("Type"), Column("Against"), Column("Figure")),
            *(Column("Today", numeric=True), Column("Break-even", numeric=True)),
            *(Column("Cheaper"), Column("Remark")),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                words.text(row["reference_type"]),
                Cell(words.text(row["figure"]), (_in_currency(row["unit"], currency),)),
                _figure(row["now"]),
                _figure(row["break_even"]),
                f"{row['cheaper']} it" if row["cheaper"] else "",
                words.text(row["note"]),
            )
            for row in table.to_dict("records")
        ],
        empty=_NO_COST,
    )


def tornado_drawings(table: pd.DataFrame, currency: str) -> tuple[Drawing, ...]:
    """Draw, for each duty, the comparison whose saving lies nearest to nothing."""
    drawings = []
    for place, (duty, rows) in enumerate(table.groupby("duty", sort=False)):
        nearest = rows["saving_now"].abs().sort_values(kind="stable").index[0]
        kind = rows.loc[nearest, "bushing_type"]
        mine = rows[rows["bushing_type"] == kind].head(_BARS)
        usual = words.text(mine["reference_type"].iloc[0])
        drawings.append(
            tornado_drawing(
                mine,
                [words.key(key) for key in mine["figure"]],
                currency,
                f"tornado-{place}",
                f"{words.sentence(duty)}: {kind} against {usual}",
                f"The closest comparison of the duty; saving today {_money(mine, currency)}. "
                f"n = {words.count(len(mine), 'widest swing')}.",
            )
        )
    return _drawn(*drawings)


def tornado_table(table: pd.DataFrame) -> Table:
    """List the widest swings of every comparison."""
    keys = ["duty", "bushing_type"]
    rows = table.groupby(keys, sort=False).head(_BARS) if len(table) else table
    return make_table(
        "drivers",
        f"The {_BARS} widest swings of each comparison; all of them are in cost_tornado.csv. "
        f"n = {words.count(len(rows), 'swing')}.",
        (
            *(Column("Duty"), Column("Type"), Column("Against"), Column("Figure")),
            *(Column(label, numeric=True) for label in ("Low", "High", "Saving at low")),
            *(Column(label, numeric=True) for label in ("Saving at high", "Swing")),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                words.text(row["reference_type"]),
                words.key(row["figure"]),
                _figure(row["low"]),
                _figure(row["high"]),
                *(words.number(row[k]) for k in ("saving_at_low", "saving_at_high", "swing")),
            )
            for row in rows.to_dict("records")
        ],
        empty=_NO_COST,
    )


def late_drawings(table: pd.DataFrame, currency: str) -> tuple[Drawing, ...]:
    """Draw the saving against the cost of a late find, one figure a duty."""
    return _drawn(
        *(
            late_drawing(
                rows,
                currency,
                f"late-{place}",
                f"{words.sentence(duty)}: saving against {rows['reference_type'].iloc[0]}",
                "Policies held. Below the dashed line a type is dearer. "
                f"n = {words.count(len(rows), 'point')}.",
            )
            for place, (duty, rows) in enumerate(table.groupby("duty", sort=False))
        )
    )


def late_table(table: pd.DataFrame) -> Table:
    """List the saving at several costs of a late find, policies held and chosen anew."""
    return make_table(
        "late-finds",
        "Saving when an unplanned end costs half, as much, twice and four times; policies held, "
        f"and chosen anew for that cost. n = {words.count(len(table), 'row')}.",
        (
            *(Column("Duty"), Column("Type"), Column("Against"), Column("Times", numeric=True)),
            *(Column(label, numeric=True) for label in ("Late find costs more", "Saving, held")),
            *(Column("Saving, chosen anew", numeric=True), Column("Policy then")),
        ),
        [
            (
                words.text(row["duty"]),
                words.text(row["bushing_type"]),
                words.text(row["reference_type"]),
                words.number(row["times"], 1),
                *(words.number(row[k]) for k in ("late_cost_more", "saving_held")),
                words.number(row["saving_chosen_anew"]),
                Cell(words.text(row["policy"]), (f"usual type: {row['reference_policy']}",)),
            )
            for row in table.to_dict("records")
        ],
        empty=_NO_COST,
    )


def _drawn(*drawings: Drawing | None) -> tuple[Drawing, ...]:
    return tuple(drawing for drawing in drawings if drawing is not None)


def _drawn_trucks(types: pd.DataFrame) -> str:
    trucks = 0 if types.empty else types["trucks_drawn"].max()
    return f"n = {words.count(trucks, 'drawn truck')} in each row"


def _span(row: Any, name: str) -> str:
    return words.interval(row[f"{name}_p10"], row[f"{name}_p90"], words.number)


def _less(saved: Any, currency: str) -> str:
    return f"{words.money(abs(saved), currency)} {'less' if saved >= 0 else 'more'}"


def _payback(year: Any) -> str:
    if pd.isna(year):
        return "not before the sale"
    return "from the start" if not year else f"by year {words.number(year)}"


def _money(rows: pd.DataFrame, currency: str) -> str:
    return words.money(rows["saving_now"].iloc[0], currency)


def _figure(value: Any) -> str:
    """Write a figure as finely as its kind deserves."""
    if pd.isna(value):
        return "none"
    return words.rounded(value, 3 if abs(value) >= 1_000 else 4)


def _in_currency(unit: Any, currency: str) -> str:
    return words.text(unit).replace("currency", currency)
