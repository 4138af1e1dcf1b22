"""Likelihood-ratio tests against independently computed figures (R package survival, survreg).

Insulating fluid at four voltages: Nelson 1982. Engine replacements of three vehicle types: Rust,
Econometrica 55 (1987). The first comes with a package, the second from the folder that
PIVOTLIFE_REFERENCE names.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.comparison import likelihood_ratio

Published = Callable[[str], pd.DataFrame]


def test_insulating_fluid(published: Published) -> None:
    data = published("insulating_fluid_four_groups.csv")
    lives = data.assign(lower_miles=data["time"], upper_miles=data["time"])
    test = likelihood_ratio(lives, "voltage")
    assert test.equal_shape.statistic == pytest.approx(4.12930792, abs=1e-6)
    assert test.equal_shape.degrees_of_freedom == 3
    assert test.equal_curves.statistic == pytest.approx(56.52786478, abs=1e-6)
    assert test.equal_curves.degrees_of_freedom == 6
    assert test.common_shape == pytest.approx(0.8826426653, rel=1e-7)


def test_engines_of_three_vehicle_types(published: Published) -> None:
    data = published("fleet_spells_types_3_4_5.csv")
    lives = data.assign(
        lower_miles=data["miles"],
        upper_miles=np.where(data["replaced"] == 1, data["miles"], np.inf),
    )
    test = likelihood_ratio(lives, by="group")
    assert test.equal_shape.statistic == pytest.approx(0.1761926, abs=1e-6)
    assert test.equal_shape.p_value == pytest.approx(0.9156727, abs=1e-6)
    # One Weibull -915.9847965, separate -913.3959944.
    assert test.equal_curves.statistic == pytest.approx(2 * (915.9847965 - 913.3959944), abs=1e-6)
    assert test.common_shape == pytest.approx(4.604590199, rel=1e-7)
    assert test.groups == ("3", "4", "5")
