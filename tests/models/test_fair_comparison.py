"""Types compared fairly: the truth of a tied fleet is recovered, and doubt is spoken."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

import fair_lives
from pivotlife.models.fair_comparison import (
    OUTLAST_COLUMNS,
    RATIO_COLUMNS,
    FairComparison,
    compare_fairly,
    holm,
)
from pivotlife.models.fair_lives import gather
from pivotlife.models.lube_effect import LUBE_COLUMNS
from pivotlife.models.overlap import BALANCE_COLUMNS, Overlap, balance_table, effective_size


@pytest.fixture(scope="module")
def fleet() -> pd.DataFrame:
    lives: pd.DataFrame = fair_lives.tied_fleet(150, 1)
    return lives


@pytest.fixture(scope="module")
def compared(fleet: pd.DataFrame) -> FairComparison:
    return compare_fairly(fleet, draws=15, seed=3)


def row_of(ratios: pd.DataFrame, method: str, over: str, under: str, **keys: str) -> Any:
    wanted = {"duty": "all", "estimand": "b10", **keys}
    chosen = ratios[
        (ratios["method"] == method)
        & (ratios["numerator_type"] == over)
        & (ratios["denominator_type"] == under)
    ]
    for name, value in wanted.items():
        chosen = chosen[chosen[name] == value]
    assert len(chosen) == 1
    return chosen.iloc[0]


def test_columns(compared: FairComparison) -> None:
    assert tuple(compared.ratios.columns) == RATIO_COLUMNS
    assert tuple(compared.balance.columns) == BALANCE_COLUMNS
    assert tuple(compared.lube_effect.columns) == LUBE_COLUMNS
    assert tuple(compared.outlast.columns) == OUTLAST_COLUMNS


def test_the_truth_of_a_tied_fleet_is_recovered() -> None:
    truth = fair_lives.true_log_ratio("threaded", "rubber-bonded")
    errors: dict[str, list[float]] = {"pooled": [], "adjusted": [], "weighted": []}
    for seed in range(6):
        ratios = compare_fairly(fair_lives.tied_fleet(120, 50 + seed), draws=2).ratios
        for method, found in errors.items():
            row = row_of(ratios, method, "threaded", "rubber-bonded")
            found.append(float(np.log(row["ratio"])) - truth)
    bias = {method: float(np.mean(found)) for method, found in errors.items()}
    error = {m: float(np.std(found, ddof=1) / np.sqrt(6)) for m, found in errors.items()}
    assert abs(bias["adjusted"]) < 3.5 * error["adjusted"] + 0.02
    assert abs(bias["weighted"]) < 3.5 * error["weighted"] + 0.03
    assert bias["pooled"] < -3.0 * abs(bias["adjusted"])
    assert bias["pooled"] < -0.15


def test_limits_hold_the_estimate_and_holm_never_helps(compared: FairComparison) -> None:
    ratios = compared.ratios[np.isfinite(compared.ratios["ratio"])]
    assert (ratios["ratio_lower"] <= ratios["ratio"]).all()
    assert (ratios["ratio"] <= ratios["ratio_upper"]).all()
    assert (ratios["p_value_holm"] >= ratios["p_value"] - 1e-12).all()


def test_types_never_original_are_compared_among_later_lives(fleet: pd.DataFrame) -> None:
    lives = gather(fleet, None, {})
    assert lives.kinds == ("rubber-bonded", "threaded", "roller")
    for pair in lives.pairs:
        is_roller = "roller" in (lives.kinds[pair.numerator], lives.kinds[pair.denominator])
        assert pair.later == is_roller
        eligible = lives.features.loc[lives.eligible(pair), "later"]
        assert eligible.min() == (1.0 if is_roller else 0.0)


def test_weights_balance_what_was_known(fleet: pd.DataFrame) -> None:
    lives = gather(fleet, None, {})
    weights = Overlap(lives).weights(np.ones(len(lives.kind)))
    table = balance_table(lives, weights)
    pooled = table[table["duty"] == "all"]
    assert pooled["difference_before"].abs().max() > 0.8
    assert pooled["difference_after"].abs().max() < 0.1
    for pair, weight in zip(lives.pairs, weights, strict=True):
        assert (weight[~lives.eligible(pair)] == 0.0).all()
        assert ((weight >= 0.0) & (weight <= 1.0)).all()


@given(st.lists(st.floats(0.01, 10.0), min_size=1, max_size=20))
def test_effective_size_is_at_most_the_number(weights: list[float]) -> None:
    size = effective_size(np.array(weights))
    assert 1.0 - 1e-9 <= size <= len(weights) + 1e-9
    assert effective_size(np.ones(len(weights))) == pytest.approx(len(weights))


@pytest.mark.parametrize("n", [1, 2, 3, 8])
def test_holm_agrees_with_statsmodels(n: int) -> None:
    p_values = np.random.default_rng(n).random(n) ** 3
    theirs = multipletests(p_values, method="holm")[1]
    assert holm(p_values) == pytest.approx(theirs)
    assert holm(np.append(p_values, np.nan))[:n] == pytest.approx(theirs)


def test_chances_of_outlasting_add_up(compared: FairComparison) -> None:
    table = compared.outlast
    total = table["chance_numerator"] + table["chance_denominator"] + table["chance_undecided"]
    assert total.to_numpy() == pytest.approx(np.ones(len(table)))
    assert (table["until_miles"] < 450_000.0).all()


def test_equal_seeds_give_equal_tables(fleet: pd.DataFrame) -> None:
    small = fleet[fleet["unit_id"].isin([f"U{i}" for i in range(60)])]
    a, b = (compare_fairly(small, draws=5, seed=7) for _ in range(2))
    for name in ("ratios", "balance", "lube_effect", "outlast"):
        pd.testing.assert_frame_equal(getattr(a, name), getattr(b, name))


def test_without_lube_records_grease_is_not_judged(compared: FairComparison) -> None:
    assert compared.lube_effect["time_ratio_per_10_points"].isna().all()
    assert compared.lube_effect["note"].str.contains("no lube services on record").all()


def test_known_effect_of_grease_is_found(fleet: pd.DataFrame) -> None:
    random = np.random.default_rng(5)
    care = {unit: random.uniform(0.3, 1.0) for unit in fleet["unit_id"].unique()}
    share = fleet["unit_id"].map(care)
    factor = np.where(fleet["bushing_type"] == "threaded", np.exp(0.8 * (share - 0.65)), 1.0)
    greased = fleet.assign(
        lube_compliance=share,
        lower_miles=fleet["lower_miles"] * factor,
        upper_miles=fleet["upper_miles"] * factor,
    )
    effect = compare_fairly(greased, draws=25).lube_effect.set_index("bushing_type")
    threaded, rubber = effect.loc["threaded"], effect.loc["rubber-bonded"]
    low, high = (threaded[f"time_ratio_per_10_points_{end}"] for end in ("lower", "upper"))
    assert low < np.exp(0.08) < high
    assert low > 1.0
    assert rubber["time_ratio_per_10_points_lower"] < 1.0
    assert "takes no grease" in rubber["note"]


def test_too_few_failures_are_said(fleet: pd.DataFrame) -> None:
    rare = fleet["bushing_type"] == "roller"
    few = fleet.assign(upper_miles=fleet["upper_miles"].where(~rare, np.inf))
    ratios = compare_fairly(few, draws=5).ratios
    row = row_of(ratios, "adjusted", "roller", "threaded")
    assert row["verdict"].startswith("not enough evidence yet: 0 roller and")
    assert np.isnan(row["ratio"])
    assert np.isfinite(row_of(ratios, "adjusted", "threaded", "rubber-bonded")["ratio"])


def test_one_type_or_none_gives_empty_tables(fleet: pd.DataFrame) -> None:
    one = compare_fairly(fleet[fleet["bushing_type"] == "threaded"], draws=5)
    assert one.ratios.empty
    nothing = compare_fairly(fleet.iloc[:0], draws=5)
    assert tuple(nothing.ratios.columns) == RATIO_COLUMNS
    assert nothing.outlast.empty
