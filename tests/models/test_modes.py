"""Failure modes fitted together: truth recovered, special cases, what is refused."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize

import modes_factory
from pivotlife.models.errors import LivesError, NoMaximumError
from pivotlife.models.mode_incidence import incidence_table
from pivotlife.models.modes import competing_lives, fit_modes
from pivotlife.models.modes_intervals import mode_interval
from pivotlife.models.modes_likelihood import ModeTerms, log_integrals
from pivotlife.models.weibull import fit_weibull
from pivotlife.models.weibull_quantities import Quantity, quantity_path


@pytest.mark.parametrize("gap", [50_000.0, 200_000.0])
def test_two_known_modes_are_recovered(gap: float) -> None:
    """A small version of the study in tests/bench: mean of five fleets of 1,000 lives."""
    ratios = {mode: [] for mode in modes_factory.SCALES}
    shapes = {mode: [] for mode in modes_factory.SCALES}
    shortcut = []
    for seed in range(5):
        lives = modes_factory.two_modes(1_000, seed, gap)
        fit = fit_modes(lives)
        for place, mode in enumerate(fit.modes):
            ratios[mode].append(fit.scale[place] / modes_factory.SCALES[mode])
            shapes[mode].append(fit.shape[place] / modes_factory.SHAPES[mode])
        cut = modes_factory.censored_elsewhere(lives, "wear", "last good")
        shortcut.append(fit_weibull(cut).scale / modes_factory.SCALES["wear"])
    for mode in modes_factory.SCALES:  # the standard error of these means is below 0.025
        assert np.mean(ratios[mode]) == pytest.approx(1.0, abs=0.05)
        assert np.mean(shapes[mode]) == pytest.approx(1.0, abs=0.08)
    assert np.mean(shortcut) < 0.95


def test_one_mode_alone_is_the_fit_of_one_mode(survival: ModuleType) -> None:
    lives = survival.mixed_lives(400, 3)
    single = fit_weibull(lives)
    joint = fit_modes(lives.assign(mode="wear"))
    assert joint.shape[0] == pytest.approx(single.shape, rel=1e-6)
    assert joint.scale[0] == pytest.approx(single.scale, rel=1e-6)
    assert joint.log_likelihood == pytest.approx(single.log_likelihood, abs=1e-6)


@pytest.mark.parametrize("quantity", ["shape", "scale", ("quantile", 0.1), "mean"])
def test_profile_limits_of_one_mode_alone_are_those_of_one_mode(
    survival: ModuleType, quantity: Quantity
) -> None:
    lives = survival.mixed_lives(150, 4)
    single = fit_weibull(lives).interval(quantity)
    path = quantity_path(quantity)
    joint = mode_interval(fit_modes(lives.assign(mode="wear")), "wear", path, 0.95)
    assert joint[:2] == pytest.approx(single[:2], rel=1e-4)


def test_a_limit_that_the_records_do_not_set_is_open() -> None:
    """Five failures of a mode beside many of another: its scale has no upper limit in sight."""
    lives = modes_factory.two_modes(200, 3, 50_000.0)
    split = np.flatnonzero(lives["mode"] == "split")
    lives.loc[split[5:], ["upper_miles", "mode"]] = [np.inf, ""]
    fit = fit_modes(lives)
    limits = mode_interval(fit, "split", quantity_path("scale"), 0.95)
    assert limits.lower < fit.scale[0] < limits.upper
    assert limits.upper > 3.0 * limits.lower


def test_exact_ages_separate_the_modes(survival: ModuleType) -> None:
    """With every age known the likelihood is a product: each mode with the others censored."""
    random = np.random.default_rng(5)
    ages = np.column_stack([3e5 * random.weibull(1.3, 600), 3e5 * random.weibull(3.0, 600)])
    end = random.uniform(1e5, 6e5, 600)
    age, mode = ages.min(axis=1), np.array(["wear", "split"])[ages.argmin(axis=1)]
    failed = age <= end
    lives = pd.DataFrame(
        {
            "lower_miles": np.minimum(age, end),
            "upper_miles": np.where(failed, age, np.inf),
            "mode": np.where(failed, mode, ""),
        }
    )
    joint = fit_modes(lives)
    for place, name in enumerate(joint.modes):
        own = lives.assign(upper_miles=lives["upper_miles"].where(lives["mode"] == name, np.inf))
        single = fit_weibull(own)
        assert joint.shape[place] == pytest.approx(single.shape, rel=1e-6)
        assert joint.scale[place] == pytest.approx(single.scale, rel=1e-6)


def test_a_direct_maximisation_agrees() -> None:
    """The likelihood written out once more, its integrals by scipy's adaptive rule."""
    lives = modes_factory.two_modes(60, 4, 120_000.0)
    fit = fit_modes(lives)

    def minus(theta: np.ndarray) -> float:
        shape, scale = np.exp(theta[:2]), np.exp(theta[2:])
        total = 0.0
        for row in lives.itertuples():
            if np.isinf(row.upper_miles):
                total -= ((row.lower_miles / scale) ** shape).sum()
                continue
            j = ("split", "wear").index(row.mode)

            def density(t: float, j: int = j) -> float:
                hazard = shape[j] / scale[j] * (t / scale[j]) ** (shape[j] - 1.0)
                return float(hazard * np.exp(-((t / scale) ** shape).sum()))

            total += np.log(quad(density, row.lower_miles, row.upper_miles, epsrel=1e-10)[0])
        return -total

    start = np.log([3.0, 1.2, 3e5, 4e5])
    found = minimize(minus, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9})
    assert fit.modes == ("split", "wear")
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-6)
    assert np.exp(found.x) == pytest.approx([*fit.shape, *fit.scale], rel=1e-3)


@settings(max_examples=60, deadline=None)
@given(
    shape=st.lists(st.floats(0.3, 6.0), min_size=1, max_size=3),
    scale=st.floats(5e4, 2e6),
    lower=st.one_of(st.just(0.0), st.floats(1e3, 6e5)),
    gap=st.floats(1.0, 7.0),
    place=st.integers(0, 2),
)
def test_the_integral_agrees_with_an_adaptive_rule(
    shape: list[float], scale: float, lower: float, gap: float, place: int
) -> None:
    b = np.array(shape)
    s = scale * np.linspace(1.0, 2.0, b.size)
    j, upper = place % b.size, lower + 10.0**gap
    origin = np.log(lower) if lower else 0.0
    before = (lower / s) ** b

    def part(d: float) -> float:
        """The integrand at exp(origin + d) miles; what has passed since `lower` by differences."""
        t = np.exp(origin + d)
        passed = before * np.expm1(b * d) if lower else (t / s) ** b
        return float(b[j] * (t / s[j]) ** b[j] * np.exp(-passed.sum()))

    def when(hazard: float) -> float:
        """Where one mode alone has added so much cumulative hazard."""
        if lower:
            return float((np.log1p(hazard / before) / b).min())
        return float((np.log(s) + np.log(hazard) / b).min())

    end = np.log1p(10.0**gap / lower) if lower else np.log(upper)
    low = 0.0 if lower else min(end, when(1.0)) - 45.0 / b[j]
    edges = np.linspace(low, max(min(end, when(60.0)), low), 25)
    known = sum(quad(part, edges[i], edges[i + 1], epsrel=1e-11, epsabs=0.0)[0] for i in range(24))
    log_lower = np.array([np.log(lower) if lower else -750.0])
    found = log_integrals(np.log(b), np.log(s), np.array([j]), log_lower, np.array([np.log(upper)]))
    assert found[0] == pytest.approx(np.log(known), abs=1e-6)


def test_derivatives_are_those_of_the_value() -> None:
    lives = modes_factory.two_modes(80, 6, 80_000.0)
    cause = lives["mode"].map({"": -1, "split": 0, "wear": 1}).to_numpy(dtype=np.int64)
    entry = 0.4 * lives["lower_miles"].to_numpy()
    terms = ModeTerms.of(
        entry, lives["lower_miles"].to_numpy(), lives["upper_miles"].to_numpy(), cause, 2
    )
    weight, theta, h = np.linspace(0.5, 2.0, 80), np.log([2.5, 1.1, 2.5e5, 5e5]), 1e-5
    here = terms.at(theta, weight)
    for row, step in enumerate(h * np.eye(4)):
        ahead, behind = terms.at(theta + step, weight), terms.at(theta - step, weight)
        slope = (ahead.value - behind.value) / (2.0 * h)
        assert here.gradient[row] == pytest.approx(slope, abs=1e-5)
        bend = (ahead.gradient - behind.gradient) / (2.0 * h)
        assert here.hessian[row] == pytest.approx(bend, abs=1e-4)


def test_shares_taken_add_up_to_the_share_that_failed() -> None:
    fit = fit_modes(modes_factory.two_modes(500, 2, 60_000.0))
    miles = np.array([0.0, 50_000.0, 200_000.0, 400_000.0, 900_000.0])
    taken = [fit.incidence(mode, miles) for mode in fit.modes]
    assert np.sum(taken, axis=0) == pytest.approx(1.0 - fit.survival(miles), abs=1e-9)
    for mode, share in zip(fit.modes, taken, strict=True):
        assert np.all(np.diff(share) >= 0.0)
        assert np.all(share <= 1.0 - fit.survival_alone(mode, miles) + 1e-12)


def test_a_mode_of_few_failures_is_carried_at_a_constant_rate() -> None:
    lives = modes_factory.two_modes(300, 8, 50_000.0)
    split = np.flatnonzero(lives["mode"] == "split")
    lives.loc[split[3:], "upper_miles"] = np.inf
    fit = fit_modes(lives.assign(mode=lives["mode"].where(np.isfinite(lives["upper_miles"]), "")))
    assert fit.is_constant.tolist() == [True, False]
    assert fit.shape[0] == 1.0
    with pytest.raises(NoMaximumError, match="no mode has 5 failures"):
        fit_modes(lives.iloc[split[:3]])


def test_a_failure_without_a_mode_is_refused() -> None:
    lives = modes_factory.two_modes(50, 1, 50_000.0)
    lives.loc[lives["mode"] == "wear", "mode"] = ""
    with pytest.raises(LivesError, match=r"\d+ of \d+ failures have no mode"):
        fit_modes(lives)
    with pytest.raises(LivesError, match="lack the column mode"):
        fit_modes(lives.drop(columns="mode"))


def test_the_bootstrap_draws_whole_units() -> None:
    lives = modes_factory.two_modes(300, 9, 50_000.0)
    alone = fit_modes(lives).bootstrap(draws=30, seed=1)["wear"]
    again = fit_modes(lives).bootstrap(draws=30, seed=1)["wear"]
    assert np.array_equal(alone.log_scale, again.log_scale)
    fleet = pd.concat([lives] * 6, ignore_index=True).assign(unit_id=np.tile(np.arange(300), 6))
    drawn = fit_modes(fleet).bootstrap(draws=30, seed=1)["wear"]
    assert drawn.log_scale.std() == pytest.approx(alone.log_scale.std(), rel=0.5)


def test_a_break_says_nothing_of_what_inspections_find(survival: ModuleType) -> None:
    lives = survival.table_of_lives(12, seed=2)
    broke = lives.index[np.isfinite(lives["upper_miles"])][0]
    lives.loc[broke, ["mode", "evidence"]] = ["broken", "broke"]
    end = float(lives.loc[broke, "upper_miles"])
    lives.loc[broke, ["lower_miles", "first_evidence_miles"]] = end
    lives.loc[broke, "last_good_miles"] = end - 25_000.0
    found = competing_lives(lives).set_index("life_id").loc[lives.loc[broke, "life_id"]]
    assert found["lower_miles"] == end - 25_000.0
    assert found["upper_miles"] == np.inf
    assert found["mode"] == ""


def test_the_table_of_shares_carries_sudden_modes_too(survival: ModuleType) -> None:
    lives = survival.table_of_lives(60, seed=3)
    roller = lives.index[(lives["bushing_type"] == "roller") & (lives["mode"] == "wear")]
    lives.loc[roller[:2], ["mode", "evidence"]] = ["broken", "broke"]
    table = incidence_table(lives)
    broken = table[table["mode"] == "broken"]
    assert broken["curve"].eq("constant rate").all()
    assert (table["share_taken"] <= table["share_if_only_mode"] + 1e-12).all()
    total = table[table["bushing_type"] == "roller"].groupby("miles")["share_taken"].sum()
    assert total.is_monotonic_increasing
    assert total.between(0.0, 1.0).all()
