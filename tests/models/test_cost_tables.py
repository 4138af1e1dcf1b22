"""Tables of lifetime cost agree with one another, and break-evens break even."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from cost_lives import LIVES, MONEY, NEVER, WORK
from pivotlife.models.cash_flows import present_value
from pivotlife.models.cost_break_even import (
    break_even_table,
    late_cost_more,
    late_table,
    mean_saving,
    with_compliance,
    with_late_times,
)
from pivotlife.models.cost_lines import CASH, COUNTS, DOWNTIME, unit_amounts
from pivotlife.models.cost_policy import Policy
from pivotlife.models.cost_tables import (
    LIFETIME_COLUMNS,
    TYPE_COLUMNS,
    counts_table,
    lifetime_table,
    types_table,
)
from pivotlife.models.cost_tornado import tornado_table
from pivotlife.models.lifetime_cost import DutyCost, duty_cost

HELD = {"rubber-bonded": NEVER, "threaded": Policy(0.9, 0.6), "roller": Policy(0.8, 0.6)}
EFFECT = {"threaded": 1.05, "roller": 1.1}


@pytest.fixture(scope="module")
def cost() -> DutyCost:
    return duty_cost(WORK, LIVES, MONEY, held=HELD, trucks_per_draw=10, seed=2)


@pytest.fixture(scope="module")
def types(cost: DutyCost) -> pd.DataFrame:
    return types_table([cost], MONEY).set_index("bushing_type")


def test_lines_add_up_to_the_types_cost(cost: DutyCost, types: pd.DataFrame) -> None:
    table = lifetime_table([cost], MONEY)
    assert list(table.columns) == list(LIFETIME_COLUMNS)
    sums = table.groupby("bushing_type")[["cash", "downtime"]].sum()
    for kind in cost.types:
        assert sums.loc[kind, "cash"] == pytest.approx(types.loc[kind, "cash"])
        assert sums.loc[kind, "downtime"] == pytest.approx(types.loc[kind, "downtime"])


def test_every_line_is_quantity_times_price_times_discount(cost: DutyCost) -> None:
    table = lifetime_table([cost], MONEY)
    amount = table["mean"] * table["price"] * table["discount"]
    assert np.allclose(table["cash"] + table["downtime"], amount)
    assert np.all((table["cash"] == 0) | (table["downtime"] == 0))
    assert np.all((table["p10"] <= table["p50"]) & (table["p50"] <= table["p90"]))


def test_avoided_is_the_usual_types_line_less_this_one(cost: DutyCost) -> None:
    table = lifetime_table([cost], MONEY).set_index(["quantity", "year", "bushing_type"])
    whole = (table["cash"] + table["downtime"]).unstack()  # noqa: PD010  a small cross-table
    avoided = table["avoided"].unstack()  # noqa: PD010  a small cross-table
    assert np.allclose(avoided["roller"], whole["threaded"] - whole["roller"])
    assert np.allclose(avoided["threaded"], 0.0)


def test_counts_times_amounts_give_the_cost_again(cost: DutyCost, types: pd.DataFrame) -> None:
    table = counts_table([cost])
    mine = table[table["bushing_type"] == "roller"].pivot_table(
        index="year", columns="count", values="mean"
    )
    amounts = mine[list(COUNTS)].to_numpy() @ unit_amounts(MONEY.figures, "roller", CASH)
    grown = amounts * 1.025 ** np.arange(len(amounts))
    assert present_value(grown, 0.08) == pytest.approx(types.loc["roller", "cash"])


def test_savings_and_shares_agree(cost: DutyCost, types: pd.DataFrame) -> None:
    assert list(types_table([cost], MONEY).columns) == list(TYPE_COLUMNS)
    row = types.loc["roller"]
    assert row["saving"] == pytest.approx(row["cash_saved"] + row["downtime_saved"])
    names = ("parts", "labour", "lube", "other")
    parts = sum(row[f"{name}_per_1000"] for name in names) * WORK.horizon_miles / 1000
    assert parts == pytest.approx(row["cash"])
    assert math.isnan(types.loc["threaded", "chance_cheaper"])
    assert types.loc["threaded", "saving"] == 0.0


def test_a_free_lunch_is_cheaper_for_sure_from_the_start(cost: DutyCost) -> None:
    gift = MONEY.with_figures(**{"parts.roller": 0.0, "hours.conversion": 0.0})
    row = types_table([cost], gift).set_index("bushing_type").loc["roller"]
    assert row["chance_cheaper"] == 1.0
    assert row["payback_year"] == 0
    dear = MONEY.with_figures(**{"parts.roller": 5_000.0})
    row = types_table([cost], dear).set_index("bushing_type").loc["roller"]
    assert row["chance_cheaper"] == 0.0
    assert math.isnan(row["payback_year"])


@pytest.fixture(scope="module")
def even(cost: DutyCost) -> pd.DataFrame:
    table = break_even_table([cost], MONEY, EFFECT)
    return table.set_index(["bushing_type", "figure"])


@pytest.mark.parametrize("kind", ["rubber-bonded", "roller"])
def test_at_the_break_even_price_both_cost_the_same(
    cost: DutyCost, even: pd.DataFrame, kind: str
) -> None:
    place = cost.types.index(kind)
    row = even.loc[(kind, "kit price")]
    if math.isnan(row["break_even"]):
        free = MONEY.with_figures(**{f"parts.{kind}": 0.0})
        assert mean_saving(cost, place, free) < 0
        return
    same = MONEY.with_figures(**{f"parts.{kind}": row["break_even"]})
    assert mean_saving(cost, place, same) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("kind", ["rubber-bonded", "roller"])
def test_at_the_break_even_late_find_both_cost_the_same(
    cost: DutyCost, even: pd.DataFrame, kind: str
) -> None:
    place = cost.types.index(kind)
    row = even.loc[(kind, "late find")]
    if math.isnan(row["break_even"]):
        assert row["note"] == "no cost of a late find makes the two equal"
        return
    times = row["break_even"] / late_cost_more(MONEY, WORK.gap_miles)
    assert mean_saving(cost, place, with_late_times(MONEY, times)) == pytest.approx(0.0, abs=1e-6)


def test_break_even_of_miles_and_care_lies_where_the_sign_turns(even: pd.DataFrame) -> None:
    for (_, figure), row in even.iterrows():
        if figure in ("holding miles", "lube compliance") and not math.isnan(row["break_even"]):
            cheaper_now = row["saving_now"] > 0
            beyond = row["now"] > row["break_even"]
            if row["note"] == "":
                assert cheaper_now == (beyond == (row["cheaper"] == "above"))


def test_care_stretches_only_types_that_take_grease() -> None:
    rubber, threaded, roller = with_compliance(LIVES, 0.1, EFFECT)
    assert rubber.scale == LIVES[0].scale
    assert threaded.scale == pytest.approx(1.05 * LIVES[1].scale)
    assert roller.scales == pytest.approx(1.1 * LIVES[2].scales)


def test_late_ends_as_dear_as_today_change_nothing(cost: DutyCost) -> None:
    table = late_table([cost], MONEY).set_index(["bushing_type", "times"])
    for place, kind in enumerate(cost.types):
        if kind != WORK.reference_type:
            now = mean_saving(cost, place, MONEY)
            assert table.loc[(kind, 1.0), "saving_held"] == pytest.approx(now)
            steps = table.loc[kind, "saving_held"]
            line = np.polyfit(steps.index, steps, 1)
            assert np.polyval(line, steps.index) == pytest.approx(steps)


def test_the_tornado_moves_one_figure_at_a_time(cost: DutyCost) -> None:
    ratios = {("roller", "threaded"): (0.5, 3.0)}
    table = tornado_table([cost], MONEY, EFFECT, ratios)
    rows = table[table["bushing_type"] == "roller"].set_index("figure")
    place = cost.types.index("roller")
    dearer = MONEY.with_figures(**{"parts.roller": 250.0})
    assert rows.loc["parts.roller", "saving_at_high"] == pytest.approx(
        mean_saving(cost, place, dearer)
    )
    assert rows.loc["parts.roller", "saving_at_low"] > rows.loc["parts.roller", "saving_at_high"]
    fair = rows.loc["life ratio, evened out"]
    assert fair["saving_at_low"] < fair["saving_at_high"]
    assert "parts.rubber-bonded" not in rows.index
    assert rows["swing"].is_monotonic_decreasing
    higher = replace(MONEY, discount_rate=0.11)
    assert rows.loc["discount_rate", "saving_at_high"] == pytest.approx(
        mean_saving(cost, place, higher)
    )


def test_downtime_never_enters_cash(cost: DutyCost) -> None:
    busy = MONEY.with_figures(downtime_per_day=9_999.0)
    assert np.array_equal(cost.amounts(busy, CASH), cost.amounts(MONEY, CASH))
    assert np.all(cost.amounts(busy, DOWNTIME) > cost.amounts(MONEY, DOWNTIME))
