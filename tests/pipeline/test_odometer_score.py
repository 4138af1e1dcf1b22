"""Odometers of a small invented fleet against its truth, at the usual faults and at 15 % bad ones.

The bench of the same name scores fleets of full size over several seeds.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import odometer_truth

#: A fleet in which meters were changed on record and off it.
SEED = 12


@pytest.fixture(scope="module", params=[None, 0.15], ids=["usual faults", "15 % bad"])
def told(request: pytest.FixtureRequest, small_fleet: Callable[..., Path]) -> object:
    options = {} if request.param is None else {"bad_odometers": request.param}
    return odometer_truth.told(small_fleet(seed=SEED, **options).parent)


def test_the_score_of_a_small_fleet(told: object) -> None:
    scored = odometer_truth.scores(told.rows) | odometer_truth.suspicions(told)
    print(f"\n{odometer_truth.table(scored)}")  # noqa: T201  the score itself is asked for
    assert scored["found, all findable"].of > 100
    assert scored["found, all findable"].share >= 0.95
    for kind in odometer_truth.ROW_KINDS:
        assert scored[f"found, {kind}"].share >= 0.90  # few rows of each kind in 60 units
    assert scored["good values touched"].of > 5_000
    assert scored["good values touched"].share < 0.005
    assert scored["imputed within 2 %"].share >= 0.95
    assert scored["all rows within 2 %"].share >= 0.99
    for meter in ("new meter on record", "new meter not on record"):
        assert scored[f"{meter}, within 2 %"].of > 20
        assert scored[f"{meter}, within 2 %"].share >= 0.95


def test_what_is_only_reported(told: object) -> None:
    scored = odometer_truth.suspicions(told)
    for kind in ("meter-change", "number-used-twice"):
        assert scored[f"suspected, {kind}"].of >= 1
        assert scored[f"suspected, {kind}"].hits == scored[f"suspected, {kind}"].of
    assert scored["suspected wrongly, number-used-twice"].hits == 0
    assert scored["suspected wrongly, meter-change"].hits == 0
    offset = scored["suspected, instrument-offset"]
    assert offset.of >= 3
    assert offset.share >= 0.5


def test_the_score_knows_a_good_fleet_from_a_bad_one(small_fleet: Callable[..., Path]) -> None:
    """Were every written value kept, no spoilt value would be found: the score can fail."""
    rows = odometer_truth.told(small_fleet(seed=SEED).parent).rows
    naive = odometer_truth.scores(rows.assign(mark="kept", placed=rows["written"]))
    assert naive["found, all findable"].hits == 0
    assert naive["findable within 2 %"].share < 0.2
    blind = odometer_truth.scores(rows.assign(mark="interpolated"))
    assert blind["good values touched"].share == 1.0
