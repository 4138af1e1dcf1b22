"""Sections of the finance page that look ahead and back: budget, stock, warranty, forecast.

Cash and downtime stay apart. Long tables show their head; the file beside the page has all rows.

Not here: what the coming visits cost line by line (`finance`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from pivotlife.dashboards import words
from pivotlife.dashboards.chart_budget import budget_drawing
from pivotlife.dashboards.charts import Drawing
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section
from pivotlife.dashboards.tables import Cell, Column, Table, make_table

#: Rows of a long table on the page.
HEAD: Final = 25
MONTHS: Final = 12
_ALL: Final = "all"
_YEAR: Final = "12 months"
_BOTH: Final = "24 months"
_COLUMNS: Final = ("kits", "labour_hours", "cash", "downtime_days", "downtime")
_WATCH: Final = "read before it expires"


def budget_sections(inputs: PageInputs) -> tuple[Section, ...]:
    """Prepare the sections.

    Parameters
    ----------
    inputs : PageInputs
        One run.
    """
    tables, money = inputs.tables, inputs.currency
    budget, spend = tables["budget"], tables["spend_against_forecast"]
    return (
        Section(
            "What to budget for the next 24 months",
            (budget_sentence(budget, _at_next_visits(tables), money), _ASSUMES),
            _drawings(budget, money),
            (budget_by_month(budget, money), budget_by_depot(budget, money)),
            file="budget.csv",
        ),
        Section(
            "Which kits to keep in stock",
            (_STOCK,),
            tables=(stock_table(tables["kit_demand"]),),
            file="kit_demand.csv",
        ),
        Section(
            "What the warranty may pay back",
            (warranty_sentence(tables["warranty_claims"], money), _TERMS),
            tables=(claims_table(tables["warranty_claims"], money),),
            file="warranty_claims.csv",
        ),
        Section(
            "Last year's forecast against what was spent",
            (spend_sentence(spend, money),),
            tables=(spend_by_month(spend, money), spend_by_depot(spend, money)),
            file="spend_against_forecast.csv",
        ),
    )


_ASSUMES: Final = (
    "The shortlist is done at its visits. After that a bushing whose play announces its end is "
    "renewed at the last visit before its limit, any other when a look finds it over; neighbours "
    "join as often as they did in this shop's own jobs. Not in here: grease and readings, trucks "
    "bought to replace sold ones, price rises, and a change of bushing type."
)
_STOCK: Final = (
    "Pivots of one visit go together, so some months take many kits at once and some none. The "
    "stock is what must lie on the shelf on the first day of the coming month so that, at the "
    "service level of the settings, nothing is missing until an order placed at its end arrives. "
    "What is on order counts as arriving in time."
)
_TERMS: Final = (
    "A claim is a bushing found bad inside both terms of its kit. Whether it was claimed already, "
    "and how long after a failure a claim is accepted, only the supplier's papers tell. Reading a "
    "bushing before its warranty ends pays where its chance of being over is not small."
)


def _rows(budget: pd.DataFrame, item: str, depot: str = _ALL) -> pd.DataFrame:
    return budget[(budget["item"] == item) & (budget["depot"] == depot)].set_index("month")


def _first(frame: pd.DataFrame) -> dict[Any, Any]:
    """Return the first row as a mapping; every figure unknown where there is none."""
    rows = frame.head(1).to_dict("records")
    return rows[0] if rows else dict.fromkeys(frame.columns, float("nan"))


def budget_sentence(budget: pd.DataFrame, planned: float, currency: str) -> str:
    """Say the coming year's cash with its band, what of it is listed, downtime apart from it.

    Parameters
    ----------
    budget : DataFrame
        The table `budget`.
    planned : float
        Cash of the shortlist at the coming visits; NaN where no line of it is put off.
    currency : str
    """
    cash, downtime = (_rows(budget, item) for item in ("cash", "downtime"))
    if _YEAR not in cash.index:
        return "No renewal can be foreseen: no unit has a miles record."
    year = _first(cash.loc[[_YEAR]])
    days = _first(_rows(budget, "downtime_days").reindex([_YEAR]))
    return (
        f"The next 12 months are expected to take about {_about(year['expected'], currency)} in "
        f"cash; in 8 of 10 such years it would be {words.interval(*_ends(year), words.rounded)}. "
        f"{_listed(year['from_shortlist'], planned, currency)}{_year_after(cash, currency)} Apart "
        f"from that, {words.number(days['expected'])} days off the road in the next 12 months, "
        f"worth about {_about(_first(downtime.reindex([_YEAR]))['expected'], currency)}."
    )


def _about(amount: Any, currency: str) -> str:
    """Write an expected amount as finely as its band deserves; the file has every digit."""
    return f"{currency}\u00a0{words.rounded(amount)}"


def _ends(row: Any) -> tuple[Any, Any]:
    return row["p10"], row["p90"]


def _at_next_visits(tables: Mapping[str, pd.DataFrame]) -> float:
    put_off = tables["shortlist"]["postponed"].map(words.is_yes).any()
    return float(tables["planned_cost"]["cash"].sum()) if put_off else float("nan")


def _listed(amount: Any, planned: float, currency: str) -> str:
    """Say how the list's part hangs together with the cost of the coming visits."""
    told = f"{words.money(amount, currency)} of it is the shortlist"
    later = amount - planned
    if not later >= 1.0:
        return f"{told}."
    return (
        f"{told}: {words.money(planned, currency)} at the coming visits, as planned above, and "
        f"{words.money(later, currency)} for lines put off to the visits after."
    )


def _year_after(cash: pd.DataFrame, currency: str) -> str:
    """Name the second year's cash: what is left when the list is done."""
    if _BOTH not in cash.index:
        return ""
    both, first = (float(cash.loc[[name], "expected"].iloc[0]) for name in (_BOTH, _YEAR))
    return f" The 12 months after take about {_about(both - first, currency)}."


def _band(row: Any) -> str:
    return words.interval(row["p10"], row["p90"], words.number)


def _drawings(budget: pd.DataFrame, currency: str) -> tuple[Drawing, ...]:
    cash = _rows(budget, "cash").reset_index()
    months = cash[cash["month"].str.fullmatch(r"\d{4}-\d{2}").astype(bool)]
    drawing = budget_drawing(
        months,
        currency,
        "budget-months",
        "Expected cash by month",
        f"Bars are what is expected; in 8 of 10 draws the month lies on the line. "
        f"n = {words.count(len(months), 'month')}.",
    )
    return (drawing,) if drawing else ()


def budget_by_month(budget: pd.DataFrame, currency: str) -> Table:
    """List the months for all depots, sums at the foot."""
    names = list(dict.fromkeys(budget["month"]))
    sums = [name for name in names if "months" in str(name)]
    months = [name for name in names if name not in sums]
    shown = "" if len(months) <= MONTHS else f" The first {MONTHS} are shown, all are in the file."
    return make_table(
        "budget-by-month",
        f"All depots, amounts in {currency}, n = {words.count(len(months), 'month')}.{shown} Small "
        "print: 8 of 10 draws lie there. Bands of months do not add up to those of the sums, "
        "because not every month is bad at once.",
        (Column("Month"), *_headings()),
        [(words.text(name), *_amounts(budget, name, _ALL)) for name in months[:MONTHS]],
        footer=[(words.text(name), *_amounts(budget, name, _ALL)) for name in sums],
        empty="No renewal can be foreseen.",
    )


def budget_by_depot(budget: pd.DataFrame, currency: str) -> Table:
    """List the depots for the coming 12 months."""
    depots = [name for name in dict.fromkeys(budget["depot"]) if name != _ALL]
    have_sum = _YEAR in set(budget["month"])
    whole = [("All depots", *_amounts(budget, _YEAR, _ALL))] if have_sum else []
    return make_table(
        "budget-by-depot",
        f"The next 12 months by depot, in {currency}, n = {words.count(len(depots), 'depot')}.",
        (Column("Depot"), *_headings()),
        [(depot, *_amounts(budget, _YEAR, depot)) for depot in depots],
        footer=whole,
        empty="No renewal can be foreseen.",
    )


def _headings() -> tuple[Column, ...]:
    labels = ("Kits", "Hours", "Cash", "Of it on the shortlist", "Days off the road", "Downtime")
    return tuple(Column(label, numeric=True) for label in labels)


def _amounts(budget: pd.DataFrame, month: str, depot: str) -> tuple[str | Cell, ...]:
    cells: list[str | Cell] = []
    for item in _COLUMNS:
        row = _first(_rows(budget, item, depot).loc[lambda own: own.index == month])
        cells.append(Cell(words.number(row["expected"]), (_band(row),)))
        if item == "cash":
            cells.append(words.number(row["from_shortlist"]))
    return tuple(cells)


def stock_table(demand: pd.DataFrame) -> Table:
    """List the kits for all depots: stock, shelf, what is short, quarters ahead."""
    whole = demand[demand["depot"] == _ALL]
    months = whole[~whole["month"].str.contains("Q").astype(bool)]
    quarters = list(dict.fromkeys(whole.loc[~whole.index.isin(months.index), "month"]))[:4]
    first = months[months["month"] == (months["month"].iloc[0] if len(months) else "")]
    means = whole.set_index(["kit_id", "bushing_type", "node", "month"])
    rows = first.to_dict("records")
    short = words.number(first["short_by"].sum())
    return make_table(
        "kit-stock",
        f"{words.count(len(rows), 'kind')} of kit, all depots together; {short} kits are missing "
        "from the stock now. Small print under a quarter: nine times in ten no more than this.",
        (
            *(Column("Kit"), Column("For"), Column("Stock to keep", numeric=True)),
            *(Column("On hand", numeric=True), Column("On order", numeric=True)),
            *(Column("Order now", numeric=True), Column("Lead time, days", numeric=True)),
            *(Column(f"Kits {quarter}", numeric=True) for quarter in quarters),
        ),
        [
            (
                words.text(row["kit_id"]) or "none named",
                f"{words.text(row['bushing_type'])} {words.text(row['node'])}",
                *(words.number(row[n]) for n in ("stock_for_service_level", "on_hand", "on_order")),
                words.number(row["short_by"], 0, "not known"),
                words.number(row["lead_time_days"], 0, "not on record"),
                *(_quarter(means, row, quarter) for quarter in quarters),
            )
            for row in rows
        ],
        empty="No kit is foreseen for the coming months.",
    )


def _quarter(means: pd.DataFrame, row: dict[Any, Any], quarter: str) -> str | Cell:
    key = (row["kit_id"], row["bushing_type"], row["node"], quarter)
    if key not in means.index:
        return "0"
    found = means.loc[[key]].iloc[0]
    return Cell(words.number(found["mean"], 1), (f"at most {words.number(found['p90'])}",))


def warranty_sentence(claims: pd.DataFrame, currency: str) -> str:
    """Count what can be claimed and what expires soon."""
    now = claims[claims["status"].str.startswith("claim").astype(bool)]
    soon = now["status"].str.contains("soon").sum()
    watch = (claims["status"] == _WATCH).sum()
    if claims.empty:
        return "No bushing on record failed, or nears its end, inside a kit's warranty."
    return (
        f"{words.count(len(now), 'bushing')} failed inside their warranty, "
        f"{words.money(now['amount'].sum(), currency)} at the price paid; "
        f"{words.number(soon)} of those warranties end within 90 days. "
        f"{words.count(watch, 'bushing')} in service should be looked at before theirs does."
    )


def claims_table(claims: pd.DataFrame, currency: str) -> Table:
    """List claims, the most pressing first."""
    rows = claims.to_dict("records")
    shown = "" if len(rows) <= HEAD else f" The first {HEAD} are shown, all stand in the file."
    return make_table(
        "warranty-claims",
        f"{words.count(len(rows), 'bushing')}, amounts in {currency}.{shown}",
        (
            *(Column("What to do"), Column("Pivot"), Column("Depot"), Column("Kit")),
            *(Column("Why"), Column("Ends"), Column("Amount", numeric=True)),
            Column("Over now", numeric=True),
        ),
        [
            (
                words.text(row["status"]),
                words.text(row["pivot_id"]),
                words.text(row["depot"]) or words.UNKNOWN,
                words.text(row["kit_id"]),
                words.text(row["reason"]),
                Cell(words.day(row["expires_date"], "by miles only"), _left(row["days_left"])),
                words.number(row["amount"], 2),
                words.percent(row["chance_over_now"]) if row["status"] == _WATCH else "found bad",
            )
            for row in rows[:HEAD]
        ],
        empty="Nothing to claim, or no kit on record has a warranty.",
    )


def _left(days: Any) -> tuple[str, ...]:
    left = words.number(days, 0, "")
    return (f"{left} days",) if left else ()


def spend_sentence(spend: pd.DataFrame, currency: str) -> str:
    """Say how the year came out, and how often a month lay within its band."""
    if spend.empty:
        return (
            "There is no forecast of a year ago: it takes a run of that day, or two years of "
            "records."
        )
    money = spend[spend["item"] == "parts_and_labour"]
    cells = money[(money["depot"] != _ALL) & (money["month"] != _YEAR)]
    first = _first(spend)
    told = (
        f"Forecast of {words.day(first['forecast_made_on'])} ({words.text(first['forecast_from'])}"
        "), parts and labour as repair lines record them."
    )
    year = money[(money["month"] == _YEAR) & (money["depot"] == _ALL)]
    if len(year):
        row = year.iloc[0]
        place = "inside" if words.is_yes(row["inside"]) else "outside"
        told += (
            f" The year: {words.money(row['actual'], currency)} spent, "
            f"{words.money(row['forecast'], currency)} foreseen; that lies {place} the band of "
            f"{_band(row)}."
        )
    inside = cells["inside"].map(words.is_yes).sum()
    return (
        f"{told} By month and depot {words.number(inside)} of {words.number(len(cells))} lay "
        "inside; right bands hold about 8 of 10, or more where counts are small."
    )


def spend_by_month(spend: pd.DataFrame, currency: str) -> Table:
    """List forecast and actual for all depots by month."""
    return _spend_table("spend-by-month", "month", spend[spend["depot"] == _ALL], currency)


def spend_by_depot(spend: pd.DataFrame, currency: str) -> Table:
    """List forecast and actual of the whole year by depot."""
    return _spend_table("spend-by-depot", "depot", spend[spend["month"] == _YEAR], currency)


def _spend_table(name: str, by: str, rows: pd.DataFrame, currency: str) -> Table:
    keys = list(dict.fromkeys(rows[by]))

    def found(key: str, item: str) -> dict[Any, Any]:
        return _first(rows[(rows[by] == key) & (rows["item"] == item)])

    lines = [
        (
            words.text(key),
            *_compared(found(key, "kits")),
            *_compared(found(key, "parts_and_labour")),
            "yes" if words.is_yes(found(key, "parts_and_labour")["inside"]) else "no",
        )
        for key in keys
    ]
    return make_table(
        name,
        f"Kits, and parts with labour in {currency}, by {by}; small print is the forecast's band. "
        "The whole rests on "
        f"{words.count(int(rows['repair_lines'].max()) if len(rows) else 0, 'repair line')}.",
        (
            *(Column(by.capitalize()), Column("Kits forecast", numeric=True)),
            *(Column("Kits fitted", numeric=True), Column("Forecast", numeric=True)),
            *(Column("Spent", numeric=True), Column("Inside the band")),
        ),
        [line for line in lines if line[0] not in (_ALL, _YEAR)],
        footer=[line for line in lines if line[0] in (_ALL, _YEAR)],
        empty="No forecast of a year ago.",
    )


def _compared(row: Any) -> tuple[Cell, str]:
    return Cell(words.number(row["forecast"]), (_band(row),)), words.number(row["actual"])
