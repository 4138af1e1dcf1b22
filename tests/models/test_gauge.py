"""Gauge studies: truth recovery, restricted likelihood, intervals, and what cannot be estimated."""

from __future__ import annotations

import math
import warnings
from itertools import product

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from pivotlife.models.errors import PivotlifeError
from pivotlife.models.gauge import GaugeError, gauge_study
from pivotlife.models.gauge_intervals import component_intervals
from pivotlife.models.gauge_squares import components, squares_table
from pivotlife.models.gauge_unbalanced import reml

#: True standard deviations, mm.
TRUTH = {"part": 0.6, "inspector": 0.25, "interaction": 0.15, "error": 0.1}


def simulated(
    seed: int = 5, *, parts: int = 8, inspectors: int = 4, trials: int = 3, **truth: float
) -> pd.DataFrame:
    """A complete study whose spread is known."""
    sd = {**TRUTH, **truth}
    rng = np.random.default_rng(seed)
    rows = pd.DataFrame(
        list(product(range(parts), range(inspectors), range(trials))),
        columns=["part", "inspector", "trial"],
    )
    part = sd["part"] * rng.standard_normal(parts)
    inspector = sd["inspector"] * rng.standard_normal(inspectors)
    both = sd["interaction"] * rng.standard_normal((parts, inspectors))
    error = sd["error"] * rng.standard_normal(len(rows))
    p, i = rows["part"].to_numpy(), rows["inspector"].to_numpy()
    return rows.assign(free_play_mm=1.5 + part[p] + inspector[i] + both[p, i] + error)


def thinned(frame: pd.DataFrame, seed: int = 6, share: float = 0.25) -> pd.DataFrame:
    """The same study with readings lost at random."""
    return frame[np.random.default_rng(seed).random(len(frame)) > share]


def test_components_are_right_on_average() -> None:
    draws = []
    for seed in range(300):
        frame = simulated(seed, inspectors=5)
        cells = gauge_study(frame).cells
        squares = squares_table(cells).set_index("source")["mean_square"]
        mean = {str(source): np.array(value) for source, value in squares.items()}
        draws.append(components(mean, cells))
    found = pd.DataFrame(draws).astype(float)
    for name, sd in TRUTH.items():
        doubt = 4.0 * found[name].std() / math.sqrt(len(found))
        assert found[name].mean() == pytest.approx(sd**2, abs=doubt), name
        assert doubt < 0.4 * sd**2


def test_one_large_study_recovers_the_truth() -> None:
    study = gauge_study(simulated(11, parts=60, inspectors=30))
    assert study.interaction_kept
    assert study.repeatability == pytest.approx(0.1, rel=0.05)
    assert study.interaction == pytest.approx(0.15, rel=0.1)
    assert study.reproducibility == pytest.approx(0.25, rel=0.5)  # 29 degrees of freedom
    assert study.part_variation == pytest.approx(0.6, rel=0.35)


def test_derived_figures_follow_from_the_components() -> None:
    study = gauge_study(simulated(), limit_mm=3.2)
    gauge = math.hypot(study.repeatability, study.reproducibility, study.interaction)
    assert study.gauge_rr == pytest.approx(gauge)
    assert study.percent_of_tolerance == pytest.approx(600.0 * gauge / 3.2)
    assert study.distinct_categories == math.floor(1.41 * study.part_variation / gauge)
    table = study.table().set_index("quantity")
    parts = ["repeatability", "reproducibility", "interaction", "part_variation"]
    assert table.loc[parts, "percent_of_variance"].sum() == pytest.approx(100.0)
    assert table["percent_of_tolerance"]["gauge_rr"] == pytest.approx(study.percent_of_tolerance)
    assert math.isnan(gauge_study(simulated()).percent_of_tolerance)


def test_order_and_names_of_rows_do_not_matter() -> None:
    frame = simulated()
    renamed = frame.sample(frac=1.0, random_state=2).assign(
        part=lambda f: "P" + f["part"].astype(str),
        inspector=lambda f: "I" + f["inspector"].astype(str),
    )
    assert gauge_study(renamed).repeatability == pytest.approx(gauge_study(frame).repeatability)
    assert gauge_study(renamed).reproducibility == pytest.approx(gauge_study(frame).reproducibility)


def test_negative_components_are_zero_and_named() -> None:
    study = gauge_study(simulated(2, inspector=0.0, interaction=0.0))
    assert study.reproducibility == 0.0
    assert "reproducibility" in study.set_to_zero
    assert study.pooled.interaction == 0.0
    assert "interaction" not in study.pooled.set_to_zero  # pooled on purpose, not negative


@pytest.mark.parametrize("interaction", [True, False])
def test_restricted_likelihood_is_anova_on_balanced_readings(interaction: bool) -> None:
    study = gauge_study(simulated())
    expected = study.with_interaction if interaction else study.pooled
    assert not expected.set_to_zero
    found = reml(study.cells, interaction=interaction)
    assert math.sqrt(found.error) == pytest.approx(expected.repeatability, rel=1e-6)
    assert math.sqrt(found.inspector) == pytest.approx(expected.reproducibility, rel=1e-6)
    assert math.sqrt(found.interaction) == pytest.approx(expected.interaction, rel=1e-6)
    assert math.sqrt(found.part) == pytest.approx(expected.part_variation, rel=1e-6)


@pytest.mark.parametrize("interaction", [True, False])
def test_restricted_likelihood_agrees_with_statsmodels(interaction: bool) -> None:
    frame = thinned(simulated())
    study = gauge_study(frame)
    assert study.method == "reml"
    effects = {"inspector": "0 + C(inspector)", "part": "0 + C(part)"}
    if interaction:
        effects = {"both": "0 + C(part):C(inspector)", **effects}
    model = smf.mixedlm(
        "free_play_mm ~ 1", frame, groups=np.ones(len(frame)), re_formula="0", vc_formula=effects
    )
    with warnings.catch_warnings():
        # At this tolerance its search reports "|grad| = 0.000000" as a failure to converge.
        warnings.simplefilter("ignore")
        other = model.fit(reml=True, method="bfgs", gtol=1e-10)
    theirs = dict(zip(model.exog_vc.names, np.sqrt(other.vcomp), strict=True))
    ours = study.with_interaction if interaction else study.pooled
    assert ours.repeatability == pytest.approx(math.sqrt(other.scale), rel=1e-5)
    assert ours.reproducibility == pytest.approx(theirs["inspector"], rel=1e-5)
    assert ours.part_variation == pytest.approx(theirs["part"], rel=1e-5)
    assert ours.interaction == pytest.approx(theirs.get("both", 0.0), rel=1e-5)


@pytest.mark.parametrize("seed", range(12))
def test_restricted_likelihood_has_no_better_neighbour(seed: int) -> None:
    """Brute force: the dense likelihood of single readings falls off on every side."""
    frame = thinned(simulated(seed, parts=5, inspectors=3, interaction=0.05 * (seed % 3)), seed)
    part, inspector = frame["part"].to_numpy(), frame["inspector"].to_numpy()
    y = frame["free_play_mm"].to_numpy()
    same = [part[:, None] == part, inspector[:, None] == inspector]
    kernels = [k.astype(float) for k in (*same, same[0] & same[1])] + [np.eye(y.size)]

    def criterion(v: np.ndarray) -> float:
        cov = sum(a * k for a, k in zip(v, kernels, strict=True))
        inverse = np.linalg.inv(cov)
        mean = inverse.sum(axis=0) @ y / inverse.sum()
        left = y - mean
        fit = left @ inverse @ left
        return float(np.linalg.slogdet(cov)[1] + np.log(inverse.sum()) + fit)

    found = reml(gauge_study(frame).cells, interaction=True)
    best = np.array([found.part, found.inspector, found.interaction, found.error])
    for k in range(4):
        for move in (0.98, 1.02):
            near = best.copy()
            near[k] = near[k] * move if near[k] > 0 else 1e-4 * best[3]
            assert criterion(near) > criterion(best)


def test_missing_readings_barely_change_the_figures() -> None:
    full = gauge_study(simulated(parts=12))
    some = gauge_study(thinned(simulated(parts=12), share=0.05))
    assert some.repeatability == pytest.approx(full.repeatability, rel=0.1)
    assert some.reproducibility == pytest.approx(full.reproducibility, rel=0.1)
    assert some.part_variation == pytest.approx(full.part_variation, rel=0.1)


def test_rows_without_a_reading_are_left_out_and_counted() -> None:
    frame = simulated()
    frame.loc[3, "free_play_mm"] = np.nan
    study = gauge_study(frame)
    assert study.left_out == 1
    assert study.method == "reml"
    assert study.repeatability == pytest.approx(gauge_study(frame.drop(index=3)).repeatability)


def test_interaction_that_cannot_be_told_apart_is_pooled() -> None:
    frame = simulated(parts=2, inspectors=2)
    frame = frame[~((frame["part"] == 1) & (frame["inspector"] == 1))]
    study = gauge_study(frame)
    assert math.isnan(study.interaction_p_value)
    assert not study.interaction_kept
    assert study.with_interaction == study.pooled


def test_repeatability_interval_is_the_chi_square_interval() -> None:
    study = gauge_study(simulated())
    row = component_intervals(study).set_index("quantity").loc["repeatability"]
    squares, df = study.cells.within_squares, study.cells.within_df
    assert row["lower_mm"] == pytest.approx(
        math.sqrt(squares / stats.chi2.ppf(0.975, df)), rel=0.01
    )
    assert row["upper_mm"] == pytest.approx(
        math.sqrt(squares / stats.chi2.ppf(0.025, df)), rel=0.01
    )


def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    truth = {
        "repeatability": 0.1,
        "reproducibility": 0.25,
        "part_variation": 0.6,
        "gauge_rr": math.hypot(0.1, 0.25, 0.15),
    }
    held = dict.fromkeys(truth, 0)
    for seed in range(200):
        study = gauge_study(simulated(seed))
        found = component_intervals(study, level=0.9, draws=2_000).set_index("quantity")
        for name, sd in truth.items():
            held[name] += bool(found["lower_mm"][name] <= sd <= found["upper_mm"][name])
    for name, count in held.items():  # 4 standard errors of a share of 0.9 in 200: 0.085
        assert count / 200 == pytest.approx(0.9, abs=0.085), name


def test_missing_readings_leave_an_interval_for_repeatability_only() -> None:
    found = component_intervals(gauge_study(thinned(simulated()))).set_index("quantity")
    assert found["upper_mm"].notna().sum() == 1
    assert found["upper_mm"]["repeatability"] > found["standard_deviation_mm"]["repeatability"]


def only(column: str, value: int) -> pd.DataFrame:
    frame = simulated()
    return frame[frame[column] == value]


@pytest.mark.parametrize(
    ("frame", "text"),
    [
        (only("inspector", 0), "reproducibility cannot be estimated from one inspector"),
        (only("part", 0), "part variation cannot be estimated from one part"),
        (only("trial", 0), "repeatability cannot be estimated: no inspector read a part twice"),
        (simulated().round({"free_play_mm": -3}), "no repeat differs from the first"),
        (simulated().query("part % 2 == inspector % 2"), "fall into 2 groups without a common"),
        (simulated().assign(trial=1), "64 readings .* the first is part 0, inspector 0, trial 1"),
        (simulated().drop(columns="trial"), "lacks the column trial"),
        (simulated().assign(free_play_mm="tight"), "text that is no number"),
        (simulated().assign(inspector=""), "none of the 96 rows"),
    ],
)
def test_a_study_that_cannot_be_split_says_why(frame: pd.DataFrame, text: str) -> None:
    with pytest.raises(GaugeError, match=text) as caught:
        gauge_study(frame)
    assert isinstance(caught.value, PivotlifeError)


def test_everything_that_cannot_be_estimated_is_said_at_once() -> None:
    with pytest.raises(GaugeError, match=r"one inspector.*; .*one part.*; .*read a part twice"):
        gauge_study(simulated().head(1))


@pytest.mark.parametrize("limit", [0.0, -1.0, math.nan, math.inf])
def test_a_limit_that_is_none_is_refused(limit: float) -> None:
    with pytest.raises(GaugeError, match="limit of free play"):
        gauge_study(simulated(), limit_mm=limit)
