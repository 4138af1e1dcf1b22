"""The figures marked "survreg" computed anew by R's survival package, beside our own fits.

Needs Debian's r-base-core and r-cran-survival, and the folder of published data sets.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.weibull import fit_weibull

Published = Callable[[str], pd.DataFrame]
SCRIPT = Path(__file__).with_name("recompute.R")

FLUID_VOLTAGES = (26, 30, 34, 38)
CASES = (
    *("handbook", "locomotive_controls", "diesel_fans", "turret_mounts", "turbine_parts"),
    *("ovarian", "engines_3", "engines_4", "engines_5"),
    *(f"fluid_{voltage}" for voltage in FLUID_VOLTAGES),
)


@pytest.fixture(scope="module")
def computed(published: Published) -> pd.DataFrame:
    """Run the script once; one row a case."""
    program = shutil.which("Rscript")
    if program is None:
        pytest.skip("Rscript is not installed (Debian's r-base-core)")
    has_survival = "quit(status = !requireNamespace('survival', quietly = TRUE))"
    if subprocess.run([program, "-e", has_survival], check=False, capture_output=True).returncode:
        pytest.skip("R lacks the package survival (Debian's r-cran-survival)")
    published("locomotive_controls.csv")  # skips where the folder is absent
    folder = os.environ["PIVOTLIFE_REFERENCE"]
    done = subprocess.run(
        [program, str(SCRIPT), folder], check=True, capture_output=True, text=True
    )
    rows = pd.read_csv(io.StringIO(done.stdout))
    return rows.pivot_table(index="case", columns="quantity", values="value")


def exact_or_running(age: pd.Series, failed: pd.Series) -> pd.DataFrame:
    upper = np.where(failed == 1, age, np.inf)
    return pd.DataFrame({"lower_miles": age, "upper_miles": upper}, dtype=float)


def lives_of(case: str, published: Published) -> pd.DataFrame:
    if case == "handbook":
        ages = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386, *[500] * 10]
        return exact_or_running(pd.Series(ages), pd.Series([1] * 10 + [0] * 10))
    if case == "turbine_parts":
        data = published("turbine_part_cracks_interval.csv")
        lives = data[["lower_days", "upper_days", "count"]].fillna(np.inf)
        return lives.set_axis(["lower_miles", "upper_miles", "weight"], axis="columns")
    if case == "ovarian":
        data = published("ovarian_mixed_censoring.csv")
        lower, upper = data["lower"].fillna(0.0), data["upper"].fillna(np.inf)
        return pd.DataFrame({"lower_miles": lower, "upper_miles": upper})
    kind, _, number = case.rpartition("_")
    if kind == "engines":
        data = published("fleet_spells_types_3_4_5.csv")
        data = data[data["group"] == int(number)]
        return exact_or_running(data["miles"], data["replaced"])
    if kind == "fluid":
        data = published("insulating_fluid_four_groups.csv")
        ages = data.loc[data["voltage"] == int(number), "time"]
        return exact_or_running(ages, pd.Series(1, index=ages.index))
    name, age, failed = {
        "locomotive_controls": ("locomotive_controls.csv", "thousand_miles", "failed"),
        "diesel_fans": ("diesel_fans.csv", "hours", "status"),
        "turret_mounts": ("turret_mount_right_censored.csv", "time", "failed"),
    }[case]
    data = published(name)
    return exact_or_running(data[age], data[failed])


@pytest.mark.parametrize("case", CASES)
def test_our_fit_is_survregs(case: str, computed: pd.DataFrame, published: Published) -> None:
    fit = fit_weibull(lives_of(case, published))
    known = computed.loc[case]
    assert fit.shape == pytest.approx(known["shape"], rel=1e-6)
    assert fit.scale == pytest.approx(known["scale"], rel=1e-6)
    assert fit.log_likelihood == pytest.approx(known["log_likelihood"], abs=1e-6)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors == pytest.approx([known["error_log_shape"], known["error_log_scale"]], rel=1e-4)
    assert fit.quantile(0.1) == pytest.approx(known["b10"], rel=1e-6)


def test_every_case_of_the_script_is_compared(computed: pd.DataFrame) -> None:
    assert set(computed.index) == set(CASES)
