"""Weights undo selective looking; looks that hang on the outcome get none."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.backtest_weights import with_weights

SEEDS = range(12)


def looked_at(table: pd.DataFrame, seed: int) -> pd.DataFrame:
    """Look more often at pivots with a high chance, of one duty, read lately (invented)."""
    rng = np.random.default_rng([seed, 1])
    log_odds = np.log(table["chance_at_look"] / (1.0 - table["chance_at_look"]))
    pull = -0.2 + 0.8 * log_odds + 1.0 * (table["duty"] == "vocational") + 1.2
    seen = rng.random(len(table)) < 1.0 / (1.0 + np.exp(-pull))
    return table.assign(
        outcome=table["outcome"].where(seen, "unverified"), how=table["how"].where(seen, "")
    )


def test_weights_recover_the_share_worn(backtests: ModuleType) -> None:
    """Of 12 fleets the mean error is within 2 standard errors of none; unweighted it is not."""
    weighted, plain = [], []
    for seed in SEEDS:
        whole = backtests.many(seed, truth=1.5)
        truth = whole["outcome"].eq("worn").mean()
        table = with_weights(looked_at(whole, seed))
        seen = table[table["is_verified"]]
        worn = seen["outcome"].eq("worn")
        weighted.append(np.average(worn, weights=seen["weight"]) - truth)
        plain.append(worn.mean() - truth)
    error = np.std(weighted, ddof=1) / len(SEEDS) ** 0.5
    assert abs(np.mean(weighted)) < 2 * error
    assert np.mean(plain) > 0.05


def test_weights_recover_the_calibration_by_bin(backtests: ModuleType) -> None:
    whole = pd.concat([backtests.many(seed, truth=2.0) for seed in SEEDS], ignore_index=True)
    table = with_weights(looked_at(whole, 3))
    place = pd.cut(whole["chance_at_look"], [0, 0.05, 0.1, 0.2, 0.4, 1])
    for _, rows in table.groupby(place, observed=True):
        truth = whole.loc[rows.index, "outcome"].eq("worn").mean()
        worn = rows["outcome"].eq("worn")
        found = np.average(worn, weights=rows["weight"])
        size = rows["weight"].sum() ** 2 / (rows["weight"] ** 2).sum()
        assert abs(found - truth) < 4 * (truth * (1 - truth) / size) ** 0.5


def test_verified_pairs_carry_the_forecasts_of_all(backtests: ModuleType) -> None:
    """Weights of each class of chance add up to the pairs there are in it."""
    table = with_weights(looked_at(backtests.many(4), 4))
    place = pd.cut(table["chance_at_look"], [0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.7, 1])
    sums = table.groupby(place, observed=True)["weight"].agg(["sum", "size"])
    assert sums["sum"].to_numpy() == pytest.approx(sums["size"].to_numpy())
    mean = np.average(table["chance_at_look"], weights=table["weight"])
    assert mean == pytest.approx(table["chance_at_look"].mean(), rel=0.02)


def test_where_all_were_looked_at_each_stands_for_itself(backtests: ModuleType) -> None:
    assert with_weights(backtests.many(1, pairs=50))["weight"].eq(1.0).all()


def test_where_nobody_looked_nothing_has_a_weight(backtests: ModuleType) -> None:
    table = with_weights(backtests.many(1, pairs=50).assign(outcome="unverified", how=""))
    assert table["weight"].eq(0.0).all()
    assert table["in_calibration"].all()


@pytest.mark.parametrize("over", [{"held": True}, {"is_due": False}, {"chance_at_look": np.nan}])
def test_what_is_no_forecast_takes_no_part(backtests: ModuleType, over: dict[str, object]) -> None:
    table = with_weights(backtests.many(1, pairs=50).assign(**over))
    assert not table["in_calibration"].any()
    assert table["weight"].eq(0.0).all()


def test_a_failure_on_the_road_stands_for_itself(backtests: ModuleType) -> None:
    table = looked_at(backtests.many(2, pairs=400), 2)
    table.loc[0, ["outcome", "how"]] = ["worn", "failure"]
    weighted = with_weights(table)
    assert weighted.loc[0, "weight"] == 1.0
    assert weighted["weight"].max() > 1.5


def test_looks_that_hide_play_are_left_out_whatever_they_showed(backtests: ModuleType) -> None:
    """Load hides half of the worn: counting those readings tilts the share either way."""
    whole = pd.concat([backtests.many(seed) for seed in SEEDS], ignore_index=True)
    truth = whole["outcome"].eq("worn").mean()
    rng = np.random.default_rng(7)
    loaded = rng.random(len(whole)) < 0.4
    missed = loaded & whole["outcome"].eq("worn") & (rng.random(len(whole)) < 0.5)

    def share(outcome: pd.Series, plain: pd.Series) -> float:
        table = with_weights(whole.assign(outcome=outcome, is_plain=plain))
        return float(np.average(table["outcome"].eq("worn"), weights=table["weight"]))

    sound = whole["outcome"].mask(missed, "sound")
    proven = whole["outcome"].mask(loaded & (missed | whole["outcome"].eq("sound")), "unverified")
    plain = pd.Series(~loaded)
    error = (truth * (1 - truth) / len(whole)) ** 0.5
    assert abs(share(proven, plain) - truth) < 3 * error
    assert share(sound, plain | True) < truth - 8 * error
    assert share(proven, plain | True) > truth + 8 * error


@pytest.mark.parametrize(("removed", "counts"), [(False, False), (True, True)])
def test_tear_downs_count_where_the_list_is_followed(
    backtests: ModuleType, removed: bool, counts: bool
) -> None:
    """A pin torn down unread was often taken out because it was worn, unless the list asked."""
    table = looked_at(backtests.many(3, pairs=400), 3)
    flagged = table["decision"] == "replace"
    table["is_removed"] = flagged & removed
    torn, unasked = table.index[flagged][0], table.index[~flagged][0]
    table.loc[[torn, unasked], "outcome"] = "worn"
    table.loc[[torn, unasked], "how"] = "tear-down"
    table.loc[[torn, unasked], "has_reading"] = False
    weighted = with_weights(table)
    assert (weighted.loc[torn, "weight"] > 0) is np.bool_(counts)
    assert weighted.loc[unasked, "weight"] == 0.0
