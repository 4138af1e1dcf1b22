"""Weibull fits against published and independently computed figures.

"survreg" below: R 4.2.2, package survival 3.5-3, relative tolerance 1e-13, agreeing with a direct
maximisation in scipy to six digits or more; with late entry R's optim in its place. Standard errors
of log shape and log scale come from the same programs. Data from the packages that carry
them, else from the folder PIVOTLIFE_REFERENCE names; the handbook's twenty lives are typed in.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.weibull import WeibullFit, fit_weibull

Published = Callable[[str], pd.DataFrame]

#: NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.1 and 8.4.1.3: twenty units, hours, ten
#: failures, the other ten still running at 500 h.
HANDBOOK = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]


def right_censored(age: pd.Series, failed: pd.Series) -> pd.DataFrame:
    return pd.DataFrame(
        {"lower_miles": age, "upper_miles": np.where(failed == 1, age, np.inf)}, dtype=float
    )


def handbook(first: float = 54.0) -> pd.DataFrame:
    ages = pd.Series([first, *HANDBOOK[1:], *[500.0] * 10])
    return right_censored(ages, pd.Series([1] * 10 + [0] * 10))


def standard_errors(fit: WeibullFit) -> np.ndarray:
    return np.sqrt(np.diag(fit.covariance))


def test_handbook_lives_as_printed() -> None:
    # NIST e-Handbook 8.4.1.3, page apr413: scale 606.5280, shape 1.7208, log-likelihood -75.135,
    # mean 540.737.
    fit = fit_weibull(handbook())
    assert fit.scale == pytest.approx(606.5280, abs=5e-4)
    assert fit.shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert fit.mean() == pytest.approx(540.737, abs=1e-3)


def test_handbook_lives_as_computed() -> None:
    fit = fit_weibull(handbook())  # survreg
    assert fit.scale == pytest.approx(606.527558, rel=1e-8)
    assert fit.shape == pytest.approx(1.72079726, rel=1e-8)
    assert standard_errors(fit) == pytest.approx([0.29181276, 0.20594391], rel=1e-6)
    assert fit.covariance[0, 1] == pytest.approx(-0.02712784, rel=1e-6)
    assert fit.quantile(0.1) == pytest.approx(164.022439, rel=1e-8)
    assert fit.quantile(0.5) == pytest.approx(490.173781, rel=1e-8)


def test_handbook_listing_with_55_as_first_failure() -> None:
    # NIST e-Handbook 8.4.1.3, R listing: scale 606.00500, shape 1.72563.
    fit = fit_weibull(handbook(first=55.0))
    assert fit.scale == pytest.approx(606.00500, abs=5e-4)
    assert fit.shape == pytest.approx(1.72563, abs=5e-6)


@pytest.mark.parametrize(
    ("name", "age", "failed", "scale", "shape", "errors", "value"),
    [
        # Nelson 1982 / Lawless, 96 controls, thousand miles; survreg.
        (
            *("locomotive_controls.csv", "thousand_miles", "failed", 183.398801, 2.33125322),
            *([0.15483208, 0.08990196], -237.38251344),
        ),
        # Nelson 1982 p. 133, 70 fans, hours; survreg.
        (
            *("diesel_fans.csv", "hours", "status", 26296.845175, 1.05844585),
            *([0.25343854, 0.46588966], -135.15271994),
        ),
        # Bury 1999, example 17.3; survreg.
        (
            *("turret_mount_right_censored.csv", "time", "failed", 1467.760899, 1.89833108),
            *([0.21314153, 0.14685138], -104.7968286),
        ),
    ],
)
def test_right_censored_sets(
    published: Published,
    name: str,
    age: str,
    failed: str,
    scale: float,
    shape: float,
    errors: list[float],
    value: float,
) -> None:
    data = published(name)
    fit = fit_weibull(right_censored(data[age], data[failed]))
    assert fit.scale == pytest.approx(scale, rel=1e-7)
    assert fit.shape == pytest.approx(shape, rel=1e-7)
    assert standard_errors(fit) == pytest.approx(errors, rel=1e-5)
    assert fit.log_likelihood == pytest.approx(value, abs=1e-6)


def test_diesel_fans_as_printed(published: Published) -> None:
    # scipy/stats/tests/test_continuous_fit_censored.py: shape 1.0584, scale 26.2968 thousand hours.
    data = published("diesel_fans.csv")
    fit = fit_weibull(right_censored(data["hours"] / 1000.0, data["status"]))
    assert fit.shape == pytest.approx(1.0584, abs=5e-5)
    assert fit.scale == pytest.approx(26.2968, abs=5e-5)


def test_turbine_parts_inspected_for_cracks(published: Published) -> None:
    # Nelson 1982 p. 415; R package survival, tests/r_sas.Rout.save: log scale 7.6880 (se 0.0744),
    # log(1/shape) -0.3953 (se 0.0987), log-likelihood -309.6 and the quantiles.
    data = published("turbine_part_cracks_interval.csv")
    fit = fit_weibull(
        pd.DataFrame(
            {
                "lower_miles": data["lower_days"],
                "upper_miles": data["upper_days"].fillna(np.inf),
                "weight": data["count"],
            }
        )
    )
    assert np.log(fit.scale) == pytest.approx(7.6880, abs=5e-5)
    assert -np.log(fit.shape) == pytest.approx(-0.3953, abs=5e-5)
    assert standard_errors(fit) == pytest.approx([0.0987, 0.0744], abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-309.63118088, abs=1e-6)  # survreg
    shares = [0.01, 0.02, 0.05, *np.arange(0.1, 0.85, 0.1)]
    days = [
        *(98.47183, 157.59360, 295.17088, 479.31737, 794.55351, 1089.70373, 1387.95516),
        *(1704.71015, 2057.23906, 2472.58593, 3006.43572),
    ]
    assert fit.quantile(np.array(shares)) == pytest.approx(days, rel=1e-7)


def test_ovarian_mixed_censoring_without_covariates(published: Published) -> None:
    # R package survival, tests/data.interval and testreg.Rout.save: null log-likelihood -64.0; the
    # rest survreg.
    data = published("ovarian_mixed_censoring.csv")
    fit = fit_weibull(
        pd.DataFrame(
            {
                "lower_miles": data["lower"].fillna(0.0),
                "upper_miles": data["upper"].fillna(np.inf),
            }
        )
    )
    assert fit.log_likelihood == pytest.approx(-64.0, abs=0.05)
    assert fit.log_likelihood == pytest.approx(-64.01113663, abs=1e-7)
    assert fit.scale == pytest.approx(1261.507653, rel=1e-7)
    assert fit.shape == pytest.approx(1.04847939, rel=1e-7)
    assert standard_errors(fit) == pytest.approx([0.27742588, 0.3165256], rel=1e-5)
    assert fit.quantile(0.1) == pytest.approx(147.48811, rel=1e-7)


def mixed_set(data: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "entry_miles": data["entry"],
            "lower_miles": data["lower"],
            "upper_miles": data["upper"].fillna(np.inf),
        }
    )


def test_mixed_censoring_with_late_entry(published: Published) -> None:
    # Invented set; R's optim and a direct scipy likelihood agree.
    fit = fit_weibull(mixed_set(published("mixed_censoring_truncation_invented_A.csv")))
    assert fit.scale == pytest.approx(157.984394, rel=1e-7)
    assert fit.shape == pytest.approx(1.6578235, rel=1e-7)
    assert standard_errors(fit) == pytest.approx([0.16975, 0.1165897], rel=1e-5)
    assert fit.log_likelihood == pytest.approx(-142.08973334, abs=1e-6)


def test_ignoring_the_entry_gives_the_wrong_answer_named_beside_it(published: Published) -> None:
    # The same set and programs with the entry ages left away: 173.62983, 1.9095881.
    lives = mixed_set(published("mixed_censoring_truncation_invented_A.csv"))
    fit = fit_weibull(lives.drop(columns="entry_miles"))
    assert fit.scale == pytest.approx(173.62983, rel=1e-6)
    assert fit.shape == pytest.approx(1.9095881, rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "scale", "shape", "errors", "value", "b10"),
    [  # Rust, Econometrica 55 (1987); survreg. Errors of log shape and log scale.
        (3, 264270.633, 4.6320418, [0.1633599, 0.043663], -351.9274051, 162576.3104),
        (4, 302633.3812, 4.4723984, [0.1336831, 0.0390716], -422.7374867, 182975.8563),
        (5, 280833.3427, 5.0218512, [0.2393415, 0.0604678], -138.7311025, 179405.0882),
    ],
)
def test_engine_replacements_of_a_fleet(
    published: Published,
    kind: int,
    scale: float,
    shape: float,
    errors: list[float],
    value: float,
    b10: float,
) -> None:
    data = published("fleet_spells_types_3_4_5.csv")
    data = data[data["group"] == kind]
    fit = fit_weibull(right_censored(data["miles"], data["replaced"]))
    assert fit.scale == pytest.approx(scale, rel=1e-7)
    assert fit.shape == pytest.approx(shape, rel=1e-7)
    assert standard_errors(fit) == pytest.approx(errors, rel=1e-5)
    assert fit.log_likelihood == pytest.approx(value, abs=1e-6)
    assert fit.quantile(0.1) == pytest.approx(b10, rel=1e-7)


@pytest.mark.parametrize(
    ("voltage", "scale", "shape", "error"),
    [  # Nelson 1982; R package survival, tests/r_sas.Rout.save: scale, shape and its error.
        (26, 955.74665, 0.54519, 0.28568),
        (30, 77.58159, 1.05881, 0.25274),
        (34, 12.22222, 0.77082, 0.13603),
        (38, 1.00092672, 1.36299929, 0.37861),
    ],
)
def test_insulating_fluid_groups(
    published: Published, voltage: int, scale: float, shape: float, error: float
) -> None:
    data = published("insulating_fluid_four_groups.csv")
    ages = data.loc[data["voltage"] == voltage, "time"]
    fit = fit_weibull(right_censored(ages, pd.Series(1, index=ages.index)))
    assert fit.scale == pytest.approx(scale, rel=5e-7)
    assert fit.shape == pytest.approx(shape, abs=5e-6)
    assert fit.shape * standard_errors(fit)[0] == pytest.approx(error, abs=5e-6)


def test_nothing_is_returned_for_the_handbook_survivors_alone() -> None:
    survivors = right_censored(pd.Series([500.0] * 10), pd.Series([0] * 10))
    with pytest.raises(NoMaximumError, match="none of the 10 lives failed"):
        fit_weibull(survivors)
