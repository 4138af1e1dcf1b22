"""The price list of a run: every figure of `[costs]` with its unit, origin and day.

Not here: what the figures add up to (`models.decision_costs`).
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
from pydantic import BaseModel

from pivotlife.pipeline.settings import Costs, Price

PRICE_COLUMNS = ["key", "value", "unit", "source", "date", "is_default"]

#: Unit of each figure, by the beginning of its key; `{}` stands for the currency.
UNITS = {
    "shop_rate": "{} per hour",
    "parts": "{} per pivot",
    "hours": "hours",
    "alignment": "{} per axle",
    "downtime_per_day": "{} per day",
    "roadside": "{} per event",
    "tow": "{} per event",
    "tyre_pair": "{} per pair",
    "tyre_loss_per_mile_over": "share of a tyre pair per mile over the limit",
    "chance_roadside_when_over": "chance between two visits, 0 to 1",
    "downtime_days": "days",
}


def price_table(costs: Costs) -> pd.DataFrame:
    """List the prices.

    Parameters
    ----------
    costs : Costs
        The settings' prices.

    Returns
    -------
    DataFrame
        Columns `key, value, unit, source, date, is_default`, one row per figure.
    """
    rows = [
        {
            "key": key,
            "value": price.value,
            "unit": UNITS[key.split(".")[0]].format(costs.currency),
            "source": price.source,
            "date": price.date.isoformat(),
            "is_default": price.is_default,
        }
        for key, price in _prices(costs)
    ]
    return pd.DataFrame(rows, columns=PRICE_COLUMNS)


def _prices(model: BaseModel, above: str = "") -> Iterator[tuple[str, Price]]:
    for name, field in type(model).model_fields.items():
        key = f"{above}{field.alias or name}"
        value = getattr(model, name)
        if isinstance(value, Price):
            yield key, value
        elif isinstance(value, BaseModel):
            yield from _prices(value, f"{key}.")
