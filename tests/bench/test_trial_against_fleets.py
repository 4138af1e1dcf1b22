"""Whether the power that a trial is promised is the share of right verdicts in fleets.

Five hundred fleets drawn here by a program of their own: bushing by bushing, walking from visit to
visit; likeness from a common normal part, sales from a coin at every visit. The
verdict on each comes from the accelerated-failure-time model with its sandwich by truck. The
promise comes from the planner, from other draws; the two shares agree within three standard errors
of their difference. `PIVOTLIFE_BENCH_FLEETS` sets fewer fleets.
"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from pivotlife.models.adjusted import fit_accelerated_failure_time
from pivotlife.models.trial import TrialDesign
from pivotlife.models.trial_power import trial_power

FLEETS = int(os.environ.get("PIVOTLIFE_BENCH_FLEETS", "500"))
C = np.log(-np.log(0.9))

pytestmark = pytest.mark.slow


def fleet(design: TrialDesign, random: np.random.Generator) -> pd.DataFrame:
    """Walk every truck of a fleet from visit to visit."""
    rows = []
    for truck in range(design.trucks):
        common = random.standard_normal()
        visits, miles = [], 0.0
        is_sold = False
        while not is_sold:
            step = random.uniform(0.8, 1.2) * design.visit_miles
            is_sold = random.random() < 1.0 - np.exp(-design.sold_per_mile * step)
            if miles + step >= design.miles:
                visits.append(design.miles)
                break
            miles += step
            if not is_sold:
                visits.append(miles)
        for pivot in range(design.pivots):
            first = (truck if design.split == "trucks" else pivot) % 2 == 0
            part = np.sqrt(design.likeness) * common
            part += np.sqrt(1.0 - design.likeness) * random.standard_normal()
            shape = design.shapes[0 if first else 1]
            age = design.scales[0 if first else 1] * (-norm.logcdf(-part)) ** (1.0 / shape)
            good = [0.0, *(visit for visit in visits if visit < age)]
            bad = [visit for visit in visits if visit >= age]
            if bad or good[-1] > 0.0:
                rows.append((truck, "a" if first else "b", good[-1], bad[0] if bad else np.inf))
    return pd.DataFrame(rows, columns=["unit_id", "kind", "lower_miles", "upper_miles"])


def verdict(lives: pd.DataFrame) -> int:
    """Return 1 where type a is shown to last longer, -1 where b is."""
    failed = np.isfinite(lives["upper_miles"])
    if lives[failed].groupby("kind").size().reindex(["a", "b"], fill_value=0).min() < 5:
        return 0
    fit = fit_accelerated_failure_time(lives, ["kind"], "unit_id", shape_by="kind")
    inverse = np.exp(-fit.log_shape.to_numpy())
    value = C * (inverse[0] - inverse[1]) - fit.coefficients["kind[b]"]
    slope = np.array([-C * inverse[0], C * inverse[1], 0.0, -1.0])
    trucks = lives.loc[failed, "unit_id"].nunique()
    # The sandwich there carries all / (all - 1); few trucks with failures ask for more.
    every = lives["unit_id"].nunique()
    wider = trucks / max(trucks - 4, 1) * (every - 1) / every
    error = np.sqrt(slope @ fit.covariance.to_numpy() @ slope * wider)
    half = student.ppf(0.975, max(trucks - 4, 1)) * error
    return int(value > half) - int(value < -half)


@pytest.mark.parametrize(
    "design",
    [
        TrialDesign(1.5, (2.2, 2.2), 3e5, 40, 6, 350_000.0, 25_000.0, 0.2, 3e-7),
        TrialDesign(1.5, (2.5, 1.8), 3e5, 30, 6, 350_000.0, 40_000.0, 0.4, 3e-7, "sides"),
        TrialDesign(1.0, (2.2, 2.2), 3e5, 40, 6, 350_000.0, 25_000.0, 0.2, 3e-7),
    ],
    ids=["one type a truck", "both types on a truck", "no difference"],
)
def test_promised_power_is_the_share_of_right_verdicts(design: TrialDesign) -> None:
    random = np.random.default_rng(77)
    found = np.array([verdict(fleet(design, random)) for _ in range(FLEETS)])
    promised = trial_power(design, 1_000, seed=1)
    right = float(np.mean(found == 1))
    share = 0.5 * (right + promised.right)
    error = np.sqrt(share * (1.0 - share) * (1.0 / FLEETS + 1.0 / 1_000))
    print(
        f"\n{design.split}, ratio {design.ratio}: right in {right:.3f} of {FLEETS} fleets, "
        f"promised {promised.right:.3f}; standard error of the difference {error:.3f}; "
        f"wrong {np.mean(found == -1):.3f}, promised {promised.wrong:.3f}"
    )
    assert right == pytest.approx(promised.right, abs=3.0 * error)
