"""Fields to try prices with: the page's own arithmetic on the run's counts.

The counts of one truck by type, duty and year, the cost lines and the prices are written into the
page; the script multiplies. It knows no statistics, and its sums equal those of the program.

Not here: the script (`static/what_if.js`), habits that another price would change (the command
`cost` says so).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from markupsafe import Markup

from pivotlife.dashboards import words
from pivotlife.dashboards.inputs import PageInputs
from pivotlife.dashboards.sections import Section
from pivotlife.models.cost_lines import COST_LINES, ONLY_COUNTED

_RATES: Final = {
    "discount_rate": "discount rate, share a year",
    "price_escalation": "price rise, share a year",
}


def what_if_sections(inputs: PageInputs) -> tuple[Section, ...]:
    """Write the section with price fields and totals; nothing where counts or prices lack."""
    data = what_if_data(inputs)
    if not data["counts"] or _used(data) - set(data["figures"]):
        return ()
    return (
        Section(
            "Try other prices",
            (
                "Totals of one truck until its sale, as present value, recalculated here from the "
                "same counts; policies stay as they are. For another policy, or to keep a price, "
                "run pivotlife cost or change the settings. The workbook lifetime_cost.xlsx does "
                "the same with every amount in sight.",
            ),
            form=_form(data, inputs),
        ),
    )


def what_if_data(inputs: PageInputs) -> dict[str, Any]:
    """Collect what the script multiplies.

    Returns
    -------
    dict
        `lines` (kind, terms, price), `figures` by key, `counts` by row (duty, type, years of
        counts by name).
    """
    tables = inputs.tables
    prices = {str(row["key"]): float(row["value"]) for row in tables["prices"].to_dict("records")}
    rates = tables["cost_assumptions"].set_index("key")["value"]
    figures = prices | {name: float(rates[name]) for name in _RATES if name in rates.index}
    lines = [
        {
            "kind": line.kind,
            "terms": [[term.count, *term.figures] for term in line.terms],
            "price": list(line.price),
        }
        for line in COST_LINES
        if line.kind != ONLY_COUNTED
    ]
    return {"lines": lines, "figures": figures, "counts": _counts(tables["cost_quantities"])}


def _counts(table: pd.DataFrame) -> list[dict[str, Any]]:
    rows = []
    for (duty, kind), group in table.groupby(["duty", "bushing_type"], sort=False):
        years = [
            {str(r["count"]): float(r["mean"]) for r in year.to_dict("records")}
            for _, year in group.groupby("year", sort=True)
        ]
        rows.append({"duty": str(duty), "type": str(kind), "years": years})
    return rows


def _used(data: dict[str, Any]) -> set[str]:
    """Keys of the figures that the script multiplies with."""
    keys = {key for line in data["lines"] for term in line["terms"] for key in term[1:]}
    keys |= {key for line in data["lines"] for key in line["price"]}
    types = {row["type"] for row in data["counts"]}
    return {key.replace("{type}", kind) for key in keys for kind in types} | set(_RATES)


def _form(data: dict[str, Any], inputs: PageInputs) -> Markup:
    """Write fields, an output table and the data; every foreign text is escaped."""
    used = _used(data)
    fields = [key for key in data["figures"] if key in used]
    prices = inputs.tables["prices"].to_dict("records")
    units = {words.text(row["key"]): words.text(row["unit"]) for row in prices}
    inputs_html = Markup("\n").join(
        Markup(
            '<label>{} <input type="number" step="any" min="0" name="{}" value="{}"></label>'
        ).format(
            _label(key, units), key, np.format_float_positional(data["figures"][key], trim="-")
        )
        for key in fields
    )
    rows_html = Markup("\n").join(
        Markup(
            '<tr><td class="txt" data-label="Duty"><span>{}</span></td>'
            '<td class="txt" data-label="Type"><span>{}</span></td>{}</tr>'
        ).format(row["duty"], row["type"], _outputs(place))
        for place, row in enumerate(data["counts"])
    )
    heads = Markup("").join(
        Markup('<th scope="col" class="{}">{}</th>').format(kind, head)
        for head, kind in (
            *(("Duty", "txt"), ("Type", "txt"), ("Cash", "num"), ("Cash changes by", "num")),
            *(("Downtime", "num"), ("Downtime changes by", "num")),
        )
    )
    return Markup(
        '<form id="what-if" class="what-if" data-counts="{}">{}\n'
        '<button type="reset">Back to the run\'s prices</button></form>\n'
        '<div class="box"><table class="list" id="what-if-totals"><caption>{}</caption>'
        "<thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>\n"
    ).format(
        json.dumps(data, ensure_ascii=True),
        inputs_html,
        f"Totals at the prices above, in {inputs.currency}, "
        f"n = {words.count(len(data['counts']), 'type and duty', 'types and duties')}.",
        heads,
        rows_html,
    )


def _label(key: str, units: Mapping[str, str]) -> str:
    unit = units.get(key, "")
    return _RATES.get(key) or words.key(key) + (f" ({unit})" if unit else "")


def _outputs(place: int) -> Markup:
    cells = (
        *(("cash", "Cash"), ("cash-change", "Cash changes by")),
        *(("downtime", "Downtime"), ("downtime-change", "Downtime changes by")),
    )
    return Markup("").join(
        Markup(
            '<td class="num" data-label="{}"><span><output id="what-if-{}-{}"></output></span></td>'
        ).format(label, place, name)
        for name, label in cells
    )
