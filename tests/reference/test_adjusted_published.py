"""The accelerated-failure-time model against R (package survival, `survreg`) and lifelines.

Ovarian cancer with left, exact, interval and right censoring: output of the package's own tests.
Recidivism with late entry (Rossi, Berk & Lenihan 1980): maximum of a directly written likelihood by
two optimisers; the regression published for these data stopped early and agrees to three digits.
The first from the folder that PIVOTLIFE_REFERENCE names, the second with lifelines.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from lifelines import WeibullAFTFitter
from lifelines.datasets import load_rossi

from pivotlife.models.adjusted import fit_accelerated_failure_time

Published = Callable[[str], pd.DataFrame]
ROSSI = ["fin", "age", "race", "wexp", "mar", "paro", "prio"]


def test_mixed_censoring_with_covariates(published: Published) -> None:
    data = published("ovarian_mixed_censoring.csv")
    lives = data.assign(
        lower_miles=data["lower"].fillna(0.0), upper_miles=data["upper"].fillna(np.inf)
    )
    fit = fit_accelerated_failure_time(lives, ["age", "ecog.ps"])
    assert fit.coefficients["Intercept"] == pytest.approx(12.38859316, rel=1e-7)
    assert fit.coefficients["age"] == pytest.approx(-0.0985671035, rel=1e-7)
    assert fit.coefficients["ecog.ps"] == pytest.approx(0.0970605952, rel=1e-6)
    assert -fit.log_shape["all"] == pytest.approx(-0.4772644019, rel=1e-7)
    assert fit.log_likelihood == pytest.approx(-56.22781735, rel=1e-9)
    errors = fit.standard_errors[["Intercept", "age", "ecog.ps", "log_shape"]]
    assert errors.to_numpy() == pytest.approx([1.6027, 0.0254, 0.3776, 0.2583], abs=6e-5)


def test_late_entry_with_covariates(published: Published) -> None:
    data = published("recidivism_left_truncated_aft.csv")
    lives = data.assign(
        lower_miles=data["week"],
        upper_miles=np.where(data["arrest"] == 1, data["week"], np.inf),
        entry_miles=data["start"],
    )
    fit = fit_accelerated_failure_time(lives, ROSSI)
    computed = [3.9867501, 0.2886028, 0.0432339, -0.2388161, 0.1133538, 0.3307732]
    computed += [0.0629951, -0.0695707]
    assert fit.coefficients.to_numpy() == pytest.approx(computed, abs=2e-6)
    assert fit.log_shape["all"] == pytest.approx(0.2756341, abs=2e-6)
    assert fit.log_likelihood == pytest.approx(-678.3254341, abs=1e-6)
    errors = [0.103702, 0.446221, 0.147634, 0.017176, 0.234879, 0.161518, 0.291622, 0.148793]
    assert fit.standard_errors.to_numpy() == pytest.approx([*errors, 0.022498], rel=1e-4)


def test_right_censoring_agrees_with_lifelines() -> None:
    data = load_rossi()
    other = WeibullAFTFitter().fit(data, duration_col="week", event_col="arrest")
    lives = data.assign(
        lower_miles=data["week"], upper_miles=np.where(data["arrest"] == 1, data["week"], np.inf)
    )
    fit = fit_accelerated_failure_time(lives, ROSSI)
    theirs = other.params_["lambda_"]
    assert fit.coefficients[ROSSI].to_numpy() == pytest.approx(theirs[ROSSI].to_numpy(), abs=2e-4)
    assert fit.coefficients["Intercept"] == pytest.approx(theirs["Intercept"], rel=1e-4)
    assert fit.log_shape["all"] == pytest.approx(other.params_["rho_"]["Intercept"], rel=1e-3)
    # Theirs stops within its own tolerance: ours may only be higher.
    assert fit.log_likelihood >= other.log_likelihood_ - 1e-6
    assert fit.log_likelihood == pytest.approx(other.log_likelihood_, abs=1e-3)
