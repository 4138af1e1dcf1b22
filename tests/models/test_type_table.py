"""The table of survival by type: its rows, its numbers, and what it refuses to claim."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.lives import lives_for_mode
from pivotlife.models.modes import competing_lives, fit_modes
from pivotlife.models.type_table import COLUMNS, compare_types, fit_by_type_and_duty
from pivotlife.models.weibull import fit_weibull


@pytest.fixture(scope="module")
def lives(survival: Any) -> pd.DataFrame:
    table: pd.DataFrame = survival.table_of_lives(90, seed=1)
    return table


@pytest.fixture(scope="module")
def table(lives: pd.DataFrame) -> pd.DataFrame:
    return compare_types(lives, draws=20, seed=1)


def row(table: pd.DataFrame, kind: str, reading: str = "censored", **keys: str) -> Any:
    wanted = {"duty": "all", "node": "all", "life_order": "all", "mode": "any", **keys}
    chosen = table[(table["bushing_type"] == kind) & (table["informative_removals"] == reading)]
    for column, value in wanted.items():
        chosen = chosen[chosen[column] == value]
    assert len(chosen) == 1
    return chosen.iloc[0]


def test_columns_are_the_published_ones(table: pd.DataFrame) -> None:
    assert tuple(table.columns) == COLUMNS
    assert list(table.columns[:8]) == [
        "bushing_type",
        "duty",
        "node",
        "life_order",
        "mode",
        "lives",
        "units",
        "failures",
    ]
    assert list(table.columns[-3:]) == ["interval_method", "informative_removals", "warning"]


def test_each_type_has_a_row_alone_and_by_each_key(table: pd.DataFrame) -> None:
    censored = table[table["informative_removals"] == "censored"]
    for _, rows in censored.groupby("bushing_type"):
        assert (rows["duty"] != "all").sum() == 3
        assert (rows["node"] != "all").sum() == 3
        assert sorted(rows.loc[rows["life_order"] != "all", "life_order"]) == ["first", "later"]
        assert {"wear", "broken"} <= set(rows["mode"])
    assert not censored.duplicated(["bushing_type", "duty", "node", "life_order", "mode"]).any()


def test_numbers_are_those_of_the_fit(lives: pd.DataFrame, table: pd.DataFrame) -> None:
    cell = lives_for_mode(lives[lives["bushing_type"] == "roller"], "any")
    fit = fit_weibull(cell)
    found = row(table, "roller")
    assert found["shape"] == pytest.approx(fit.shape)
    assert found["b10"] == pytest.approx(fit.quantile(0.1))
    assert found["mean"] == pytest.approx(fit.mean())
    assert found["failures"] == fit.n_failures
    limits = fit.interval(("quantile", 0.1), method="bootstrap", draws=20, seed=1)
    assert [found["b10_lower"], found["b10_upper"]] == pytest.approx(limits[:2])
    assert found["interval_method"] == "bootstrap"


def test_one_life_a_unit_takes_the_profile(lives: pd.DataFrame) -> None:
    alone = lives.assign(unit_id=lives["life_id"])
    found = row(compare_types(alone, draws=20), "threaded")
    assert found["interval_method"] == "profile"


def test_removals_in_good_time_are_read_both_ways(table: pd.DataFrame) -> None:
    censored, counted = row(table, "threaded"), row(table, "threaded", "counted")
    assert counted["failures"] > censored["failures"]
    assert counted["b50"] < censored["b50"]
    assert "removed in good time taken as not failed: may read too long" in censored["warning"]
    assert "removed in good time counted as worn at removal" in counted["warning"]
    assert set(table.loc[table["informative_removals"] == "counted", "mode"]) == {"any", "wear"}


def test_nothing_failed_gives_lower_limits_only(lives: pd.DataFrame, table: pd.DataFrame) -> None:
    found = row(table, "roller", mode="broken")
    assert found["failures"] == 0
    assert np.isnan(found["shape"])
    assert np.isnan(found["b10"])
    assert found["b10_lower"] > 0.0
    assert found["b10_upper"] == np.inf
    assert found["interval_method"] == "no-failure bound"
    assert found["warning"].startswith("no failures yet; lower limits only")
    said = [float(n.replace(",", "")) for n in re.findall(r"([\d,]+) by shape", found["warning"])]
    # Three digits are said, and never more than the limit itself.
    assert any(0.99 * found["b10_lower"] <= miles <= found["b10_lower"] for miles in said)
    steeper = compare_types(lives, draws=2, assumed_shape={"roller": 3.0})
    assert "assumed shape of 3 " in row(steeper, "roller", mode="broken")["warning"]


def test_few_failures_are_too_few_to_compare(lives: pd.DataFrame) -> None:
    few = lives.copy()
    failed = np.flatnonzero((few["bushing_type"] == "roller") & (few["upper_miles"] < np.inf))
    for column, value in (("upper_miles", np.inf), ("mode", ""), ("evidence", "in-service")):
        few.loc[few.index[failed[3:]], column] = value
    found = row(compare_types(few, draws=20), "roller")
    assert found["failures"] == 3
    assert found["warning"].startswith("too few failures to compare (3 failures)")
    assert found["b10_lower"] <= found["b10"] <= found["b10_upper"]


def test_failures_at_one_age_give_no_estimate(lives: pd.DataFrame) -> None:
    one = lives[lives["bushing_type"] == "roller"].copy()
    failed = np.flatnonzero(one["upper_miles"] < np.inf)
    one = one.iloc[failed[:1]]
    found = row(compare_types(one, draws=20), "roller")
    assert np.isnan(found["scale"])
    assert found["warning"].startswith("too few failures to compare (1 failure); all 1 failures")


def test_other_modes_are_named(table: pd.DataFrame) -> None:
    warning = str(row(table, "rubber-bonded", mode="wear")["warning"])
    assert "as if it were the only mode; fitted together with split" in warning
    assert "independent cannot be tested" in warning


def test_rows_of_modes_are_those_of_the_joint_fit(lives: pd.DataFrame, table: pd.DataFrame) -> None:
    fit = fit_modes(competing_lives(lives[lives["bushing_type"] == "rubber-bonded"]))
    for place, mode in enumerate(fit.modes):
        found = row(table, "rubber-bonded", mode=mode)
        assert found["shape"] == pytest.approx(fit.shape[place])
        assert found["scale"] == pytest.approx(fit.scale[place])
        assert found["failures"] == fit.failures[place]
        assert found["scale_lower"] < found["scale"] < found["scale_upper"]


def test_a_mode_with_few_failures_keeps_its_own_row(lives: pd.DataFrame) -> None:
    few = lives.copy()
    split = np.flatnonzero((few["bushing_type"] == "rubber-bonded") & (few["mode"] == "split"))
    few.loc[few.index[split[3:]], "mode"] = "wear"
    table = compare_types(few, draws=20, seed=1)
    assert "too few failures" in str(row(table, "rubber-bonded", mode="split")["warning"])
    assert "split (3 at a constant rate)" in str(
        row(table, "rubber-bonded", mode="wear")["warning"]
    )


def test_fits_for_decisions(lives: pd.DataFrame) -> None:
    fits = fit_by_type_and_duty(lives)
    assert {("roller", "all"), ("threaded", "vocational")} <= set(fits)
    strict = fit_by_type_and_duty(lives, minimum_failures=60)
    assert set(strict) < set(fits)
    assert fit_by_type_and_duty(lives, mode="broken") == {}
    assert fits["roller", "all"].scale > fits["rubber-bonded", "all"].scale


def test_the_order_of_rows_changes_nothing(lives: pd.DataFrame, table: pd.DataFrame) -> None:
    shuffled = lives.sample(frac=1.0, random_state=3)
    again = compare_types(shuffled, draws=20, seed=1)
    names = ["shape", "scale", "b10", "failures", "lives"]
    assert np.allclose(again[names], table[names], equal_nan=True, rtol=1e-7)


def test_failures_on_few_units_take_the_profile_and_say_so(lives: pd.DataFrame) -> None:
    """One failing truck drawn again and again would make a needle of an interval."""
    roller = lives[lives["bushing_type"] == "roller"]
    failed = roller["upper_miles"].to_numpy() < float("inf")
    keep = roller[~failed | (roller["unit_id"] == roller.loc[failed, "unit_id"].iloc[0])]
    assert keep["unit_id"].nunique() * 1.2 < len(keep)
    found = row(compare_types(keep, draws=20), "roller")
    assert found["interval_method"] == "profile"
    assert "failures on too few units" in str(found["warning"])
