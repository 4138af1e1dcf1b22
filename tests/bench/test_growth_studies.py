"""Slow studies of the growth law: recovery, coverage of intervals, calibration of chances.

All data invented (seeds in the tests); truth from the simulation, tolerances from its size.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import growth_factory
from pivotlife.models.growth import FreePlayGrowth

pytestmark = pytest.mark.slow
BINS = [0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0]


@pytest.mark.parametrize("density", ["normal", "weibull"])
@pytest.mark.parametrize("offered", ["same", "auto"])
@pytest.mark.parametrize("exponent", [1.4, 3.0])
def test_crossing_ages_of_twenty_thousand_pivots(
    density: str, offered: str, exponent: float
) -> None:
    table = growth_factory.readings(20_000, 31, density=density, exponent=exponent)
    chosen = density if offered == "same" else "auto"
    fitted = FreePlayGrowth(chosen).fit(table)  # type: ignore[arg-type] # a name from the table above
    assert fitted.law_.density == density
    for probability in (0.05, 0.1, 0.5):
        truth = growth_factory.true_crossing_miles(probability, density=density, exponent=exponent)
        found = fitted.law_.crossing_miles(3.0, probability)
        print(f"{density} p={exponent} {offered}: {probability:.0%} {found / truth - 1:+.2%}")
        assert found == pytest.approx(truth, rel=0.05)


@pytest.mark.parametrize("density", ["normal", "weibull"])
def test_intervals_hold_the_truth(density: str) -> None:
    held = {"log_exponent": 0, "log_sigma_e": 0}
    truth = {"log_exponent": np.log(1.4), "log_sigma_e": np.log(0.12)}
    chosen = 0
    for seed in range(20):
        fitted = FreePlayGrowth("auto", seed=seed).fit(
            growth_factory.readings(5_000, 100 + seed, density=density)
        )
        chosen += fitted.law_.density == density
        for name, value in truth.items():
            low, high = fitted.estimate_.best.interval(name)
            held[name] += low < value < high
    print(f"{density}: 95 % intervals held {held} of 20; density chosen {chosen} of 20")
    assert min(held.values()) >= 17
    assert chosen == 20


@pytest.mark.parametrize("density", ["normal", "weibull"])
@pytest.mark.parametrize("n", [20_000, 3_000])
def test_chances_are_calibrated(density: str, n: int) -> None:
    """Stand after a random number of visits; a bushing read over the limit has left before."""
    table = growth_factory.readings(
        n,
        55,
        density=density,
        loaded=0.2,
        greased=0.2,
        resolution=0.1,
        wild=0.005,
        end_at_limit=True,
    )
    fitted = FreePlayGrowth("auto").fit(table)
    last = table.groupby("pivot_id").last()
    standing = last[last.free_play_mm < growth_factory.LIMIT_MM]
    step = np.random.default_rng(5).uniform(20_000, 30_000, len(standing))
    at = standing.miles + step
    chance = fitted.chance_over(table[table.pivot_id.isin(standing.index)], 3.0, at)
    chance = chance.reindex(standing.index)
    truth = standing.start_mm + standing.rate * (at / growth_factory.SCALE_MILES) ** 1.4 >= 3.0
    groups = pd.cut(chance, BINS, include_lowest=True)
    frame = pd.DataFrame({"chance": chance, "over": truth.astype(float), "bin": groups})
    by_bin = frame.groupby("bin", observed=False).agg(
        n=("over", "size"), chance=("chance", "mean"), over=("over", "mean")
    )
    by_bin["se"] = np.sqrt(by_bin.chance * (1 - by_bin.chance) / by_bin.n)
    print(f"\n{density} n={n}\n{by_bin.round(4).to_string()}")
    assert len(by_bin) == 7
    assert (by_bin.n > 20).all()
    off = (by_bin.chance - by_bin.over).abs()
    assert (off <= 2.5 * by_bin.se + 0.02).all()
